"""Garbage at every door of the command line, a few cases of each kind; `python tests/garbage` has thousands.

Each ends in what was asked for or in one line of printable signs, and never takes long or much memory.
"""

import json
import os
import resource
import shutil
import sqlite3
import subprocess
from contextlib import closing
from random import Random

import pytest
from commands_rig import COMMAND, complaint, midspan
from garbage import doors, kinds
from midspan.archive.writer import ArchiveWriter
from stores import store_in

pytestmark = pytest.mark.slow

ALLOW_DOUBTFUL = "--doubtful-calibration"  # a run may say that it is of another gauge
EACH = 6  # cases of a kind here
AT_ONCE = 8  # commands tried on each


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Return a sound folder, made once for all tests."""
    return doors.sound(tmp_path_factory.mktemp("sound"))


@pytest.fixture
def folder(sound, tmp_path):
    """Return a sound folder for one test to damage."""
    shutil.copytree(sound, tmp_path, dirs_exist_ok=True)
    return tmp_path


@pytest.mark.parametrize("line", [*doors.READERS, *doors.ARCHIVE])
def test_what_is_sound_is_not_complained_of(folder, line):
    """Sound input is accepted; otherwise every case below would fail for another reason."""
    assert doors.tried(line, folder) == ""


@pytest.mark.parametrize("seed", range(EACH))
@pytest.mark.parametrize("kind", kinds.KINDS, ids=lambda kind: kind.__name__)
def test_any_garbage_ends_in_a_line(folder, kind, seed):
    random = Random(f"{kind.__name__} {seed}")
    lines = kind(folder, random)
    wrong = {line: doors.tried(line, folder) for line in random.sample(lines, min(AT_ONCE, len(lines)))}
    assert not {line: what for line, what in wrong.items() if what}


@pytest.mark.parametrize("seed", range(-1, 2 * EACH))
@pytest.mark.parametrize(
    "kind", [kinds.store_values, kinds.store_json, kinds.store_tables], ids=lambda kind: kind.__name__
)
def test_no_view_of_the_page_breaks(folder, kind, seed):
    if seed >= 0:  # else it is sound: with results of a hand bench too
        kind(folder, Random(f"{kind.__name__} {seed}"))
    assert doors.viewed(folder) == {}


# Archives


def recomputed(folder):
    """Return the numbers of the shafts that an archive gives, and the line that names damage, empty without any."""
    done = midspan("recompute", "readings.avro", "--calibration", "gauge.toml", "--json", ALLOW_DOUBTFUL, folder=folder)
    return [result["shaft"] for result in json.loads(done.stdout)], complaint(done) if done.returncode else ""


@pytest.mark.parametrize("seed", range(40))
def test_absurd_values_under_a_right_checksum_cost_no_other_shaft(folder, seed):
    kinds.archive_values(folder, Random(seed))
    shafts, line = recomputed(folder)
    others = [doors.FIRST, doors.FIRST + 2, doors.FIRST + 3]
    assert [shaft for shaft in shafts if shaft in others] == others
    assert len(shafts) == 4 or "readings.avro" in line


@pytest.mark.process
@pytest.mark.parametrize("number", range(len(kinds.EXTRAS)))
def test_no_schema_of_a_file_hangs_or_kills(folder, number):
    """A bad schema ends within memory and time that are many times what a sound archive needs."""
    (extra,) = kinds.EXTRAS[number : number + 1]
    kinds.archive_schema(folder, Only(extra))
    command = [*COMMAND, "recompute", "readings.avro", "--calibration", "gauge.toml"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, preexec_fn=little_memory)
    assert done.returncode in (0, 1), done.stderr[-500:]
    if done.returncode:
        assert done.stderr.split(": ")[:2] == ["midspan", "readings.avro"]
    assert done.stderr.count("\n") == done.returncode


class Only:
    """A random choice that is always the same."""

    def __init__(self, only):
        self.only = only

    def choice(self, _):
        """Return the only choice."""
        return self.only


def little_memory():
    """Limit the memory of the process to 3 GiB."""
    resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30))


# What never ends, or is larger than it looks


def endless(path):
    """Put an endless device in place of a file."""
    path.unlink()
    path.symlink_to("/dev/zero")


def waiting(path):
    """Put a pipe that nobody writes to in place of a file."""
    path.unlink()
    os.mkfifo(path)


def sparse(path):
    """Make a file look 64 GiB large."""
    with path.open("r+b") as file:
        file.truncate(1 << 36)


@pytest.mark.process
@pytest.mark.parametrize(("name", "make"), [
    (name, make) for name in (*doors.INPUTS, "results.db", "readings.avro") for make in (endless, waiting, sparse)
    if (name, make) != ("readings.avro", sparse)  # which is read to its end, a piece at a time
])  # fmt: skip
def test_files_that_never_end_are_refused_by_name(folder, name, make):
    path = kinds._settled(folder) if name == "results.db" else kinds._input(folder, name)
    make(path)
    lines = {"results.db": ("show 9001", doors.WRITERS[0]), "readings.avro": doors.ARCHIVE[:1]}
    for line in lines.get(name) or doors.INPUTS[name]:
        done = subprocess.run([*COMMAND, *doors.words(line)], cwd=folder, capture_output=True, text=True, timeout=120,
                              preexec_fn=little_memory)  # fmt: skip
        if (name, make) != ("results.db", sparse):
            assert done.returncode == 1
            assert path.name in done.stdout + done.stderr  # status prints what is wrong
        assert done.returncode in (0, 1)
        assert done.stderr.count("\n") <= 1
        assert "Traceback" not in done.stderr


# What is kept is not lost by what is refused


def test_a_damaged_database_is_left_as_it_was(folder):
    kinds.store_json(folder, Random(3))
    path = kinds._settled(folder)
    before = path.read_bytes()
    for line in doors.READERS[:12]:
        assert doors.tried(line, folder) == ""
    assert path.read_bytes() == before


def test_one_damaged_result_does_not_hide_the_others(folder):
    with store_in(folder).open() as store:
        assert store.latest(doors.FIRST).result.spine_thou > 0
    with closing(sqlite3.connect(folder / "results.db")) as database, database:
        kinds._without_triggers(database)
        database.execute("UPDATE results SET full = '[7]' WHERE id = (SELECT max(results.id) FROM results JOIN runs ON "
                         "runs.id = results.run_id WHERE runs.shaft = ?)", (doors.FIRST,))  # fmt: skip
    assert "results.db" in complaint(midspan("show", doors.FIRST, folder=folder))
    assert midspan("show", doors.FIRST + 1, folder=folder).returncode == 0


def test_a_long_file_of_rubbish_is_one_place_and_not_millions(folder):
    path = folder / "readings.avro"
    with ArchiveWriter(folder / "empty.avro") as writer:
        marker = writer._marker
    path.write_bytes((folder / "empty.avro").read_bytes() + (b"x" + marker) * 100_000)
    shafts, line = recomputed(folder)
    assert shafts == []
    assert "more places" not in line


def test_a_set_that_is_like_one_that_is_gone_is_still_listed(folder):
    with closing(sqlite3.connect(folder / "results.db")) as database, database:
        kinds._without_triggers(database)
        database.execute("UPDATE sets SET like_id = 77 WHERE id = 1")
    assert "77" in midspan("sets", "show", folder=folder).stdout
