"""Records of sets, stock and sorting runs: what was written is read back, and what is asked of it is counted by hand.

The databases are small enough to count in them; what one program stores, the standard library's sqlite3 reads.
"""

import math
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from midspan.base.errors import BackupError, StoreError
from midspan.decision.basis import Basis
from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.store.copying import copy_database, open_for_many, read_whole, runs_by_name
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.every_result import every_result
from midspan.store.follow import (
    gone_through,
    newest_night,
    newest_rows,
    newest_stop_request,
    request_stop,
    stop_requested_ms,
)
from midspan.store.journal import Journal
from midspan.store.records import Records, StatedIdentity
from midspan.store.set_records import Member, SetRecord, SetRecords, WeightRecord
from midspan.store.stock_records import StockRecords, results_by_number
from midspan.store.tables import Table
from midspan.store.transit import RunEvent, RunEventKind, RunFindings, StandardCheck, TransitStage, WayStep
from midspan.store.vouching import Voucher, vouch
from results import NOTHING, told
from sqlalchemy.dialects.sqlite import dialect
from sqlalchemy.schema import CreateTable
from stores import ACCEPTED, add_result, run_of, store_in

CRACK = Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: hysteresis 2.2 %")
CRACKED = Decision(Outcome.REJECTED, (CRACK.words,), None, (CRACK,))
SICK = Decision(Outcome.INSTRUMENT_FAULT, ("noise",))
WIDE = {"bin": [{"name": "any", "spine_thou": [50.0, 2000.0]}]}
CURVE = [1.0, 2.0, 3.0, 4.0, 0.0, 0.0]
WHOLE = {
    "spine_thou": 500.0, "u_spine_thou": 0.1, "spread_thou": 2.0, "runout_mm": 0.05, "calibration": "bench-1",
    "evaluation": "7", "gauge": "bench", "curve_thou": [500.0, *CURVE],
    "surface_mm": [0.0, 0.5, 0.25, 0.0, 0.0, 0.0, 0.0],
}  # fmt: skip


# --- sets


def test_a_set_is_read_back_with_those_who_left(store):
    results = [add_result(store, run_of(shaft)) for shaft in (1, 2, 3)]
    with SetRecords.of(store) as records:
        spring = records.add("spring", "{}", None, 10)
        autumn = records.add("autumn", '{"most": 2}', spring, 11)
        records.join(spring, [(1, results[0]), (2, results[1])], 12)
        records.join(autumn, [(3, results[2])], 13)
    with SetRecords.of(store) as records:
        assert records.sets() == [
            SetRecord(spring, "spring", 10, "{}", None), SetRecord(autumn, "autumn", 11, '{"most": 2}', spring)
        ]  # fmt: skip
        members = records.members()
        assert members == {
            spring: [Member(1, 1, results[0], 12), Member(2, 2, results[1], 12)], autumn: [Member(3, 3, results[2], 13)]
        }  # fmt: skip
        records.leave([2], "lost in the grass", 14)
        assert records.members()[spring] == [members[spring][0], replace(members[spring][1], left="lost in the grass")]
        assert records.named(["spring", "summer"]) == {"spring": {spring}}
    with StockRecords.of(store) as stock:
        assert stock.in_sets() == {1, 3}


def test_no_shaft_is_in_two_sets_at_a_time(store):
    result = add_result(store, run_of(1))
    with SetRecords.of(store) as records:
        first, second = records.add("spring", "{}", None, 1), records.add("autumn", "{}", None, 1)
        records.join(first, [(1, result)], 2)
    with pytest.raises(StoreError) as caught, SetRecords.of(store) as records:
        records.join(second, [(1, result)], 3)
    assert caught.value.code == "in_a_set"
    with SetRecords.of(store) as records:
        records.leave([1], "moved", 3)
        records.join(second, [(1, result)], 4)
        assert [member.shaft for member in records.members()[second]] == [1]


