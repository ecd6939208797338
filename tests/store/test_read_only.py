"""Reading commands work without the right to write, on databases of every version, and change nothing."""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from datetime import UTC
from pathlib import Path
from unittest import mock

import pytest
from commands_rig import midspan, refusal
from midspan.base.errors import StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.sets.registry import Sets
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.place import StorePlace
from midspan.web.follow import Clock, Follower
from midspan.web.views import Views
from night_on_paper import EVENING_MS
from places import DATA
from results import told

OLD = DATA / "e0bd664"
NOBODY = 65534
GOOD = Decision(Outcome.ACCEPTED, bin="500")
NOW = Clock(lambda: EVENING_MS, UTC)


@pytest.fixture(scope="module", autouse=True)
def _imported():
    """Import what commands import on first use: the other user may not read root's Python."""
    for command in (("show", "12"), ("sets", "stock")):  # the first is refused: its result has an earlier form
        midspan(*command, folder=OLD)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """Yield a folder with files for everyone to read; temporary files go to another, open to all."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)  # folders made by pytest are for its user alone
        for name in ("shop", "out", "temp"):
            Path(folder, name).mkdir()
        for name in ("out", "temp"):
            Path(folder, name).chmod(0o777)
        monkeypatch.setattr(tempfile, "tempdir", str(Path(folder, "temp")))
        for path in OLD.iterdir():
            shutil.copyfile(path, Path(folder, "shop", path.name))
        yield Path(folder, "shop")


@contextmanager
def only_reading(folder):
    """Make a folder and its files read-only for a block, also for root, who acts as another user meanwhile."""
    before = {path: path.stat().st_mode for path in (folder, *folder.rglob("*"))}
    for path in before:
        path.chmod(0o555 if path.is_dir() else 0o444)
    is_root = os.geteuid() == 0
    if is_root:
        os.setegid(NOBODY)
        os.seteuid(NOBODY)
    try:
        with pytest.raises(PermissionError):  # without this the block would prove nothing
            (folder / "new").touch()
        # A user without rights in the folder still has a log elsewhere.
        with tempfile.TemporaryDirectory() as own, mock.patch.dict(os.environ, XDG_STATE_HOME=own):
            yield
    finally:
        if is_root:
            os.seteuid(0)
            os.setegid(0)
        for path, mode in before.items():
            path.chmod(mode)


def contents(folder):
    """Return the content of every file in a folder by its relative path."""
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def current(shop):
    """Upgrade the database of the folder to this version, with its results in today's form, and return its path."""
    archives = ("readings.avro", "night-readings.avro", "--calibration", "calibration.toml")
    for command in (("recompute", *archives), ("hand", "recompute", "hand-readings.jsonl")):
        done = midspan(*command, "--bands", "bands.toml", "--store", "results.db", folder=shop)
        assert done.returncode == 0, done.stderr
    return shop / "results.db"


READING = [
    ("show", "12"),
    ("show", "12", "--budget", "--trials", "1000"),
    ("show", "200", "--json"),
    ("report", "1", "--out", "../out/night.html"),
    ("sets", "stock"),
    ("sets", "show"),
    ("sets", "show", "spring 1"),
    ("sets", "make", "--number", "3", "--spine", "5"),
    ("sets", "card", "spring 1", "--out", "../out/card"),
    ("shafts", "labels", "12", "--out", "../out/labels.pdf"),
    ("export", "results", "--out", "../out/results.csv"),
    ("plot", "around", "12", "--out", "../out/around.svg"),
    ("plot", "force", "12", "--out", "../out/force.png"),
    ("study", "stock", "--batch", "2", "--quantity", "spine_thou"),
]


@pytest.mark.slow
@pytest.mark.parametrize("age", ["current", "older"])
@pytest.mark.parametrize("command", READING, ids=lambda command: " ".join(command[:3]))
def test_a_command_that_reads_needs_no_right_to_write(shop, age, command):
    if age == "current":
        current(shop)
    before = contents(shop)
    usual = midspan(*command, folder=shop)  # this also imports everything: another user may not read root's Python
    for path in (shop.parent / "out").iterdir():
        path.unlink()
    with only_reading(shop):
        done = midspan(*command, folder=shop)
    assert (done.returncode, done.stdout) == (usual.returncode, usual.stdout)
    whole = command[0] in ("show", "plot")  # what shows all of a result refuses one of an earlier form
    assert done.returncode == 0 or (age == "older" and whole), done.stderr
    assert contents(shop) == before
    assert not list((shop.parent / "temp").iterdir())


