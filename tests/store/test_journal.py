"""The journal of nights: numbers that are never used again, steps that stay, and databases from before it."""

import json
import sqlite3
import subprocess
import sys
import threading

import pytest
from midspan.base.errors import StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.follow import newest_night
from midspan.store.journal import LARGEST_SHAFT, Journal
from midspan.store.transit import ENDS, RunEvent, RunEventKind, RunFindings, StandardCheck, TransitStage, WayStep
from results import NOTHING, told

ACCEPTED = Decision(Outcome.ACCEPTED, (), "500")
TABLES = ("nights", "passages", "steps", "happenings", "checks", "suspects")


@pytest.fixture
def path(store_place):
    return store_place.file


@pytest.fixture
def journal(store):
    return Journal(store)


@pytest.fixture
def night(journal):
    return journal.begin_night("bench", json.dumps({"a": 1}), 5)


def where(shaft):
    return RunReference("n.avro", 900 * shaft, shaft, "", 7)


def judged(journal, shaft, **also):
    transit = journal.open_transit("bench")
    assert transit.shaft == shaft
    return journal.judged(transit, where(shaft), Evaluation(told(spine_thou=500.0), ACCEPTED, 20), RunFindings(**also))


def test_a_shaft_goes_its_way_step_by_step(journal, night):
    shaft = journal.order(night, "HOPPER", None, 10)
    assert journal.open_transit("bench").stage is TransitStage.ORDERED
    journal.note(shaft, WayStep(TransitStage.IN_GAUGE, 11))
    journal.note(shaft, WayStep(TransitStage.MEASURING, 12, archive_bytes=400))
    result = judged(journal, shaft, watched={"noise_n": 0.1})
    journal.note(shaft, WayStep(TransitStage.LEAVING, 21, place=3))
    on_its_way = journal.open_transit("bench")
    assert (on_its_way.stage, on_its_way.place, on_its_way.result) == (TransitStage.LEAVING, 3, result)
    journal.note(shaft, WayStep(TransitStage.IN_BIN, 22, place=3, passed=1))
    assert journal.open_transit("bench") is None
    (transit,) = journal.transits(night)
    assert [step.at_ms for step in transit.steps] == [11, 12, 20, 21, 22]
    assert (transit.is_open, transit.measured, transit.passed, transit.place) == (False, 1, 1, 3)
    assert transit.since_measuring[0].stage is TransitStage.MEASURING
    assert transit.steps[2].watched == {"noise_n": 0.1}


def test_the_verdict_stands_in_the_batch_of_its_night(journal, store, night):
    shaft = journal.order(night, "HOPPER", None, 10)
    number = judged(journal, shaft)
    (stored,) = store.batch(journal.batch(night))
    assert (stored.id, stored.run, stored.decision, stored.made_ms) == (number, where(shaft), ACCEPTED, 20)
    assert journal.outcomes(night) == {number: Outcome.ACCEPTED}


@pytest.mark.parametrize("end", sorted(ENDS))
def test_each_end_closes_a_shaft(journal, night, end):
    shaft = journal.order(night, "HOPPER", None, 1)
    journal.note(shaft, WayStep(end, 2))
    assert journal.open_transit("bench") is None


def test_numbers_are_never_those_of_shafts_measured_by_hand(journal, store, night):
    assert journal.order(night, "HOPPER", None, 1) == 1
    store.add(store.begin_batch("one by one", 0), where(40), Evaluation(NOTHING, ACCEPTED, 0))
    assert journal.order(night, "HOPPER", None, 1) == 41
    assert journal.order(night, "HOPPER", None, 1) == 42


def test_numbers_are_none_that_the_gauge_remembers(journal, night):
    assert journal.order(night, "HOPPER", None, 1, above=57) == 58
    assert journal.order(night, "HOPPER", None, 1, above=57) == 59


def test_numbers_end_where_the_gauge_ends(journal, store, night):
    store.add(store.begin_batch("one by one", 0), where(LARGEST_SHAFT), Evaluation(NOTHING, ACCEPTED, 0))
    with pytest.raises(StoreError) as caught:
        journal.order(night, "HOPPER", None, 1)
    assert caught.value.code == "numbers_used_up"
    assert journal.transits(night) == []