def test_the_last_mark_and_all_weights_of_a_shaft_are_read(store):
    with SetRecords.of(store) as records:
        records.mark([1, 2], spent=True, words="broken", at_ms=1)
        records.mark([2], spent=False, words="found again", at_ms=2)
        records.weigh([WeightRecord(1, 22.5, 0.01), WeightRecord(2, 23.0, 0.01)], 3)
        records.weigh([WeightRecord(1, 22.6, 0.01)], 4)
    with StockRecords.of(store) as stock:
        assert stock.spent() == {1: True, 2: False}
        assert stock.weights_g() == [(1, 22.5), (2, 23.0), (1, 22.6)]


def test_labels_of_this_shop_hide_those_of_imported_runs(store):
    for run, origin in (
        (run_of(1, "a1"), Origin.MEASURED), (run_of(1, "b1", at_ms=5), Origin.IMPORTED),
        (run_of(2, "a2"), Origin.IMPORTED), (run_of(3), Origin.MEASURED), (run_of(4, "a1"), Origin.MEASURED),
    ):  # fmt: skip
        store.add(store.begin_batch("", 0), run, Evaluation(NOTHING, ACCEPTED, 0), origin=origin)
    with Records.of(store) as records:
        assert sorted(records.labels()) == [(1, "a1"), (2, "a2"), (4, "a1")]
        assert records.numbers_of("a1") == {1, 4}
        assert records.numbers_of("") == set()
        assert [records.is_measured(shaft) for shaft in (1, 2, 3, 4, 5)] == [True, True, True, True, False]


def test_what_persons_said_of_identities_is_read_in_order(store):
    said = [
        StatedIdentity(1, 2, True, 5, "Ann", "same nick"), StatedIdentity(3, 1, False, 6, "Bo", "other nock"),
        StatedIdentity(2, 3, None, 7, "Ann", "taken back"),
    ]  # fmt: skip
    with Records.of(store) as records:
        records.state_identities(said[:2])
        records.state_identities(said[2:])
    with Records.of(store) as records:
        assert records.stated_identities() == said


# --- stock


def test_the_standing_measurements_are_those_not_superseded_by_their_newest_result(store):
    add_result(store, run_of(2, "b"), told(spine_thou=480.0))
    first = add_result(store, run_of(1, "a"), told(spine_thou=490.0))
    again = add_result(store, run_of(1, "a", offset=5), told(**WHOLE), CRACKED)
    newest = add_result(store, run_of(1, "a", offset=5), told(**WHOLE), CRACKED, batch=2)
    with StockRecords.of(store) as stock:
        found = stock.standing()
    assert first < again < newest
    assert [(shaft.shaft, shaft.result, shaft.spine_thou) for shaft in found] == [(1, newest, 500.0), (2, 1, 480.0)]
    first_shaft = found[0]
    assert (first_shaft.label, first_shaft.batch, first_shaft.origin, first_shaft.run) == ("a", 3, Origin.MEASURED, 3)
    assert (first_shaft.u_spine_thou, first_shaft.spread_thou, first_shaft.runout_mm) == (0.1, 2.0, 0.05)
    assert (first_shaft.outcome, first_shaft.bin, found[1].bin) == (Outcome.REJECTED, None, "500")
    with StockRecords.of(store) as stock:
        assert stock.cracked() == {1: 3}