@pytest.mark.slow
def test_reading_an_older_database_leaves_it_unchanged_in_a_writable_folder_too(shop):
    before = contents(shop)
    assert midspan("sets", "stock", folder=shop).returncode == 0
    assert contents(shop) == before


@pytest.mark.parametrize(
    "command", [("shafts", "spent", "12"), ("sets", "make", "--number", "3", "--spine", "5", "--keep", "summer")]
)
def test_a_command_that_writes_names_the_file_it_may_not_write(shop, command):
    current(shop)
    before = contents(shop)
    with only_reading(shop):
        assert refusal(midspan(*command, folder=shop), StoreError).code == "read_only"
    assert contents(shop) == before


def test_a_database_of_a_newer_version_is_refused(shop):
    with closing(sqlite3.connect(shop / "results.db")) as database:
        database.execute("PRAGMA user_version = 99")
    with only_reading(shop):
        error = refusal(midspan("show", "12", folder=shop), StoreError)
    assert (error.code, str(error).startswith("results.db: ")) == ("unknown_revision", True)


@pytest.mark.parametrize("content", [b"", b"not a database", b"SQLite format 3\x00" + b"\xff" * 200])
def test_a_file_that_is_no_database_is_named(shop, content):
    (shop / "results.db").write_bytes(content)
    with only_reading(shop):
        assert str(refusal(midspan("show", "12", folder=shop), StoreError)).startswith("results.db: ")


def test_a_write_ahead_log_is_read_too(shop):
    """A folder copied by hand during a sorting run has the write-ahead log but not SQLite's index of it."""
    with closing(sqlite3.connect(current(shop))) as held:
        held.execute("SELECT count(*) FROM runs").fetchone()
        with StorePlace(shop / "results.db").open() as store:
            Sets(store).mark([12], spent=True, words="broke", at_ms=1)
            copied = shop / "copied.db"
            shutil.copyfile(shop / "results.db", copied)
            shutil.copyfile(shop / "results.db-wal", shop / "copied.db-wal")
    assert (shop / "copied.db-wal").stat().st_size > 0
    with only_reading(shop), StorePlace(copied).open_to_read() as store, store.transaction() as session:
        read = session.connection().exec_driver_sql("SELECT count(*) FROM marks WHERE shaft = 12").scalar_one()
    assert read == 1


def test_the_page_follows_what_others_write_where_it_may_only_read(shop):
    current(shop)
    with only_reading(shop):
        follower = Follower(StorePlace(shop / "results.db"))
        views = Views(follower, NOW)
        assert "Run 2" in views.live(views.night(None))[0]
        before = follower.count(2)
        with pytest.raises(StoreError) as caught:
            follower.ask_for_an_end(2, 5)
        assert caught.value.code == "read_only"
    with StorePlace(shop / "results.db").open() as store:  # another program with the right to write
        batch = store.begin_batch("more", 0)
        store.add(batch, RunReference("a.avro", 1, 4000, "", 0), Evaluation(told(spine_thou=501.0), GOOD, 1))
    with only_reading(shop):
        assert follower.store.latest(4000).result == told(spine_thou=501.0)
        assert follower.count(2) == before
        follower.close()
    assert not list((shop.parent / "temp").iterdir())


def test_a_reader_beside_a_writer_sees_what_was_written_a_moment_ago(shop):
    current(shop)
    with StorePlace(shop / "results.db").open() as store:
        batch = store.begin_batch("more", 0)
        for shaft in (4000, 4001):
            store.add(batch, RunReference("a.avro", shaft, shaft, "", 0), Evaluation(told(spine_thou=501.0), GOOD, 1))
            with only_reading(shop), StorePlace(shop / "results.db").open_to_read() as reader:
                assert reader.latest(shaft) is not None
