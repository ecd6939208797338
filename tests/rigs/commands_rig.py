"""Run the command line as a user does, and hold every failure to one clear line."""

import io
import json
import os
import sys
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from subprocess import CompletedProcess
from unittest import mock

from midspan.base.errors import MidspanError
from midspan.cli import main
from midspan.rehearsal import scenario

COMMAND = [sys.executable, "-c", "from midspan.cli.main import main; main()"]


class Finished(CompletedProcess):
    """A command that has ended: exit code, what it printed, and in `error` the MidspanError it ended with, or None."""

    error: MidspanError | None = None


def midspan(*arguments, folder=".", columns=160, typed=None):
    """Return how `midspan ARGUMENTS` ended in this process; any exception but its own is a fault of Midspan.

    `typed` has the lines that a person types; None leaves the keyboard as it is.
    """
    out, err = io.StringIO(), io.StringIO()
    with ExitStack() as stack:
        stack.enter_context(chdir(folder))
        stack.enter_context(mock.patch.dict(os.environ, COLUMNS=str(columns)))
        stack.enter_context(mock.patch.object(sys, "argv", ["midspan", *map(str, arguments)]))
        if typed is not None:
            stack.enter_context(mock.patch.object(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in typed))))
        stack.enter_context(redirect_stdout(out))
        stack.enter_context(redirect_stderr(err))
        try:
            main.main()
        except SystemExit as end:
            finished = Finished(arguments, end.code, out.getvalue(), err.getvalue())
            finished.error = end.__context__ if isinstance(end.__context__, MidspanError) else None
            return finished
    raise AssertionError("the entry point ends with an exit code")


def sets(path, *words):
    """Return how `midspan sets WORDS --store PATH` ended."""
    return midspan("sets", *words, "--store", path)


def shafts(path, *words):
    """Return how `midspan shafts WORDS --store PATH` ended."""
    return midspan("shafts", *words, "--store", path)


def answer(path, *words, group="sets"):
    """Return what `midspan sets WORDS --store PATH --json` says, or another group of commands."""
    done = midspan(group, *words, "--store", path, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def complaint(done):
    """Return the single line in which a command failed."""
    assert done.returncode == 1, done.stdout + done.stderr
    lines = [line for line in done.stderr.splitlines() if line.startswith("midspan: ")]
    assert len(lines) == 1, done.stderr
    assert done.stderr.endswith(lines[0] + "\n")
    return lines[0]


def refusal(done, kind=MidspanError):
    """Return the error a command of this process ended with: of this class, and printed as a single line.

    `refusal(midspan("show", "9"), StoreError).code` says which refusal it was.
    """
    line = complaint(done)
    assert isinstance(done.error, kind), repr(done.error)
    assert line == f"midspan: {done.error}"
    return done.error


def settings(folder: Path, seed=7):
    """Write calibration and bands of the demonstration into a folder; return their paths."""
    calibration, bands = folder / "gauge.toml", folder / "bands.toml"
    calibration.write_text(scenario.example_calibration(seed), encoding="utf-8")
    bands.write_text(scenario.example_bands(), encoding="utf-8")
    return calibration, bands
