"""Exported tables: the same values through the readers of CSV, JSON and Parquet; the dictionary is true."""

import csv
import json
import math
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import fields

import pyarrow.parquet
import pytest
from commands_rig import midspan, refusal
from midspan.base.errors import OutputError
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import ShaftResult
from midspan.report.export import _harmless
from midspan.report.export_columns import NOTE, RESULTS, SETS, TABLES
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_of
from midspan.store.evaluation import Evaluation, Origin
from results import NOTHING, told
from stores import add_result, run_of, store_in

pytestmark = pytest.mark.slow

FORMULA = '=HYPERLINK("x")'


@pytest.fixture
def folder(tmp_path, store_place):
    """Make a database of a shaft with everything, one without a result, one with a formula for a name, and a set."""
    with store_place.open() as store:
        batch = store.begin_batch("blue", 0)
        for shaft, label, spine in ((1, 'blå, "1"\nx', 500.123456789012345), (2, "", None), (3, FORMULA, 501.0)):
            result = NOTHING if spine is None else told(
                spine_thou=spine, u_spine_thou=0.2, spread_thou=1 / 3, runout_mm=0.0508, gauge="bench",
                calibration="bench-1", evaluation="2", readings=900, stiff_side_deg=None, doubts=["-slip", "drift"],
            )  # fmt: skip
            verdict = (
                Decision(Outcome.ACCEPTED, (), "500")
                if spine is not None
                else Decision(Outcome.DOUBTFUL, ("no", "way"), None)
            )
            run = run_of(shaft, label, at_ms=1_780_000_000_123)
            store.add(batch, run, Evaluation(result, verdict, 1_780_000_001_000))
        newer = run_of(1, 'blå, "1"\nx', at_ms=1_780_000_000_123)
        store.add(
            batch,
            newer,
            Evaluation(told(spine_thou=499.0, u_spine_thou=0.1, spread_thou=0.5), Decision(Outcome.ACCEPTED), 5),
        )
        found = shafts_of(store, [1, 3])
        Sets(store).keep({"@pair": list(found.values())}, Limits(number=2, spine_thou=3.0), 1_780_000_002_000)
    return tmp_path


def written(folder, table, ending, *options):
    """Return the rows of an exported table as another reader gives them, CSV as text."""
    path = folder / f"out.{ending}"
    done = midspan("export", table, "--out", path.name, *options, folder=folder)
    assert done.returncode == 0, done.stderr
    if ending == "csv":
        with path.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))
    return json.loads(path.read_text("utf-8")) if ending == "json" else pyarrow.parquet.read_table(path).to_pylist()


def _as_it_was(cell):
    return cell.removeprefix("'")


@pytest.mark.parametrize("table", TABLES)
def test_all_three_kinds_of_file_say_the_same(folder, table):
    typed, plain, text = (written(folder, table, ending) for ending in ("parquet", "json", "csv"))
    assert len(typed) == len(plain) == len(text) > 1
    for row, other, words in zip(typed, plain, text, strict=True):
        assert list(row) == list(other) == list(words) == [column.name for column in TABLES[table]]
        for column in TABLES[table]:
            value = row[column.name]
            as_json = value.isoformat(timespec="milliseconds") if column.kind == "time" else value
            assert other[column.name] == as_json
            cell = words[column.name]
            assert cell == "" if value is None else _as_it_was(cell) == str(as_json)


def test_the_values_are_those_of_the_database(folder):
    with closing(sqlite3.connect(folder / "results.db")) as database:
        query = "SELECT r.spine_thou, runs.shaft FROM results r JOIN runs ON runs.id = r.run_id ORDER BY runs.id, r.id"
        kept = database.execute(query).fetchall()
    every = written(folder, "results", "parquet", "--all-versions")
    assert sorted((row["spine_thou"] or math.inf, row["shaft"]) for row in every) == sorted(
        (spine or math.inf, shaft) for spine, shaft in kept
    )
    newest = {row["shaft"]: row for row in written(folder, "results", "parquet")}
    assert (newest[1]["spine_thou"], newest[2]["spine_thou"], len(newest)) == (499.0, None, 3)
    assert newest[2]["reasons"] == "no; way"
    assert newest[1]["started"].isoformat() == "2026-05-28T20:26:40.123000+00:00"


