"""Archive and database of a night that somebody moves, cuts, replaces or deletes: noticed within one shaft, and told.

Readings that the gauge holds are kept once, in whatever archive stands there now, and the runs whose readings are gone
are named.
"""

import os
import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveGone, StoreGone
from midspan.base.formatting import shafts_numbered
from midspan.sorting import actions as act
from midspan.store.journal import Journal
from midspan.store.place import StorePlace
from midspan.store.transit import RunEventKind, TransitStage
from night_rig import BAR, Rig, plan_with
from pretend import STANDARD, KilledError, World, readings
from sqlalchemy import text

pytestmark = pytest.mark.slow

SPINES = {"a": 500.0, "b": 501.0, "c": 502.0, "d": 508.0, STANDARD: 500.0}
NOT_OURS_MS = 10**9
STOCK = ["a", "b", "c", "d"]


def a_rig(folder, **changes):
    world = World(**{"spines": dict(SPINES), "hopper": list(STOCK), "slot": STANDARD, **changes})
    return Rig(folder, world, plan_with(standard=[BAR]))


def when(rig, kind, measured, harm):
    """Do harm once, right after an action that is done with so many measurements done."""
    done = []

    def show(action):
        if isinstance(action, kind) and len(rig.gauge.measured) == measured and not done:
            done.append(True)
            harm()

    rig.shown = mock.Mock(append=show)


def dies():
    raise KilledError


def moved(path):
    path.rename(path.with_name(f"moved-{path.name}"))


def deleted(path):
    path.unlink()


def another(path):
    """Another archive under its name, with as many bytes and more: shafts of the same numbers, but others."""
    path.unlink()
    with ArchiveWriter(path) as writer:
        for shaft in range(1, 9):
            writer.append(replace(readings(505.0, 0.0, 1), shaft=shaft, started_ms=NOT_OURS_MS))


