"""Store of results: what is read back, what can never be changed, and how bad files are refused.

The reference is SQLite itself (the standard library's sqlite3): it reads what SQLAlchemy wrote, and tries to change it.
"""

import json
import math
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from midspan.base.errors import StoreError
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.definition import DEFINITION
from midspan.measurement.result import ShaftResult, Unmeasured, evaluate
from midspan.measurement.result_form import ResultKind
from midspan.report.set_card import lasting_side_deg
from midspan.store.database import Store
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.lookup import newest, whole
from midspan.store.place import StorePlace
from midspan.store.revisions import NEWEST
from midspan.store.sqlite_errors import refusal
from midspan.store.stored_result import OlderResult, is_same, plain
from midspan.store.tables import NAMED_COLUMNS
from midspan.store.vouching import Voucher, vouch
from results import NOTHING, told
from sqlalchemy.exc import DBAPIError
from synthetic import Gauge, Shaft, paper_calibration, raw_run

ACCEPTED = Decision(Outcome.ACCEPTED, ("close to the border",), "500")
REJECTED = Decision(Outcome.REJECTED, ("spine is above 505 by 7.3", "runout is above 8 by 2"))
VALUES: dict[str, object] = {
    name: 1.0 + i / 7 for i, name in enumerate(sorted(NAMED_COLUMNS - {"calibration", "evaluation"}))
}
VALUES |= {"calibration": "bench-3", "evaluation": "1", "curve_thou": [0.1, 0.2], "budget": [{"name": "span"}]}
RESULT = told(**VALUES)


