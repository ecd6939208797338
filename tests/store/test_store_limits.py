"""What a store takes and what it refuses, from both sides: columns, calibrations, names of shafts and files, errors.

SQLite's own result codes (sqlite.org, "Result and Error Codes") and its dynamic types are the outside here.
"""

import json
import math
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from limits import no_room
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError, ConfigurationError, OutputError, StoreError, StoreGone
from midspan.decision.decision import Decision, Outcome
from midspan.hand_bench.bench import EXAMPLE as BENCH
from midspan.hand_bench.bench import HandBench
from midspan.measurement.definition import DEFINITION
from midspan.measurement.result_form import ResultKind
from midspan.store import open_to_read, upgrade
from midspan.store.evaluation import Evaluation, Origin
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.kept_values import Damaged, Json, Number, Text, Whole, Word
from midspan.store.lookup import newest, raw_run
from midspan.store.place import StorePlace, list_text
from midspan.store.sqlite_errors import refusal, store_fault
from midspan.store.stored_result import as_text, finite, is_same, plain
from places import DATA
from pretend import readings
from results import NOTHING, told
from sqlalchemy.exc import OperationalError
from stores import ACCEPTED, add_result, run_of, store_in
from synthetic import paper_calibration

YEAR_3000_MS = 32_503_680_000_000


# --- columns


@pytest.mark.parametrize(
    ("column", "taken", "damaged"),
    [
        (Whole(), (0, 1, YEAR_3000_MS, None), (-1, YEAR_3000_MS + 1, 1.0, True, "1")),
        (Number(), (0.0, -1e300, None), (math.inf, math.nan, 1, "1.0")),
        (Text(), ("", "a", None), (1, b"a")),
        (Word(Origin), ("measured", "imported", None), ("other", "", 1)),
        (Json(list[str]), ("[]", '["a"]', None), ("[1]", "{}", "[", '["a"')),
        (Json(dict[str, float | None]), ('{"a": 1.5, "b": null}',), ('{"a": "1.5"}', "[]")),
    ],
)
def test_a_column_gives_back_what_it_can_hold_and_nothing_else(column, taken, damaged):
    for value in taken:
        assert column.process_result_value(value, None) == value
    for value in damaged:
        with pytest.raises(Damaged):
            column.process_result_value(value, None)


# --- calibrations


def test_a_calibration_of_other_content_under_the_same_id_is_refused_and_the_first_stays(store):
    first = KeptCalibration.of(paper_calibration())
    other = KeptCalibration.of(paper_calibration(force={"u_scale": 0.001}))
    named = KeptCalibration.of(paper_calibration(calibration={"id": "another"}, force={"u_scale": 0.001}))
    store.keep_calibration(first)
    store.keep_calibration(first)
    with pytest.raises(StoreError) as caught:
        store.keep_calibration(other)
    assert caught.value.code == "calibration_differs"
    store.keep_calibration(named)
    assert store.calibrations() == {first.id: first, "another": named}


def test_a_kept_calibration_names_itself_its_gauge_and_its_values(tmp_path):
    calibration = paper_calibration(travel={"mm_per_step": 0.0005, "steps_per_screw_turn": 4000.0})
    kept = KeptCalibration.from_text(KeptCalibration.of(calibration).as_text())
    assert (kept.id, kept.gauge, kept.lead_mm) == (calibration.calibration.id, "paper", 2.0)
    assert kept.values["force.u_scale"] == kept.number("force.u_scale") == calibration.force.u_scale
    assert not [name for name in kept.values if name.startswith("calibration.")]
    assert (kept.number("force.nothing"), kept.number("nothing")) == (None, None)
    assert kept.calibration(tmp_path) == calibration
    bench = HandBench.model_validate(BENCH)
    by_hand = KeptCalibration.of_bench(bench)
    assert (by_hand.id, by_hand.gauge, by_hand.lead_mm) == (BENCH["bench"]["id"], None, None)
    assert by_hand.bench(tmp_path) == bench
    damaged = KeptCalibration({"calibration": {"id": 7, "gauge": 8}, "travel": {"mm_per_step": "x"}})
    assert (damaged.id, damaged.gauge, damaged.lead_mm) == ("7", None, None)
    only_steps = KeptCalibration({"calibration": {"id": "c"}, "travel": {"steps_per_screw_turn": 4000}})
    assert (only_steps.lead_mm, only_steps.number("travel.steps_per_screw_turn")) == (None, 4000)