@pytest.mark.slow
def test_shafts_are_compared_by_mean_and_waves_of_sound_results(store):
    add_result(store, run_of(1), told(**WHOLE))
    add_result(store, run_of(2), told(**WHOLE), SICK)
    add_result(store, run_of(3), NOTHING)
    add_result(store, run_of(4), told(**WHOLE | {"spine_thou": 0.0}))
    add_result(store, run_of(5), told(**{name: value for name, value in WHOLE.items() if name != "gauge"}))
    add_result(store, run_of(6), told(**WHOLE | {"curve_thou": [-1.0, *CURVE]}))
    add_result(store, run_of(7), told(**WHOLE | {"surface_mm": [0.0]}))
    add_result(store, run_of(8), told(**WHOLE | {"curve_thou": [0.0, *CURVE]}))
    add_result(store, run_of(10), told(**WHOLE | {"curve_thou": [0.5, *CURVE]}))
    run, standard = run_of(9), Evaluation(told(**WHOLE), ACCEPTED, 0, Basis(standard="bar 7"))
    store.add(store.begin_batch("", 0), run, standard, origin=Origin.IMPORTED)
    with StockRecords.of(store) as stock:
        found = {result.shaft: result for result in stock.comparable()}
        assert stock.standards() == {9}
    assert sorted(found) == [1, 5, 6, 7, 8, 9, 10]
    assert list(found[1].numbers[:10]) == [500.0, *CURVE, 0.0, 0.5, 0.25]
    assert found[10].numbers[0] == 0.5
    assert (found[1].gauge, found[1].calibration, found[1].evaluation, found[1].batch) == ("bench", "bench-1", "7", 1)
    assert [found[shaft].is_whole for shaft in (1, 5, 6, 7, 8)] == [True, False, False, False, False]
    assert (found[5].gauge, found[6].numbers[0], found[6].numbers[21]) == (None, 500.0, math.inf)
    assert (found[1].standard, found[9].standard) == (None, "bar 7")
    assert (found[1].origin, found[9].origin) == (Origin.MEASURED, Origin.IMPORTED)


def test_results_are_found_by_number_in_their_kind(store):
    gauge = add_result(store, run_of(1), told(spine_thou=500.0))
    hand = add_result(store, run_of(2), told(ResultKind.HAND_BENCH, spine_thou=501.0))
    assert results_by_number(store, [gauge, hand]) == {
        gauge: told(spine_thou=500.0), hand: told(ResultKind.HAND_BENCH, spine_thou=501.0)
    }  # fmt: skip


def test_every_result_says_by_which_it_was_superseded(store):
    old = add_result(store, run_of(1))
    add_result(store, run_of(2))
    again = add_result(store, run_of(1), told(spine_thou=500.0), batch=1)
    later = add_result(store, run_of(1, offset=5))
    newest = add_result(store, run_of(1, offset=6))
    by = {row.stored.id: row.superseded_by for row in every_result(store, all_versions=True)}
    assert by == {old: later, again: later, 2: None, later: newest, newest: None}
    assert [row.stored.id for row in every_result(store, all_versions=False)] == [again, 2, later, newest]


# --- vouching


@pytest.mark.slow
def test_a_word_counts_for_all_that_stands_and_is_stored_with_its_person(store):
    for archive in ("a.avro", "b.avro"):
        run = run_of(1, archive=archive)
        store.add(store.begin_batch("", 0), run, judged_by(WIDE), origin=Origin.IMPORTED)
    add_result(store, run_of(2))
    before = store.standing(1)
    assert [stored.decision.outcome for stored in before] == [Outcome.REJECTED] * 2
    given = vouch(store, [1, 1], Voucher("Ann", "no crack under a lens", 77), None)
    assert {shaft: decision.outcome for shaft, decision in given.items()} == {1: Outcome.ACCEPTED}
    after = store.standing(1)
    assert len(store.history(1)) == 4  # once for each, though the shaft was named twice
    for stored in after:
        assert (stored.made_ms, stored.basis.person, stored.basis.crack_hysteresis_pct) == (77, "Ann", None)
        assert stored.basis.bands == WIDE
    with StockRecords.of(store) as stock:
        assert stock.vouched() == {1: max(stored.run_id for stored in after)}
        assert stock.cracked() == {}


def judged_by(bands, **basis):
    return Evaluation(measured_result(), CRACKED, 0, Basis(bands=bands, crack_hysteresis_pct=1.5, **basis))


def measured_result():
    """Return a whole result of today's form."""
    import numpy as np
    from midspan.measurement.result import evaluate
    from synthetic import Gauge, Shaft, paper_calibration, raw_run

    (found,) = evaluate([raw_run(Shaft(), Gauge(), np.random.default_rng(3))], paper_calibration())
    return found