def a_run(shaft: int = 1, label: str = "", archive: str = "batch.avro") -> RunReference:
    """Return a reference to invented readings."""
    return RunReference(archive, 4096 + 8000 * shaft, shaft, label or f"blue-{shaft}", 1_700_000_000_000)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Return the path of a database that does not exist yet."""
    return tmp_path / "results.db"


@pytest.fixture(scope="module")
def measured() -> ShaftResult:
    """Return the result of evaluating synthetic readings."""
    (found,) = evaluate([raw_run(Shaft(), Gauge(), np.random.default_rng(3))], paper_calibration())
    assert isinstance(found, ShaftResult)
    return found


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    """Yield a new store that waits for no other program."""
    with StorePlace(path).open(wait_s=0.0) as store:
        yield store


# --- what is read back


def test_a_result_comes_back_bit_for_bit(store: Store) -> None:
    batch = store.begin_batch("blue", 5)
    number = store.add(batch, a_run(), Evaluation(RESULT, ACCEPTED, made_ms=9))
    found = store.latest(1)
    assert found is not None
    assert (found.id, found.batch, found.run, found.made_ms) == (number, batch, a_run(), 9)
    assert found.result == RESULT
    assert found.result.spine_thou == VALUES["spine_thou"]
    assert found.decision == ACCEPTED


@pytest.mark.slow
@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.text().filter(lambda text: "\0" not in text),
    st.lists(st.text(min_size=1), min_size=1),
)
def test_any_number_and_text_comes_back(store: Store, number: float, label: str, reasons: list[str]) -> None:
    verdict = Decision(Outcome.DOUBTFUL, tuple(reasons))
    key = store.add(
        store.begin_batch(label, 0), a_run(2, label or "x"), Evaluation(told(spine_thou=number), verdict, 0)
    )
    found = store.latest(2)
    assert found is not None
    assert found.id == key
    assert isinstance(found.result, OlderResult)
    assert found.result == told(spine_thou=number)
    assert found.result.spine_thou is not None
    assert math.copysign(1, found.result.spine_thou) == math.copysign(1, number)
    assert found.decision == verdict


def test_every_quantity_has_a_column_that_plain_sqlite_reads(store: Store, path: Path) -> None:
    store.add(store.begin_batch("blue", 0), a_run(), Evaluation(RESULT, REJECTED, 3))
    with sqlite3.connect(path) as database:
        database.row_factory = sqlite3.Row
        row = database.execute("SELECT * FROM results JOIN decisions ON result_id = results.id").fetchone()
    assert {name: row[name] for name in NAMED_COLUMNS} == {name: VALUES[name] for name in NAMED_COLUMNS}
    assert (row["kind"], json.loads(row["full"])) == ("gauge", {"definition": DEFINITION, **VALUES})
    assert (row["outcome"], row["bin"], tuple(json.loads(row["reasons"]))) == ("rejected", None, REJECTED.reasons)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_finite_number_comes_back_as_it_was_and_is_null_in_its_column(
    store: Store, path: Path, measured: ShaftResult, value: float
) -> None:
    sick = Decision(Outcome.INSTRUMENT_FAULT, ("not a number",))
    result = replace(measured, spine_thou=value, dof_spine=value, curve_thou=(1.0, value))
    store.add(store.begin_batch("", 0), a_run(), Evaluation(result, sick, 0))
    found = store.latest(1)
    assert found is not None
    assert isinstance(found.result, ShaftResult)
    kept = found.result.spine_thou, found.result.dof_spine, found.result.curve_thou
    assert repr(kept) == repr((value, value, (1.0, value)))
    assert is_same(found.result, result)
    assert not is_same(found.result, measured)
    with sqlite3.connect(path) as database:
        rows = database.execute("SELECT spine_thou, json_valid(results.full) FROM results").fetchall()
    assert rows == [(None, 1)]


def test_null_where_a_number_stood_is_not_a_number_and_elsewhere_nothing(measured: ShaftResult) -> None:
    values = plain(measured)
    assert values is not None
    found = told(**values | {"spine_thou": None, "dof_spine": None, "curve_thou": [1.0, None]})
    assert isinstance(found, ShaftResult)
    assert np.isnan([found.spine_thou, found.curve_thou[1]]).all()
    assert (found.dof_spine, found.curve_thou[0]) == (None, 1.0)


def test_the_name_of_a_gauge_tells_nothing_of_what_measured(store: Store, measured: ShaftResult) -> None:
    result = replace(measured, gauge="hand bench")
    store.add(store.begin_batch("", 0), a_run(), Evaluation(result, ACCEPTED, 0))
    found = store.latest(1)
    assert found is not None
    assert found.result.kind is ResultKind.GAUGE
    assert whole(found, store.place) == result
    assert lasting_side_deg(result) is None


def test_no_person_can_vouch_for_readings_in_doubt(store: Store, measured: ShaftResult) -> None:
    bands = Bands.model_validate({"bin": [{"name": "any", "spine_thou": [50.0, 2000.0]}]})
    voucher = Voucher("Ann", "no crack under a lens", 0)
    doubtful = replace(measured, doubts=("force scatters",))
    for shaft, result in ((1, measured), (2, doubtful)):
        run = a_run(shaft)
        store.add(store.begin_batch("", 0), run, Evaluation(replace(result, shaft=shaft), REJECTED, 0))
    assert vouch(store, [1], voucher, bands)[1].outcome is Outcome.ACCEPTED
    with pytest.raises(StoreError) as caught:
        vouch(store, [2], voucher, bands)
    assert caught.value.code == "in_doubt"
    assert store.latest(2).decision == REJECTED


@pytest.mark.parametrize(
    ("kind", "full"),
    [("gauge", None), ("unmeasured", "[]"), ("gauge", "[]"), ("gauge", '{"spine_thou": "500"}'), ("tripod", "{}")],
)
def test_a_row_of_another_kind_than_its_content_is_damaged(
    store: Store, path: Path, kind: str, full: str | None
) -> None:
    store.add(store.begin_batch("", 0), a_run(), Evaluation(NOTHING, ACCEPTED, 0))
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("DROP TRIGGER results_no_update")
        database.execute('UPDATE results SET kind = ?, "full" = ?', (kind, full))
    with pytest.raises(StoreError) as caught:
        store.latest(1)
    assert (caught.value.code, str(path) in str(caught.value)) == ("damaged", True)


def test_a_shaft_without_result_is_stored_with_its_reasons(store: Store) -> None:
    verdict = Decision(Outcome.DOUBTFUL, ("it never touched",))
    store.add(store.begin_batch("", 0), a_run(), Evaluation(NOTHING, verdict, 0))
    found = store.latest(1)
    assert found is not None
    assert (found.result, found.decision) == (Unmeasured(1, "blue-1", verdict.reasons), verdict)


@pytest.mark.slow
def test_a_new_evaluation_is_a_new_row_beside_the_old_one(store: Store) -> None:
    batch = store.begin_batch("blue", 0)
    for shaft in (1, 2):
        store.add(batch, a_run(shaft), Evaluation(told(spine_thou=500.0, calibration="old"), ACCEPTED, 1))
    store.add(batch, a_run(1), Evaluation(told(spine_thou=501.0, calibration="new"), REJECTED, 2))
    old, new = told(spine_thou=500.0, calibration="old"), told(spine_thou=501.0, calibration="new")
    assert [stored.result for stored in store.history(1)] == [old, new]
    assert [(stored.run.shaft, stored.result) for stored in store.batch(batch)] == [(1, new), (2, old)]


def test_shafts_are_found_by_number_or_label(store: Store) -> None:
    batch = store.begin_batch("blue", 0)
    store.add(batch, a_run(7, "12"), Evaluation(RESULT, ACCEPTED, 0))
    store.add(batch, a_run(12, "seven"), Evaluation(RESULT, REJECTED, 0))
    assert [stored.run.shaft for stored in store.history("12")] == [7]
    assert [stored.run.shaft for stored in store.history(12)] == [12]
    assert store.latest("nobody") is None
    assert store.history(99) == []
    assert store.batch(99) == []


def test_an_unknown_shaft_and_a_result_without_all_quantities_are_refused(store: Store) -> None:
    batch = store.begin_batch("blue", 0)
    store.add(batch, a_run(1), Evaluation(NOTHING, REJECTED, 0))
    store.add(batch, a_run(2), Evaluation(RESULT, ACCEPTED, 0))  # not all fields of today's form
    codes = []
    for shaft in ("1", "blue-2", "3"):
        with pytest.raises(StoreError) as caught:
            whole(newest(store, shaft), store.place)
        codes.append(caught.value.code)
    assert codes == ["no_result", "older_form", "never_measured"]


def test_a_run_is_noted_once(store: Store, path: Path) -> None:
    first, second = store.begin_batch("blue", 0), store.begin_batch("again", 0)
    for batch in (first, second):
        store.add(batch, a_run(), Evaluation(RESULT, ACCEPTED, 0))
    store.add(second, a_run(archive="other.avro"), Evaluation(RESULT, ACCEPTED, 0))
    with sqlite3.connect(path) as database:
        assert database.execute("SELECT count(*) FROM runs").fetchone() == (2,)
    assert [stored.id for stored in store.batch(first)] == [2]


# --- what must never happen


@pytest.mark.parametrize("table", ["batches", "runs", "results", "decisions"])
@pytest.mark.parametrize("order", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid + 1"])
def test_no_program_can_change_or_delete_a_row(store: Store, path: Path, table: str, order: str) -> None:
    store.add(store.begin_batch("blue", 0), a_run(), Evaluation(RESULT, ACCEPTED, 0))
    with closing(sqlite3.connect(path)) as database:
        before = list(database.execute(f"SELECT rowid, * FROM {table}"))
        with pytest.raises(sqlite3.IntegrityError) as caught:
            database.execute(order.format(table))
        assert (caught.value.sqlite_errorname, len(before)) == ("SQLITE_CONSTRAINT_TRIGGER", 1)
        assert list(database.execute(f"SELECT rowid, * FROM {table}")) == before


def test_a_failed_call_leaves_nothing_behind(store: Store, path: Path) -> None:
    with pytest.raises(StoreError) as caught:
        store.add(42, a_run(), Evaluation(RESULT, ACCEPTED, 0))
    assert caught.value.code == "no_such_row"
    with sqlite3.connect(path) as database:
        for table in ("runs", "results", "decisions"):
            assert database.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)


KILLED = """
import os, sys
from pathlib import Path
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import Unmeasured
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.place import StorePlace
store = StorePlace(Path(sys.argv[1])).open()
batch = store.begin_batch("blue", 0)
nothing = Evaluation(Unmeasured(1, "", ()), Decision(Outcome.ACCEPTED, (), "500"), 0)
for shaft in range(5):
    store.add(batch, RunReference("a.avro", shaft, shaft, "", 0), nothing)