# --- shafts and their readings


def test_a_shaft_is_found_by_number_as_far_as_numbers_go_and_then_by_label(store):
    largest = 2**31 - 1
    add_result(store, run_of(largest, offset=1), told(spine_thou=500.0))
    add_result(store, run_of(5, str(largest + 1)), told(spine_thou=501.0))
    add_result(store, run_of(6, "7"), told(spine_thou=502.0))
    assert newest(store, str(largest)).run.shaft == largest
    assert newest(store, str(largest + 1)).run.shaft == 5
    assert newest(store, "7").run.shaft == 6  # no shaft has the number
    for name in ("8", "x"):
        with pytest.raises(StoreError) as caught:
            newest(store, name)
        assert caught.value.code == "never_measured"


def test_readings_are_those_of_the_shaft_and_time_in_the_first_file_that_has_them(tmp_path):
    place = store_in(tmp_path)
    run = readings(500.0, 0.0, 1)
    with ArchiveWriter(tmp_path / "a.avro") as writer:
        offset = writer.append(run)
    reference = run_of(run.shaft, archive="elsewhere/a.avro", offset=offset, at_ms=run.started_ms)
    assert raw_run(reference, place) == run
    assert raw_run(reference, place, tmp_path / "a.avro") == run
    for other in ({"shaft": run.shaft + 1}, {"started_ms": run.started_ms + 1}):
        with pytest.raises(OutputError):
            raw_run(replace(reference, **other), place)
    with pytest.raises(ArchiveError):
        raw_run(replace(reference, byte_offset=offset + 1), place)
    with pytest.raises(OutputError):
        raw_run(replace(reference, archive="b.avro"), place)
    with ArchiveWriter(tmp_path / "c.avro") as writer:
        writer.append(replace(run, shaft=run.shaft + 1))
    (tmp_path / "d.avro").write_bytes(b"no archive")
    for first in ("c.avro", "d.avro"):  # another shaft is there, or nothing that can be read
        place.list_of_readings.write_text(list_text({"elsewhere/a.avro": [first, "a.avro"]}))
        assert raw_run(reference, place) == run


def test_files_beside_a_database_bear_its_name(tmp_path):
    place = store_in(tmp_path)
    assert place.list_of_readings == tmp_path / "results.db-archives.json"
    assert place.live_readings("a/b c") == tmp_path / "results.db-turning-a%2Fb%20c"
    assert place.readings("x/a.avro") == [Path("x/a.avro"), tmp_path / "a.avro"]
    assert place.listed_readings() == {}
    place.list_of_readings.write_text(list_text({"x/a.avro": ["one.avro", "two.avro"]}))
    named = [tmp_path / name for name in ("one.avro", "two.avro")]
    assert place.readings("x/a.avro") == [*named, Path("x/a.avro"), tmp_path / "a.avro"]
    for content in ("[", "[]", '{"a": 1}'):
        place.list_of_readings.write_text(content)
        with pytest.raises(StoreError) as caught:
            place.listed_readings()
        assert caught.value.code == "list_damaged"
    assert StorePlace.of("a.db", tmp_path) == StorePlace(tmp_path / "a.db")
    assert place.moved_to(Path("other")) == StorePlace(Path("other/results.db"))
    assert (place.exists(), str(place)) == (False, str(tmp_path / "results.db"))
    for address in ("postgresql://host/db", "x+y://a"):
        with pytest.raises(ConfigurationError):
            StorePlace.of(address)