@pytest.mark.parametrize(
    ("evaluation", "code"),
    [
        (lambda: judged_by(None), "no_bands"),
        (lambda: judged_by(WIDE, standard="bar 7"), "check_standard"),
        (lambda: Evaluation(told(spine_thou=1.0), ACCEPTED, 0, Basis(bands=WIDE)), "older_form"),
        (lambda: Evaluation(NOTHING, ACCEPTED, 0, Basis(bands=WIDE)), "no_result"),
    ],
)
def test_shafts_for_which_no_word_counts_change_nothing(store, evaluation, code):
    store.add(store.begin_batch("", 0), run_of(1), evaluation())
    with pytest.raises(StoreError) as caught:
        vouch(store, [1], Voucher("Ann", "looked", 1), None)
    assert caught.value.code == code
    assert len(store.history(1)) == 1


@pytest.mark.parametrize(("person", "words"), [("", "looked"), ("Ann", " "), (" ", "")])
def test_a_word_needs_a_person_and_what_was_seen(store, person, words):
    add_result(store, run_of(1))
    with pytest.raises(StoreError) as caught:
        vouch(store, [1], Voucher(person, words, 1), None)
    assert caught.value.code == "voucher_incomplete"
    with pytest.raises(StoreError) as caught:
        vouch(store, [99], Voucher("Ann", "looked", 1), None)
    assert caught.value.code == "never_measured"


# --- sorting runs


@pytest.fixture
def journal(store):
    return Journal(store)


def sent(journal, night, *stages, standard=None, **last):
    """Order a shaft and note its steps; return its number."""
    shaft = journal.order(night, "SLOT" if standard else "HOPPER", standard, 1)
    for stage in stages[:-1]:
        journal.note(shaft, WayStep(stage, 2))
    journal.note(shaft, WayStep(stages[-1], 3, **last))
    return shaft


def test_shafts_that_went_through_are_counted_with_those_that_fell_beside_them(store, journal):
    night, other = journal.begin_night("bench", "{}", 1), journal.begin_night("bench", "{}", 2)
    assert gone_through(store, night) == 0
    assert newest_night(store) == other
    sent(journal, night, TransitStage.IN_BIN, place=1, passed=1)
    sent(journal, night, TransitStage.IN_BIN, place=1, passed=2)
    sent(journal, night, TransitStage.UNCERTAIN, place=1)
    sent(journal, night, TransitStage.TAKEN_OUT)
    sent(journal, night, TransitStage.NO_SHAFT)
    sent(journal, night, TransitStage.IN_GAUGE)
    sent(journal, night, TransitStage.IN_BIN, standard="bar 7", place=2, passed=1)
    sent(journal, other, TransitStage.IN_BIN, place=1, passed=0)
    assert (gone_through(store, night), gone_through(store, other)) == (5, 1)


def test_a_wish_to_stop_is_about_one_run(store, journal):
    night, other = journal.begin_night("bench", "{}", 1), journal.begin_night("bench", "{}", 2)
    assert (newest_stop_request(store, night), stop_requested_ms(store, night)) == (0, None)
    request_stop(store, night, 50)
    request_stop(store, night, 40)
    request_stop(store, other, 90)
    assert (newest_stop_request(store, night), stop_requested_ms(store, night)) == (2, 50)
    assert (newest_stop_request(store, other), stop_requested_ms(store, other)) == (3, 90)


def test_each_new_row_moves_what_followers_look_at(store, journal):
    assert newest_night(store) is None
    assert newest_rows(store) == (None, None, None, None, None, 0)
    night = journal.begin_night("bench", "{}", 1)
    shaft = sent(journal, night, TransitStage.IN_BIN, passed=1)
    journal.add_events(night, RunEvent(RunEventKind.NOTICE, "", 1))
    request_stop(store, night, 1)
    assert newest_rows(store) == (shaft, 1, 1, night, 1, 0)