def cut(path):
    """To its half, amid a shaft."""
    os.truncate(path, path.stat().st_size // 2)


def emptied(path):
    os.truncate(path, 0)


HARMS = [moved, deleted, another, cut, emptied]


def stored(rig, shaft):
    """Return how often a shaft's readings of this night are in the archive that is there now."""
    return sum(run.shaft == shaft and run.started_ms < NOT_OURS_MS for run in read_archive(rig.setup.archive))


def number_of(rig, name):
    return [number for number, names in rig.world.numbers.items() if names == [name]]


def gone(rig):
    return [event.words for event in rig.events(RunEventKind.FAULT) if event.code == "READINGS_GONE"]


def all_in_place(rig):
    """Every shaft of the stock lies where the journal says, and was judged."""
    ended = {
        transit.shaft: transit
        for transit in rig.transits()
        if transit.standard is None and transit.stage is not TransitStage.NO_SHAFT
    }
    for name in STOCK:
        (number,) = number_of(rig, name)
        assert (ended[number].stage, ended[number].place) == (TransitStage.IN_BIN, rig.world.went[name])
        assert ended[number].result is not None
    assert len(ended) == len(STOCK)


@pytest.mark.parametrize("anew", [False, True], ids=["resume", "anew"])
@pytest.mark.parametrize("harm", HARMS)
@pytest.mark.parametrize("at", [act.MeasureShaft, act.JudgeReadings])
def test_readings_that_the_gauge_holds_are_kept_once_in_what_stands_there_now(tmp_path, harm, anew, at):
    rig = a_rig(tmp_path)
    when(rig, at, 3, dies)  # the standard, a, b
    assert rig.sort() is None
    harm(rig.setup.archive)
    rig.shown = []
    ending = rig.sort(again=not anew)
    assert ending.is_over, ending.words
    assert [name for name in rig.gauge.measured if name != STANDARD] == STOCK  # none twice
    (held,) = number_of(rig, "b")
    assert stored(rig, held) == 1
    all_in_place(rig)


@pytest.mark.parametrize("harm", [moved, deleted, another, emptied])
def test_the_runs_whose_readings_are_gone_are_named_once(tmp_path, harm):
    rig = a_rig(tmp_path)
    when(rig, act.MeasureShaft, 3, dies)
    assert rig.sort() is None
    harm(rig.setup.archive)
    for _ in range(2):  # the second one finds it as the first one left it
        when(rig, act.ForgetReadings, len(rig.gauge.measured) + 1, dies)
        assert rig.sort() is None
    rig.shown = []
    assert rig.sort().is_over
    (words,) = gone(rig)
    assert re.findall(r"\d+", words) == ["1", "2"]  # 3 was still held
    all_in_place(rig)


# In a running night


@pytest.mark.parametrize("at", [act.MeasureShaft, act.JudgeReadings, act.ForgetReadings, act.ReleaseShaft])
@pytest.mark.parametrize("harm", HARMS)
def test_an_archive_that_is_meddled_with_in_a_running_night_stops_it_within_one_shaft(tmp_path, harm, at):
    rig = a_rig(tmp_path)
    when(rig, at, 3, lambda: harm(rig.setup.archive))
    ending = rig.sort()
    assert not ending.is_over
    assert str(rig.setup.archive) in ending.words
    assert len(rig.gauge.measured) == 3
    assert rig.notices.told == [("needs a person", ending.words), ("stopped", ending.words)]
    assert rig.events()[-2].code == "ARCHIVE_GONE"
    assert rig.events()[-1].kind is RunEventKind.STOPPED
    rig.shown = []
    assert rig.sort().is_over
    all_in_place(rig)
    judged = [transit for transit in rig.transits() if transit.result is not None]
    kept = [transit.shaft for transit in judged if stored(rig, transit.shaft)]
    lost = [transit.shaft for transit in judged if transit.shaft not in kept]
    assert all(stored(rig, shaft) == 1 for shaft in kept)
    assert shafts_numbered(lost) in gone(rig)[-1]


def test_an_archive_that_is_put_back_is_gone_on_with(tmp_path):
    rig = a_rig(tmp_path)
    path, aside = rig.setup.archive, tmp_path / "aside.avro"
    when(rig, act.JudgeReadings, 3, lambda: path.rename(aside))
    assert not rig.sort().is_over
    aside.rename(path)
    rig.shown = []
    assert rig.sort().is_over
    assert gone(rig) == []
    assert rig.check_ledger() == 0


def test_readings_that_were_kept_elsewhere_meanwhile_are_not_kept_twice_where_they_were(tmp_path):
    """The archive is moved away, the next host keeps what the gauge holds in a new one and dies, the old is back."""
    rig = a_rig(tmp_path)
    path, aside = rig.setup.archive, tmp_path / "aside.avro"
    when(rig, act.MeasureShaft, 3, dies)
    assert rig.sort() is None
    path.rename(aside)
    when(rig, act.FetchReadings, 3, dies)
    assert rig.sort() is None
    aside.rename(path)
    rig.shown = []
    assert rig.sort().is_over
    assert rig.check_ledger() == 0


def test_in_an_attended_night_the_person_who_puts_the_archive_back_is_asked(tmp_path):
    rig = a_rig(tmp_path)
    path, aside, asked = rig.setup.archive, tmp_path / "aside.avro", []
    when(rig, act.JudgeReadings, 3, lambda: path.rename(aside))

    def ask(words):
        asked.append(words)
        aside.rename(path)
        return True

    rig.ask = ask
    assert rig.sort().is_over
    (words,) = asked
    assert str(path) in words
    assert rig.check_ledger() == 0


def test_an_archive_without_its_own_file_takes_no_run(tmp_path):
    run = readings(500.0, 0.0, 1)
    for harm in (moved, deleted, cut, emptied):
        path = tmp_path / f"{harm.__name__}.avro"
        with ArchiveWriter(path) as writer:
            writer.append(run)
            assert writer.end == path.stat().st_size
            harm(path)
            with pytest.raises(ArchiveGone):
                writer.append(run)


def test_an_archive_that_is_named_from_another_folder_is_not_gone(tmp_path, monkeypatch):
    (tmp_path / "night").mkdir()
    monkeypatch.chdir(tmp_path / "night")
    rig = a_rig(Path())
    when(rig, act.NoteInBin, 3, dies)
    assert rig.sort() is None
    monkeypatch.chdir(tmp_path)
    rig.shown, rig.setup = [], replace(rig.setup, folder=Path("night"))
    assert rig.sort().is_over
    assert gone(rig) == []
    moved(rig.setup.archive)
    rig.world.hopper.append("a")
    rig.world.went.pop("a")
    assert rig.sort().is_over
    assert len(gone(rig)) == 1


# The database


def store_moved(path):
    path.rename(path.with_name("moved.db"))


def store_deleted(path):
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)


def store_replaced(path):
    """By another night's, which has its own shafts."""
    store_deleted(path)
    with StorePlace(path).open() as store:
        Journal(store).begin_night("another", "{}", at_ms=0)


def saved(rig):
    (copy,) = rig.folder.glob("night.db.saved-*")
    return copy