def test_facts_count_rows_of_any_database_and_change_nothing(store, tmp_path):
    add_result(store, run_of(1))
    add_result(store, run_of(2))
    facts = dict(store.place.facts())
    assert (facts["rows of results"], facts["rows of batches"], facts["rows of sets"]) == (2, 2, 0)
    assert facts["made by"] == "Midspan"
    assert facts["size in bytes"] == store.place.file.stat().st_size
    foreign = store_in(tmp_path, "foreign.db")
    with closing(sqlite3.connect(foreign.file)) as other:
        other.execute("CREATE TABLE runs (id INTEGER)")
        other.execute("INSERT INTO runs VALUES (1)")
        other.commit()
    facts = dict(foreign.facts())
    assert facts["rows of runs"] == 1
    assert [name for name in facts if name.startswith("rows")] == ["rows of runs"]
    assert facts["made by"] != "Midspan"
    for wrong in ("nothing.db", "."):
        with pytest.raises(StoreError):
            store_in(tmp_path, wrong).facts()


# --- results


def test_results_are_the_same_if_all_they_say_is():
    result = told(spine_thou=500.0, gauge="bench")
    assert is_same(result, told(gauge="bench", spine_thou=500.0))
    assert not is_same(result, told(spine_thou=500.0))
    assert not is_same(result, NOTHING)
    assert is_same(NOTHING, NOTHING)
    assert (plain(NOTHING), as_text(NOTHING)) == (None, None)
    assert (
        json.loads(as_text(result))
        == plain(result)
        == {"definition": DEFINITION, "spine_thou": 500.0, "gauge": "bench"}
    )
    assert told(dof_spine=7.5).dof_spine == 7.5
    assert [finite(value) for value in (1.5, 0.0, None, math.nan, math.inf, -math.inf)] == [1.5, 0.0] + [None] * 4


@pytest.mark.parametrize("text", ["[", "[]", "null", "1", '{"spine_thou": "x"}', '{"spine_thou": NaN}'])
def test_what_is_no_result_is_damaged(text):
    from midspan.store.stored_result import read_measured

    for kind in ResultKind:
        with pytest.raises(Damaged):
            read_measured(kind, text)


def test_a_run_is_known_again_by_its_name_in_another_folder(store):
    run = run_of(1, archive="night/a.avro", at_ms=5)
    add_result(store, run)
    batch, found = store.run_of(replace(run, archive="elsewhere/a.avro"))
    assert (batch, found) == (1, run)
    for other in ({"archive": "b.avro"}, {"byte_offset": 1}, {"shaft": 2}, {"started_ms": 6}):
        assert store.run_of(replace(run, **other)) is None
    assert store.basis_of(run) is None
    assert store.basis_of(run_of(2)) is None


def test_an_evaluation_made_again_is_stored_if_it_differs_from_the_newest(store):
    run, batch = run_of(1), store.begin_batch("", 0)
    rejected = Decision(Outcome.REJECTED, ("too stiff",))
    stored = [
        store.add_again(batch, run, Evaluation(told(spine_thou=spine_thou), decision, 0))
        for spine_thou, decision in (
            (500.0, ACCEPTED), (500.0, ACCEPTED), (500.0, rejected), (500.0, ACCEPTED), (501.0, ACCEPTED),
            (500.0, ACCEPTED), (501.0, ACCEPTED),
        )
    ]  # fmt: skip
    # The last two were made before in this form: an old evaluation made again does not come back.
    assert [is_new for _, is_new in stored] == [True, False, True, True, True, False, False]
    assert len(store.history(run)) == 4
    assert [[version.id for version in versions] for versions in store.versions()] == [[1, 2, 3, 4]]
    assert [found.id for found in store.batch(batch)] == [4]


# --- errors


def complaint(code, words="it is so"):
    """Return an error as SQLAlchemy raises it, with SQLite's extended result code."""
    original = sqlite3.OperationalError(words)
    original.sqlite_errorcode = code
    return OperationalError("SELECT 1", {}, original)