@pytest.mark.slow
def test_two_gauges_share_a_database_and_never_a_number(store_place):
    numbers = {"left": [], "right": []}

    def sort(gauge):
        with store_place.open(wait_s=60.0) as store:
            journal = Journal(store)
            night = journal.begin_night(gauge, "{}", 0)
            for _ in range(40):
                numbers[gauge].append(shaft := journal.order(night, "HOPPER", None, 1))
                journal.note(shaft, WayStep(TransitStage.NO_SHAFT, 2))

    store_place.open().close()
    threads = [threading.Thread(target=sort, args=(gauge,)) for gauge in numbers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    both = numbers["left"] + numbers["right"]
    assert len(both) == len(set(both)) == 80
    with store_place.open() as store:
        journal = Journal(store)
        for night in journal.nights():
            assert [transit.shaft for transit in journal.transits(night.id)] == numbers[night.gauge]


def test_the_open_shaft_is_that_of_its_gauge_whichever_night_ordered_it(journal, night):
    other = journal.begin_night("other", "{}", 6)
    mine = journal.order(night, "HOPPER", None, 7)
    theirs = journal.order(other, "SLOT", "bar 7", 8)
    assert journal.open_transit("bench").shaft == mine
    assert journal.open_transit("other").shaft == theirs
    assert journal.open_transit("other").standard == "bar 7"
    journal.begin_night("bench", "{}", 9)
    assert journal.open_transit("bench").shaft == mine
    assert [begun.gauge for begun in journal.nights()] == ["bench", "other", "bench"]
    assert [begun.id for begun in journal.nights("bench")] == [1, 3]
    assert journal.nights("bench")[0].plan == {"a": 1}


def test_happenings_come_back_in_order(journal, night):
    shaft = journal.order(night, "HOPPER", None, 1)
    journal.add_events(
        night,
        RunEvent(RunEventKind.FAULT, "a jam", 3, code="JAM", shaft=shaft),
        RunEvent(RunEventKind.EMPTIED, "place 2 was emptied", 4, place=2),
    )
    first, second = journal.events(night)
    assert (first.kind, first.words, first.at_ms, first.code, first.shaft) == (
        RunEventKind.FAULT,
        "a jam",
        3,
        "JAM",
        1,
    )
    assert (second.code, second.place) == (None, 2)


def test_a_bad_check_and_its_suspects_are_stored_with_the_verdict_or_not_at_all(journal, night):
    for _ in range(3):
        journal.note(journal.order(night, "HOPPER", None, 1), WayStep(TransitStage.IN_BIN, 2, place=1, passed=1))
    standard = journal.order(night, "SLOT", "bar 7", 3)
    bad = StandardCheck("bar 7", 20, 501.0, 0.1, 500.0, 0.1, good=False, reasons=("bias +1.0",))
    with pytest.raises(StoreError):
        judged(journal, standard, check=bad, suspects=[2, 99])  # there is no shaft 99
    assert journal.checks(night=night) == []
    assert journal.open_transit("bench").stage is TransitStage.ORDERED
    judged(journal, standard, check=bad, suspects=[2, 3])
    (found,) = journal.checks(night=night)
    assert (found.shaft, found.good, found.reasons, found.spine_thou) == (standard, False, ("bias +1.0",), 501.0)
    assert journal.suspects(night) == {2: [standard], 3: [standard]}
    assert [check.shaft for check in journal.checks(gauge="bench")] == [standard]
    assert journal.checks(gauge="other") == []


@pytest.mark.slow
@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("order", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid + 1"])
def test_no_program_can_change_or_delete_a_row(journal, night, path, table, order):
    test_a_bad_check_and_its_suspects_are_stored_with_the_verdict_or_not_at_all(journal, night)
    journal.add_events(night, RunEvent(RunEventKind.NOTICE, "", 1))
    database = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError) as caught:
        database.execute(order.format(table))
    database.close()
    assert (caught.value.sqlite_errorname, f" {table} " in str(caught.value)) == ("SQLITE_CONSTRAINT_TRIGGER", True)


def test_a_locked_database_notes_nothing_and_says_so(journal, night, path):
    other = sqlite3.connect(path)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError) as caught:
        journal.order(night, "HOPPER", None, 1)
    other.close()
    assert caught.value.code == "locked"
    assert journal.transits(night) == []


