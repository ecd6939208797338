"""What stands before a command: version, log on the screen, completion; and that none of it costs time."""

import io
import logging
import os
import subprocess
import sys
from importlib.metadata import version
from unittest import mock

import pytest
from commands_rig import COMMAND, midspan, settings
from midspan.base.log_file import log_path, logging_to
from midspan.cli.root import _complain
from midspan.link.trace_file import FROM_GAUGE, TO_GAUGE, read_trace
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR

pytestmark = pytest.mark.process

HEAVY = {
    "numpy",
    "scipy",
    "sqlalchemy",
    "matplotlib",
    "fastavro",
    "nicegui",
    "rich.table",
}  # pydantic is Typer's


@pytest.fixture(autouse=True)
def fresh_log(tmp_path, monkeypatch):
    """Let each test have a log of its own."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


def test_the_version_is_that_of_the_package():
    done = midspan("--version")
    assert done.returncode == 0
    assert version("midspan") in done.stdout
    assert f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}" in done.stdout
    assert not log_path().exists()


def test_a_command_and_its_end_stand_in_the_log_and_are_shown_when_asked(tmp_path):
    quiet = midspan("show", "3", "--store", tmp_path / "none.db")
    shown = midspan("--verbose", "show", "3", "--store", tmp_path / "none.db")
    lines = log_path().read_text(encoding="utf-8").splitlines()
    assert len(lines) == 4
    assert "StoreError" in lines[1]
    assert quiet.stderr == shown.stderr.splitlines()[-1] + "\n"
    assert shown.stderr.splitlines()[:-1] == lines[2:]


def test_a_log_that_cannot_be_written_ends_no_command(tmp_path):
    (tmp_path / "midspan").touch()
    done = midspan("ports")
    assert done.returncode == 0
    assert str(log_path()) in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_log_that_cannot_be_written_ends_nothing_where_nobody_is_to_be_told(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    shut = io.StringIO()
    shut.close()
    for stream in (shut, mock.Mock(write=mock.Mock(side_effect=BrokenPipeError))):
        monkeypatch.setattr(sys, "stderr", stream)
        with logging_to(tmp_path / "file" / "midspan.log", _complain):
            logging.getLogger("midspan.test").info("one")
    monkeypatch.undo()
    assert not (tmp_path / "file").read_bytes()


@pytest.mark.parametrize(
    ("words", "found"), [("midspan so", {"sort"}), ("midspan calibrate f", {"force", "frame", "file", "filter"})]
)
def test_a_shell_completes_commands(words, found):
    asked = os.environ | {
        "_MIDSPAN_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(len(words.split()) - 1)
    }  # fmt: skip
    done = subprocess.run(COMMAND, env=asked, capture_output=True, text=True, check=True)
    assert set(done.stdout.split()) == found


def test_completion_and_version_load_nothing_heavy():
    program = "import sys\nfrom midspan.cli.main import main\ntry: main()\nfinally: print(*sys.modules)"
    for words in ({"_MIDSPAN_COMPLETE": "complete_bash", "COMP_WORDS": "midspan s", "COMP_CWORD": "1"}, {}):
        done = subprocess.run(
            [sys.executable, "-c", program, *([] if words else ["--version"])],
            env=os.environ | words, capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert "midspan.cli.main" in done.stdout.split()
        assert not HEAVY & set(done.stdout.split())


def test_a_measurement_is_traced_but_over_no_other_file(tmp_path):
    calibration, bands = settings(tmp_path)
    before = bands.read_text(encoding="utf-8")
    words = ("measure", "--port", "rehearsal", "--shaft", 1, "--calibration", calibration, "--bands", bands, "--json")
    done = midspan("--trace", "line.txt", *words, folder=tmp_path)
    assert done.returncode == 0
    passed = [*read_trace(tmp_path / "line.txt")]
    assert {line.direction for line in passed} == {TO_GAUGE, FROM_GAUGE}
    assert midspan("--trace", bands, *words, folder=tmp_path).returncode == 1
    assert bands.read_text(encoding="utf-8") == before
