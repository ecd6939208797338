"""Runs the command line as a user does, and holds every failure to one clear line."""

import io
import json
import os
import sys
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from subprocess import CompletedProcess
from unittest import mock

from midspan.cli import main
from midspan.rehearsal import scenario

COMMAND = [sys.executable, "-c", "from midspan.cli.main import main; main()"]


def midspan(*arguments, folder=".", columns=160):
    """What `midspan ARGUMENTS` prints and its exit code, in this process: any other exception is a fault of Midspan."""
    out, err = io.StringIO(), io.StringIO()
    with ExitStack() as stack:
        stack.enter_context(chdir(folder))
        stack.enter_context(mock.patch.dict(os.environ, COLUMNS=str(columns)))
        stack.enter_context(mock.patch.object(sys, "argv", ["midspan", *map(str, arguments)]))
        stack.enter_context(redirect_stdout(out))
        stack.enter_context(redirect_stderr(err))
        try:
            main.main()
        except SystemExit as end:
            return CompletedProcess(arguments, end.code, out.getvalue(), err.getvalue())
    raise AssertionError("the entry point ends with an exit code")


def sets(path, *words):
    """`midspan sets WORDS --store PATH`."""
    return midspan("sets", *words, "--store", path)


def answer(path, *words):
    """What such a command says as JSON."""
    done = sets(path, *words, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def complaint(done):
    """The one line in which it failed."""
    assert done.returncode == 1, done.stdout + done.stderr
    lines = [line for line in done.stderr.splitlines() if line.startswith("midspan: ")]
    assert len(lines) == 1, done.stderr
    assert done.stderr.endswith(lines[0] + "\n")
    return lines[0]


def settings(folder: Path, seed=7):
    """Calibration and bands of the demonstration in a folder; their paths."""
    calibration, bands = folder / "gauge.toml", folder / "bands.toml"
    calibration.write_text(scenario.calibration_text(seed), encoding="utf-8")
    bands.write_text(scenario.BANDS, encoding="utf-8")
    return calibration, bands