def test_a_measurement_that_was_superseded_says_by_which(folder):
    with store_in(folder).open() as store:
        again = run_of(3, FORMULA, offset=90_000)
        newest = store.add(1, again, Evaluation(told(spine_thou=501.5), Decision(Outcome.REJECTED, ("too soft",)), 9))
        other = run_of(3, FORMULA, archive="other.avro")
        store.add(1, other, Evaluation(told(spine_thou=501.5), Decision(Outcome.ACCEPTED), 9), origin=Origin.IMPORTED)
    rows = [row for row in written(folder, "results", "json") if row["shaft"] == 3]
    assert [(row["origin"], row["superseded_by"]) for row in rows] == [
        ("measured", newest), ("measured", None), ("imported", None)
    ]  # fmt: skip


def test_no_spreadsheet_takes_a_name_for_a_formula(folder):
    rows = written(folder, "results", "csv")
    assert [row["label"] for row in rows] == ['blå, "1"\nx', "", f"'{FORMULA}"]
    assert rows[2]["doubts"] == "'-slip; drift"
    assert written(folder, "sets", "csv")[0]["set"] == "'@pair"
    assert written(folder, "sets", "json")[0]["set"] == "@pair"


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@a", "\uff1d1", "\t=1", "'=1", "'"])
def test_a_text_is_had_again_by_taking_one_apostrophe_off(text):
    assert _harmless(text) == f"'{text}"
    assert _as_it_was(_harmless(text)) == text


def test_the_dictionary_lies_beside_and_names_every_column(folder):
    written(folder, "results", "parquet")
    with (folder / "out-columns.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["column"] for row in rows[:-1]] == [column.name for column in RESULTS]
    assert all(row["meaning"] and row["empty_when"] for row in rows[:-1])
    assert rows[-1]["meaning"] == NOTE
    schema = pyarrow.parquet.read_schema(folder / "out.parquet")
    assert schema.field("spine_thou").metadata[b"unit"] == b"thou"


def test_a_column_that_cannot_be_empty_never_is_and_every_quantity_belongs_to_a_result(folder):
    for table in TABLES:
        for row in written(folder, table, "json"):
            assert all(row[column.name] is not None for column in TABLES[table] if column.empty == "never")
    quantities = {column.name for column in RESULTS if column.kind == "number"}
    assert quantities <= {field.name for field in fields(ShaftResult)}
    assert len({column.name for column in SETS}) == len(SETS)


def test_who_left_a_set_stays_on_record(folder):
    midspan("sets", "apart", "@pair", folder=folder)
    assert [row["left"] for row in written(folder, "sets", "json")] == ["taken apart"] * 2


def test_other_endings_tables_and_folders_are_refused(folder):
    def refused(table, out):
        return refusal(midspan("export", table, "--out", out, folder=folder))

    assert refused("results", "a.xls").code == "table_ending"
    assert refused("shafts", "a.csv").code == "no_table"
    assert "none/a.csv" in str(refused("results", "none/a.csv"))


def test_without_its_package_parquet_says_what_to_install(folder, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    refused = refusal(midspan("export", "results", "--out", "a.parquet", folder=folder), OutputError)
    assert refused.code == "package_missing"
    assert "midspan[parquet]" in str(refused)


MEMORY = """
from midspan.report.export import export
import resource, sys
from pathlib import Path
from midspan.store.place import StorePlace
with StorePlace(Path(sys.argv[1])).open() as store:
    export(store, "results", Path(sys.argv[2]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.process
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory is told in other units elsewhere")
def test_a_long_table_does_not_fill_the_memory(tmp_path):
    def peak_kb(number):
        place = store_in(tmp_path, f"{number}.db")
        with place.open() as store:
            add_result(store, run_of(0), told(spine_thou=1.0))
        full = json.dumps({"spine_thou": 500.0, "filler": "x" * 8000})
        with closing(sqlite3.connect(place.file)) as database, database:
            database.executemany(
                "INSERT INTO runs (id, batch_id, archive, byte_offset, shaft, label, started_ms) "
                "VALUES (?, 1, 'a', ?, ?, '', 0)",
                ((i, i, i) for i in range(2, number)),
            )
            database.executemany(
                "INSERT INTO results (id, run_id, made_ms, full, kind) VALUES (?, ?, 0, ?, 'gauge')",
                ((i, i, full) for i in range(2, number)),
            )
            database.executemany(
                "INSERT INTO decisions (result_id, outcome, reasons) VALUES (?, 'accepted', '[]')",
                ((i,) for i in range(2, number)),
            )
        done = subprocess.run(
            [sys.executable, "-c", MEMORY, place.file, tmp_path / "o.csv"], capture_output=True, text=True, check=True
        )
        return int(done.stdout)

    assert peak_kb(10_000) < peak_kb(2_500) + 20_000, "7,500 more results are 60 MB"
