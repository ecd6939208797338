"""Screens of few signs, streams that are closed or full, and text that would steer a terminal."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands_rig import COMMAND, complaint, midspan
from garbage import doors
from midspan.base.errors import MidspanError, ReadingsError
from midspan.base.formatting import printable
from midspan.base.plain_text import LONGEST_ERROR, MOST_OF_INPUT
from midspan.decision.decision import Decision, Outcome
from stores import add_result, run_of, store_in

pytestmark = pytest.mark.process

WILD = "\x1b]0;owned\x07\x1b[31mred\x9b\u202egnp.exe\u2066"


@pytest.fixture(scope="module")
def wild(tmp_path_factory):
    """Return the folder of a database whose label, batch, archive and reasons are wild."""
    folder = tmp_path_factory.mktemp("wild")
    with store_in(folder).open() as opened:
        batch = opened.begin_batch(WILD, 0)
        why = Decision(Outcome.DOUBTFUL, (f"cause {WILD}",))
        add_result(opened, run_of(1, WILD, archive=f"{WILD}.avro"), decision=why, batch=batch)
    return folder


def run(*arguments, folder, redirect="", **environment):
    """Run a command in a shell, where streams can be closed."""
    line = " ".join([*(f"'{word}'" for word in (*COMMAND, *map(str, arguments))), redirect])
    kept = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "PYTHONUTF8")}
    return subprocess.run(["sh", "-c", line], cwd=folder, env=kept | environment, capture_output=True, timeout=300)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Return a sound folder, made once for all tests."""
    return doors.sound(tmp_path_factory.mktemp("sound"))


@pytest.mark.parametrize(("encoding", "sign"), [("cp1252", "±"), ("cp437", "±"), ("ascii", "+/-"), ("utf-8", "±")])
@pytest.mark.parametrize(
    "words", [("show", doors.FIRST), ("recompute", "readings.avro", "--calibration", "gauge.toml")]
)
def test_every_screen_shows_something_readable(sound, words, encoding, sign):
    done = run(*words, folder=sound, PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    assert f" {sign} " in done.stdout.decode(encoding)
    assert "Traceback" not in done.stderr.decode(encoding)


def test_columns_are_even_where_signs_are_spelt(sound):
    done = run("recompute", "readings.avro", "--calibration", "gauge.toml", folder=sound, PYTHONIOENCODING="ascii")
    heading, *rows = done.stdout.decode("ascii").splitlines()[:5]
    assert {row.index(" %") + 2 for row in rows} == {heading.index("hysteresis") + len("hysteresis")}


@pytest.mark.parametrize(("redirect", "codes"), [
    (">&-", {0}), ("2>&-", {0}), (">&- 2>&-", {0}), ("<&-", {0}), ("2>/dev/full", {0}), (">/dev/full", {1}),
    (">/dev/full 2>/dev/full", {1}), ("| true", {0}),
])  # fmt: skip
def test_streams_that_are_closed_or_full_end_in_a_line_at_most(wild, redirect, codes):
    done = run("show", 1, folder=wild, redirect=redirect)
    assert done.returncode in codes, done
    assert b"Traceback" not in done.stderr
    assert b"Exception" not in done.stderr
    assert done.stderr.count(b"\n") <= 1


@pytest.mark.parametrize("redirect", [">&-", "2>&-", "2>/dev/full", ">&- 2>&- <&-"])
def test_a_refusal_keeps_its_exit_code_when_nobody_hears_it(wild, redirect):
    done = run("show", "nobody", folder=wild, redirect=redirect)
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr


def test_a_closed_stream_leaves_its_number_to_no_file(wild):
    program = (
        "from midspan.cli.screen import guarded\nwith guarded():\n file = open('made', 'w')\n assert file.fileno() > 2"
    )
    for closed in (">&-", "2>&-", "<&-", ">&- 2>&- <&-"):
        line = f"'{sys.executable}' -c \"{program}\" {closed}"
        assert subprocess.run(["sh", "-c", line], cwd=wild, check=False).returncode == 0, closed


@pytest.mark.parametrize("words", [
    ("show", 1), ("show", 1, "--json"), ("sets", "stock"), ("export", "results", "--out", "out.csv"), ("report",),
    ("calibrate", "changes"), ("sets", "show", WILD), ("show", WILD), ("study", "stock", "--batch", WILD),
    ("--k", WILD),
    ("export", WILD, "--out", "x.csv"), ("show", 1, "--store", f"{WILD}.db"),
    ("plot", "around", 1, "--out", f"{WILD}.svg"),
])  # fmt: skip
def test_nothing_that_is_printed_steers_a_terminal(wild, words):
    done = midspan(*words, folder=wild)
    wild = {sign for sign in done.stdout + done.stderr if not sign.isprintable()} - {"\n"}
    assert not wild
    assert done.stdout + done.stderr


def test_a_label_is_still_told(wild):
    assert printable(WILD) in midspan("show", 1, folder=wild).stdout


@pytest.mark.parametrize("wild", ["x" * 100_000, "'" + "x y " * 30_000 + "'", "\n".join("abc" * 9000), WILD * 900])
def test_an_error_quotes_little_of_what_it_was_given(wild):
    for words in (str(MidspanError(f"name.csv, line 3: {wild!r} is no number; MEND IT")),
                  str(ReadingsError(f"name.csv: {wild} has no place; MEND IT").at("study"))):  # fmt: skip
        assert len(words) <= LONGEST_ERROR
        assert words.isprintable()
        assert "name.csv" in words
        assert words.endswith("MEND IT")


def test_one_value_in_an_error_has_at_most_so_many_signs(tmp_path):
    done = midspan(
        "study", "gauge", "--csv", "values.csv", folder=made(tmp_path, "part,value\n1," + "7x" * 40_000 + "\n2,3\n")
    )
    assert complaint(done).count("7x") <= MOST_OF_INPUT / 2
    done = midspan("show", "z" * 30_000, folder=made(tmp_path, ""))
    assert complaint(done).count("z") <= MOST_OF_INPUT
    done = midspan("show", 1, "--k", "z" * 30_000, folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("z") <= MOST_OF_INPUT


def made(folder: Path, text):
    """Make a database without results and a table of values with this text."""
    (folder / "values.csv").write_text(text)
    store_in(folder).open().close()
    return folder