@pytest.mark.parametrize(
    "at", [act.OrderShaft, act.MeasureShaft, act.JudgeReadings, act.ForgetReadings, act.ReleaseShaft]
)
@pytest.mark.parametrize("harm", [store_moved, store_deleted, store_replaced])
def test_a_database_that_is_gone_stops_the_night_within_one_shaft_and_loses_nothing(tmp_path, harm, at):
    rig = a_rig(tmp_path)
    when(rig, at, 3, lambda: harm(rig.setup.store.file))
    ending = rig.sort()
    assert not ending.is_over
    assert len(rig.gauge.measured) == 3
    assert len(rig.world.hopper) >= 1
    assert rig.notices.told == [("needs a person", ending.words), ("stopped", ending.words)]
    assert str(saved(rig)) in ending.words
    saved(rig).rename(rig.setup.store.file)  # whatever SQLite left there of the other
    rig.shown = []
    assert rig.sort().is_over
    assert rig.check_ledger() == 0


def test_a_database_that_is_moved_back_is_gone_on_with(tmp_path):
    rig = a_rig(tmp_path)
    when(rig, act.JudgeReadings, 3, lambda: store_moved(rig.setup.store.file))
    assert not rig.sort().is_over
    (tmp_path / "moved.db").rename(rig.setup.store.file)
    rig.shown = []
    assert rig.sort().is_over
    assert rig.check_ledger() == 0


def test_in_an_attended_night_the_person_who_puts_the_database_back_is_asked(tmp_path):
    rig = a_rig(tmp_path)
    when(rig, act.JudgeReadings, 3, lambda: store_moved(rig.setup.store.file))
    rig.ask = lambda words: (tmp_path / "moved.db").rename(rig.setup.store.file).exists()
    assert rig.sort().is_over
    assert rig.check_ledger() == 0
    assert "STORE_GONE" in [event.code for event in rig.events()]


def test_a_store_whose_file_is_gone_takes_and_gives_nothing(tmp_path):
    for harm in (store_moved, store_deleted, store_replaced):
        path = tmp_path / harm.__name__ / "night.db"
        path.parent.mkdir()
        with StorePlace(path).open() as store:
            batch = store.begin_batch("dozen", 0)
            harm(path)
            for _ in range(2):
                with pytest.raises(StoreGone):
                    store.begin_batch("lost", 0)
            with pytest.raises(StoreGone):
                store.batch(batch)
        (copy,) = path.parent.glob("*.saved-*")  # once
        with closing(sqlite3.connect(copy)) as opened:
            assert opened.execute("SELECT name FROM batches").fetchall() == [("dozen",)]


def test_a_store_whose_file_is_gone_makes_none_of_its_name_and_leaves_the_log_to_who_moved_it(tmp_path):
    """SQLite would make an empty one, and throw the log beside it away as another's: what was moved lacks the night."""
    path = tmp_path / "night.db"
    store = StorePlace(path).open()
    batch = store.begin_batch("dozen", 0)
    store_moved(path)
    with pytest.raises(StoreGone):
        store.batch(batch)
    store.close()
    with pytest.raises(StoreGone):
        store.batch(batch)  # as the command does that prints how the night ended
    assert not path.exists()
    (tmp_path / "moved.db").rename(path)
    with StorePlace(path).open() as opened, opened.transaction() as session:
        assert session.scalars(text("SELECT name FROM batches")).all() == ["dozen"]


def test_a_store_writes_nothing_into_the_file_that_took_its_place(tmp_path):
    """SQLite would take the log beside it for its own and write another database's pages into it."""
    path, other = tmp_path / "night.db", tmp_path / "other.db"
    with StorePlace(other).open() as opened:
        for number in range(200):
            opened.begin_batch(f"other {number}", 0)
    before = other.read_bytes()
    store = StorePlace(path).open()
    batch = store.begin_batch("dozen", 0)
    other.rename(path)
    with pytest.raises(StoreGone):
        store.batch(batch)
    store.close()
    with pytest.raises(StoreGone):
        store.batch(batch)
    assert path.read_bytes() == before
    with StorePlace(path).open() as opened, opened.transaction() as session:
        assert session.scalar(text("SELECT count(*) FROM batches")) == 200
    with closing(sqlite3.connect(tmp_path / "night.db.saved-1")) as opened:
        assert opened.execute("SELECT name FROM batches").fetchall() == [("dozen",)]


@pytest.mark.parametrize("at", [act.MeasureShaft, act.NoteInBin])
def test_a_database_that_another_is_copied_over_stops_the_night(tmp_path, at):
    rig = a_rig(tmp_path)

    def copied_over():
        with closing(sqlite3.connect(rig.setup.store.file)) as opened:
            assert opened.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
        other = tmp_path / "other.db"
        store_replaced(other)
        shutil.copyfile(other, rig.setup.store.file)

    when(rig, at, 3, copied_over)
    ending = rig.sort()
    assert not ending.is_over
    assert len(rig.gauge.measured) == 3
    assert "copied over" in ending.words
    assert rig.notices.told == [("needs a person", ending.words), ("stopped", ending.words)]