@pytest.mark.parametrize(
    ("code", "fault"),
    [(5, "STORE_LOCKED"), (6, "STORE_LOCKED"), (517, "STORE_LOCKED"), (13, "DISK_FULL"), (10, "DISK_FULL"),
     (778, "DISK_FULL"), (1, None), (11, None), (0, None)],
)  # fmt: skip
def test_what_sqlite_says_may_pass_or_not(code, fault):
    error = StoreError("refused")
    error.__cause__ = complaint(code)
    found = store_fault(error)
    assert (None if found is None else found.name) == fault
    assert store_fault(StoreError("refused")) is None
    assert store_fault(StoreGone("gone")).name == "STORE_GONE"


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("database is locked", "locked"), ("unable to open database file", "cannot_open"),
        ("attempt to write a readonly database", "read_only"), ("file is not a database", "no_database"),
        ("database disk image is malformed", "damaged"), ("disk I/O error", "disk"),
        ("FOREIGN KEY constraint failed", "no_such_row"), ("something else", ""),
    ],
)  # fmt: skip
def test_what_sqlite_says_has_a_code(words, code):
    assert (refusal(complaint(1, words)).code or "") == code
    assert (refusal(sqlite3.OperationalError(words)).code or "") == code


# --- opening


def outdated(code):
    """Return an error of plain SQLite with its extended result code."""
    error = sqlite3.OperationalError("refused")
    error.sqlite_errorcode = code
    return error


# SQLITE_READONLY and SQLITE_CANTOPEN, plain and extended: SQLite found no room for the files of a log beside it.
NO_ROOM = [8, 14, 8 | 3 << 8, 14 | 1 << 8]
# Locked, interrupted, out of protocol (one bit beside the others), damaged, no database.
OTHERS = [5, 9, 15, 11, 26, 10 | 8 << 8]


@pytest.mark.parametrize("code", NO_ROOM + OTHERS)
def test_a_copy_is_read_only_where_there_is_no_room_beside_the_file(store, monkeypatch, code):
    add_result(store, run_of(1))
    asked = []

    def refused_once(*_):
        asked.append(code)
        raise outdated(code)

    monkeypatch.setattr(open_to_read, "_is_current", refused_once)
    if code in NO_ROOM:
        with store.place.open_to_read() as copied:
            assert copied.latest(1).run.shaft == 1
    else:
        with pytest.raises(StoreError):
            store.place.open_to_read()
    assert asked


def test_of_two_that_stand_side_by_side_and_are_alike_the_newest_counts(store):
    for archive in ("a.avro", "b.avro", "c.avro"):
        evaluation = Evaluation(told(spine_thou=500.0), ACCEPTED, 0)
        store.add(store.begin_batch("", 0), run_of(1, archive=archive), evaluation, origin=Origin.IMPORTED)
    assert [stored.run.archive for stored in store.standing(1)] == ["c.avro", "b.avro", "a.avro"]


def test_a_label_of_before_means_the_shaft_that_bore_it_last(store):
    add_result(store, run_of(1, "red"))
    add_result(store, run_of(2, "red", offset=5))
    last = add_result(store, run_of(2, "red", offset=6), told(spine_thou=500.0))
    for shaft in (1, 2):
        add_result(store, run_of(shaft, "blue", offset=7 + shaft))
    assert [stored.id for stored in store.standing("red")] == [last]
    assert [stored.run.shaft for stored in store.standing("blue")] == [2]
    assert store.standing("green") == []


OLD_DATABASE = DATA / "e0bd664" / "results.db"


def test_an_upgrade_without_room_for_its_copy_changes_nothing(tmp_path):
    place = store_in(tmp_path)
    shutil.copyfile(OLD_DATABASE, place.file)
    before = place.file.read_bytes()
    with no_room(len(before) // 2), pytest.raises(StoreError):
        place.open()
    assert not (tmp_path / "results-before-9.db").exists()
    place.open().close()
    assert (tmp_path / "results-before-9.db").exists()


@pytest.mark.parametrize("error", [ValueError, KeyError, TypeError, AttributeError, RecursionError])
def test_an_upgrade_that_meets_damage_leaves_the_database_and_no_copy(tmp_path, monkeypatch, error):
    place = store_in(tmp_path)
    shutil.copyfile(OLD_DATABASE, place.file)

    def meets_damage(_):
        raise error("row 7")

    monkeypatch.setattr(upgrade, "_migrate", meets_damage)
    with pytest.raises(StoreError) as caught:
        place.open()
    assert caught.value.code == "damaged"
    assert [path.name for path in tmp_path.glob("*before*")] == []
    monkeypatch.undo()
    with place.open() as store:
        assert store.latest(12).run.shaft == 12