def test_a_transit_says_the_last_of_what_its_steps_say(journal):
    night = journal.begin_night("bench", "{}", 1)
    shaft = journal.order(night, "HOPPER", None, 1)
    transit = journal.transit(shaft)
    assert (transit.stage, transit.is_open, transit.place, transit.result) == (TransitStage.ORDERED, True, None, None)
    assert (transit.unfit, transit.measured, transit.since_measuring, transit.passed) == (None, 0, (), 0)
    assert journal.transit(99) is None
    steps = [
        WayStep(TransitStage.IN_GAUGE, 2, words="too bent"),
        WayStep(TransitStage.MEASURING, 3), WayStep(TransitStage.JUDGED, 4),
        WayStep(TransitStage.MEASURING, 5, archive_bytes=9, words="marker"), WayStep(TransitStage.JUDGED, 6),
        WayStep(TransitStage.LEAVING, 7, place=3), WayStep(TransitStage.LEAVING, 8, place=0),
        WayStep(TransitStage.IN_BIN, 9, passed=2),
    ]  # fmt: skip
    for step in steps:
        journal.note(shaft, step)
    transit = journal.transit(shaft)
    assert transit.steps == tuple(steps)
    assert (transit.unfit, transit.measured, transit.passed, transit.place) == ("too bent", 2, 2, 0)
    assert transit.since_measuring == tuple(steps[3:])
    assert not transit.is_open


def judged(journal, night, shaft, result, decision=ACCEPTED, **findings):
    evaluation = Evaluation(result, decision, 20)
    return journal.judged(journal.transit(shaft), run_of(shaft, archive="n.avro"), evaluation, RunFindings(**findings))


def test_the_results_of_a_run_are_read_by_their_number(store, journal):
    night = journal.begin_night("bench", "{}", 1)
    first, second = (journal.order(night, "HOPPER", None, 1) for _ in range(2))
    other = journal.order(journal.begin_night("other", "{}", 1), "HOPPER", None, 1)
    numbers = [
        judged(journal, night, first, NOTHING, SICK, watched={"temperature_c": None, "noise_n": 1.0}),
        judged(journal, night, second, told(**WHOLE), ACCEPTED, watched={"temperature_c": 21.5}, cause="JAM"),
        judged(journal, night, other, told(**WHOLE)),
    ]
    assert journal.outcomes(night) == {numbers[0]: Outcome.INSTRUMENT_FAULT, numbers[1]: Outcome.ACCEPTED}
    found = journal.judged_results(night)
    assert [found[number].decision for number in numbers[:2]] == [SICK, ACCEPTED]
    assert (found[numbers[1]].spine_thou, found[numbers[1]].u_spine_thou) == (500.0, 0.1)
    assert [found[number].calibration for number in numbers[:2]] == [None, "bench-1"]
    assert list(journal.judged_results(night, above=first)) == numbers[1:2]
    assert journal.temperatures_c(numbers) == [21.5]
    assert journal.runs(journal.batch(night)) == {
        number: run_of(shaft, archive="n.avro") for number, shaft in zip(numbers, (first, second), strict=False)
    }
    assert journal.first_calibration(journal.batch(night)) == "bench-1"
    assert journal.first_calibration(store.begin_batch("", 0)) is None
    assert [transit.shaft for transit in journal.transits(night, above=first)] == [second]
    assert [transit.shaft for transit in journal.since("bench", first)] == [second]
    assert journal.transit(second).steps[-1].words == "JAM"


def test_suspects_are_those_of_their_run_until_a_person_vouched(store, journal):
    night = journal.begin_night("bench", "{}", 1)
    shafts = [journal.order(night, "HOPPER", None, 1) for _ in range(2)]
    for shaft in shafts:
        judged(journal, night, shaft, told(**WHOLE))
    standard = journal.order(night, "SLOT", "bar 7", 3)
    bad = StandardCheck("bar 7", 20, 501.0, 0.1, 500.0, 0.2, good=False, reasons=("bias",), calibration="bench-1")
    judged(journal, night, standard, told(**WHOLE), check=bad, suspects=[*shafts, *shafts])
    (kept,) = journal.checks()
    assert kept == replace(bad, shaft=standard)
    assert journal.suspects(night) == {shafts[0]: [standard], shafts[1]: [standard]}
    assert journal.suspects(night + 1) == {}
    runs = {shaft: store.latest(shaft).run_id for shaft in shafts}
    with StockRecords.of(store) as stock:
        assert stock.suspect() == set(runs.values())
        assert stock.standards() == {standard}
    assert newest_rows(store)[-1] == 2