# A database as the version before made it: these are its tables, word for word.
BEFORE = """
CREATE TABLE batches (id INTEGER NOT NULL, name VARCHAR NOT NULL, started_ms INTEGER NOT NULL, PRIMARY KEY (id));
CREATE TABLE calibrations (id VARCHAR NOT NULL, content VARCHAR NOT NULL, PRIMARY KEY (id));
CREATE TABLE runs (id INTEGER NOT NULL, batch_id INTEGER NOT NULL, archive VARCHAR NOT NULL,
    byte_offset INTEGER NOT NULL, shaft INTEGER NOT NULL, label VARCHAR NOT NULL, started_ms INTEGER NOT NULL,
    PRIMARY KEY (id), UNIQUE (archive, byte_offset, shaft, started_ms),
    FOREIGN KEY(batch_id) REFERENCES batches (id));
CREATE TABLE results (id INTEGER NOT NULL, run_id INTEGER NOT NULL, made_ms INTEGER NOT NULL, calibration VARCHAR,
    evaluation VARCHAR, spine_thou FLOAT, u_spine_thou FLOAT, spread_thou FLOAT, u_spread_thou FLOAT,
    spread_floor_thou FLOAT, four_reading_thou FLOAT, u_four_reading_thou FLOAT, stiff_side_deg FLOAT,
    u_stiff_side_deg FLOAT, runout_mm FLOAT, u_runout_mm FLOAT, hysteresis_pct FLOAT, u_hysteresis_pct FLOAT,
    older_lb FLOAT, u_older_lb FLOAT, "full" VARCHAR, PRIMARY KEY (id), FOREIGN KEY(run_id) REFERENCES runs (id));
CREATE TABLE decisions (result_id INTEGER NOT NULL, outcome VARCHAR NOT NULL, bin VARCHAR, reasons VARCHAR NOT NULL,
    PRIMARY KEY (result_id), FOREIGN KEY(result_id) REFERENCES results (id));
CREATE TRIGGER runs_no_update BEFORE UPDATE ON runs
    BEGIN SELECT RAISE(ABORT, 'rows of runs are never changed or deleted'); END;
PRAGMA application_id = 1298752627;
PRAGMA user_version = 2;
INSERT INTO batches VALUES (1, 'blue', 3);
INSERT INTO runs VALUES (1, 1, 'a.avro', 10, 7, 'blue-7', 4);
INSERT INTO results (id, run_id, made_ms, spine_thou, "full") VALUES (1, 1, 5, 500.25, '{"spine_thou": 500.25}');
INSERT INTO decisions VALUES (1, 'accepted', '500', '[]');
"""


def test_a_database_from_before_the_journal_opens_with_all_it_holds(path, store_place):
    with sqlite3.connect(path) as database:
        database.executescript(BEFORE)
    database.close()
    for _ in range(2):
        with store_place.open() as store:
            assert store.latest(7).result == told(definition=None, spine_thou=500.25)
    with store_place.open() as store:
        journal = Journal(store)
        assert journal.order(journal.begin_night("bench", "{}", 0), "HOPPER", None, 1) == 8
    database = sqlite3.connect(path)
    database.execute("INSERT INTO steps (id, passage_id, at_ms, stage) VALUES (1, 8, 0, 'judged')")
    with pytest.raises(sqlite3.IntegrityError) as caught:
        database.execute("DELETE FROM steps")
    database.close()
    assert caught.value.sqlite_errorname == "SQLITE_CONSTRAINT_TRIGGER"


KILLED = """
import os, sys
from pathlib import Path
from midspan.store.journal import Journal
from midspan.store.transit import WayStep, TransitStage
from midspan.store.place import StorePlace
journal = Journal(StorePlace(Path(sys.argv[1])).open())
shaft = journal.order(journal.begin_night("bench", "{}", 0), "HOPPER", None, 1)
journal.note(shaft, WayStep(TransitStage.LEAVING, 2, place=4))
os._exit(1)
"""


@pytest.mark.process
def test_what_was_noted_survives_the_program(store_place):
    subprocess.run([sys.executable, "-c", KILLED, str(store_place)], check=False, timeout=600)
    with store_place.open() as store:
        transit = Journal(store).open_transit("bench")
    assert (transit.shaft, transit.stage, transit.place) == (1, TransitStage.LEAVING, 4)


def test_an_attended_run_is_no_night(journal):
    night = journal.begin_night("bench", "{}", 1)
    attended = journal.begin_night("bench", "{}", 2, attended=True)
    of_night = journal.order(night, "HOPPER", None, 3)
    by_hand = journal.order(attended, "HAND", None, 4)
    assert [run.id for run in journal.nights()] == [night]
    assert [run.id for run in journal.nights("bench", attended=True)] == [attended]
    assert journal.open_transit("bench").shaft == of_night
    assert journal.open_transit("bench", attended=True).shaft == by_hand
    journal.note(by_hand, WayStep(TransitStage.TAKEN_OUT, 5))
    assert journal.open_transit("bench", attended=True) is None
    assert journal.open_transit("bench").shaft == of_night
    assert [transit.shaft for transit in journal.since("bench", of_night)] == [by_hand]


def test_the_newest_night_is_never_an_attended_run(store):
    journal = Journal(store)
    night = journal.begin_night("bench", "{}", 1)
    journal.begin_night("bench", "{}", 2, attended=True)
    assert newest_night(store) == night