os._exit(1)
"""


@pytest.mark.process
def test_what_was_stored_survives_the_program(path: Path) -> None:
    subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False, timeout=600)
    with StorePlace(path).open() as store:
        assert [stored.run.shaft for stored in store.batch(1)] == list(range(5))


def test_a_commit_waits_for_the_disk(store: Store) -> None:
    with store._engine.connect() as connection:
        settings = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("journal_mode", "synchronous")]
    assert settings == ["wal", 2]  # SQLite: 2 is FULL


# --- bad files


def refused(path: Path) -> str:
    """Return the code with which a file is refused; its message begins with the path."""
    with pytest.raises(StoreError) as caught:
        StorePlace(path).open()
    assert str(caught.value).startswith(f"{path}: ")
    return caught.value.code


def test_a_locked_database_says_so_and_works_again_afterwards(store: Store, path: Path) -> None:
    batch = store.begin_batch("blue", 0)
    other = sqlite3.connect(path)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError) as caught:
        store.add(batch, a_run(), Evaluation(RESULT, ACCEPTED, 0))
    assert caught.value.code == "locked"
    assert str(caught.value).startswith(f"{path}: ")
    assert store.latest(1) is None  # reading still works
    other.close()
    store.add(batch, a_run(), Evaluation(RESULT, ACCEPTED, 0))
    assert store.latest(1) is not None


def test_a_file_that_is_no_database_is_refused_and_kept(path: Path) -> None:
    path.write_text("shaft,spine\n" * 100)
    before = path.read_bytes()
    assert refused(path) == "no_database"
    assert path.read_bytes() == before


def test_a_database_of_another_program_is_refused_and_kept(path: Path) -> None:
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE notes (text)")
    before = path.read_bytes()
    assert refused(path) == "other_program"
    assert path.read_bytes() == before


def test_another_version_of_the_tables_is_refused(path: Path) -> None:
    StorePlace(path).open().close()
    with sqlite3.connect(path) as database:
        database.execute(f"PRAGMA user_version = {NEWEST + 1}")
    assert refused(path) == "unknown_revision"


def test_a_folder_that_is_missing_or_may_not_be_written_is_named(tmp_path: Path) -> None:
    assert [refused(place) for place in (tmp_path / "nowhere" / "results.db", tmp_path)] == ["cannot_open"] * 2


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="/proc is the folder that even root cannot write to")
def test_a_read_only_folder_is_named() -> None:
    assert refused(Path("/proc/results.db")) == "cannot_open"


def test_a_read_only_file_is_named(path: Path) -> None:
    store = StorePlace(path).open()
    with store._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA query_only = ON")
        connection.commit()
    with pytest.raises(StoreError) as caught:
        store.begin_batch("blue", 0)
    assert (caught.value.code, str(path) in str(caught.value)) == ("read_only", True)
    store.close()


def test_a_missing_file_is_not_made_for_reading(path: Path) -> None:
    for opened in (lambda: StorePlace(path).open(create=False), StorePlace(path).open_to_read):
        with pytest.raises(StoreError) as caught:
            opened()
        assert (caught.value.code, path.exists()) == ("missing", False)


def test_an_empty_file_becomes_a_store(path: Path) -> None:
    path.touch()
    with StorePlace(path).open(create=False) as store:
        assert store.begin_batch("blue", 0) == 1


@pytest.mark.slow
def test_damage_inside_the_file_is_reported(path: Path) -> None:
    with StorePlace(path).open() as store:
        for shaft in range(40):
            store.add(store.begin_batch("blue", 0), a_run(shaft), Evaluation(RESULT, ACCEPTED, 0))
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\x5a" * (size - 4096))
    with pytest.raises(StoreError) as caught, StorePlace(path).open() as store:
        store.history(1)
    assert (caught.value.code, str(path) in str(caught.value)) == ("damaged", True)


def test_two_programs_can_store_to_one_file(path: Path) -> None:
    with StorePlace(path).open() as first, StorePlace(path).open() as second:
        batch = first.begin_batch("blue", 0)
        first.add(batch, a_run(1), Evaluation(RESULT, ACCEPTED, 0))
        second.add(batch, a_run(2), Evaluation(RESULT, REJECTED, 0))
        assert [found.run.shaft for found in first.batch(batch)] == [1, 2]


@pytest.mark.parametrize("said", ["database or disk is full", "disk I/O error"])
def test_a_full_or_failing_disk_has_a_code(said: str) -> None:
    """SQLite has these two messages for it (sqlite.org/rescode.html, SQLITE_FULL and SQLITE_IOERR)."""
    error = DBAPIError("INSERT", (), sqlite3.OperationalError(said))
    assert refusal(error).code == "disk"