@pytest.mark.slow
@pytest.mark.parametrize("end", list(TransitStage))
def test_lost_is_whoever_was_last_seen_in_the_gauge_or_at_no_certain_place(store, journal, end):
    night = journal.begin_night("bench", "{}", 1)
    shaft = journal.order(night, "HOPPER", None, 1)
    judged(journal, night, shaft, told(**WHOLE))
    journal.note(shaft, WayStep(TransitStage.UNCERTAIN, 3))
    journal.note(shaft, WayStep(end, 4))
    with StockRecords.of(store) as stock:
        expected = end in (TransitStage.UNCERTAIN, TransitStage.TAKEN_OUT)
        assert stock.lost() == ({store.latest(shaft).run_id} if expected else set())


# --- copies


def test_a_copy_holds_all_and_is_read_whole(store, tmp_path):
    add_result(store, run_of(1, at_ms=7), told(**WHOLE))
    add_result(store, run_of(2, archive="b.avro"), NOTHING)
    Journal(store).begin_night("bench", "{}", 1)
    copy = store_in(tmp_path, "copy.db")
    copy_database(store, copy)
    with closing(sqlite3.connect(copy.file)) as plain:
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    with copy.open_to_read() as copied:
        content = read_whole(copied)
        assert runs_by_name(copied) == {"a.avro": {(9000, 1, 7)}, "b.avro": {(18000, 2, 0)}}
    assert (content.nights, content.results) == (1, 2)
    assert content.runs == {"a.avro": {(9000, 1, 7)}, "b.avro": {(18000, 2, 0)}}
    open_for_many(copy)
    with closing(sqlite3.connect(copy.file)) as plain:
        assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)


@pytest.mark.slow
@pytest.mark.parametrize(
    "harm",
    [
        "UPDATE results SET spine_thou = 501.0 WHERE id = 1",
        "UPDATE results SET full = '{}' WHERE id = 1",
        "UPDATE results SET full = '[' WHERE id = 2",
        "UPDATE decisions SET outcome = 'fine' WHERE result_id = 1",
        "UPDATE decisions SET reasons = '{}' WHERE result_id = 2",
        "DELETE FROM decisions WHERE result_id = 2",
    ],
)
def test_a_copy_with_a_damaged_result_is_none(store, tmp_path, harm):
    add_result(store, run_of(1), told(**WHOLE))
    add_result(store, run_of(2), told(**WHOLE | {"spine_thou": "NaN"}))
    copy = store_in(tmp_path, "copy.db")
    copy_database(store, copy)
    with closing(sqlite3.connect(copy.file)) as plain:
        triggers = [name for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for name in triggers:
            plain.execute(f"DROP TRIGGER {name}")
        plain.execute(harm)
        plain.commit()
    with copy.open() as copied, pytest.raises((BackupError, StoreError)):
        read_whole(copied)


# --- tables

QUESTIONS = ("table_info", "foreign_key_list")


def test_tables_made_by_migrations_have_the_keys_defaults_and_references_that_the_code_names(store):
    with closing(sqlite3.connect(":memory:")) as named, closing(sqlite3.connect(store.place.file)) as migrated:
        for statement in (CreateTable(table).compile(dialect=dialect()) for table in Table.metadata.sorted_tables):
            named.execute(str(statement))
        for table in Table.metadata.tables:
            for question in QUESTIONS:
                rows = [shape_of(base, question, table) for base in (named, migrated)]
                assert rows[0] == rows[1], (table, question)


def shape_of(database, question, table):
    """Return what SQLite says of a table, in an order that does not depend on when a column was added."""
    rows = database.execute(f"PRAGMA {question}({table})").fetchall()
    return sorted((row[1:] if question == "table_info" else row[2:5] for row in rows), key=str)
