"""Results and sets as CSV, JSON or Parquet, row by row, with the dictionary of their columns beside them."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import IO

from midspan.base.errors import OutputError, StoreError
from midspan.base.files import writing
from midspan.measurement.result import Unmeasured
from midspan.report.export_columns import HEADINGS, NOTE, TABLES, ExportColumn, described
from midspan.sets.registry import Sets
from midspan.sets.stock import shafts_measured
from midspan.store.database import Store
from midspan.store.every_result import ResultOnRecord, every_result
from midspan.store.place import StorePlace
from midspan.store.stored_result import AnyResult, finite

Value = str | int | float | None
Row = dict[str, Value]
AT_ONCE = 2000  # rows written to Parquet at a time
# What spreadsheets compute, the wide signs of Chinese and Japanese text too; and the apostrophe itself, so that whoever
# takes one off the front has the text as it was.
HARMFUL = (*"=+-@", *"\uff1d\uff0b\uff0d\uff20", "\t", "\r", "\n", "'")


def export(store: Store, table: str, path: Path, *, all_versions: bool = False) -> int:
    """Write a table of `export_columns.TABLES` by the path's ending; the number of rows.

    Of results the newest evaluation of each run, or all of them. Raises OutputError for another ending, a file that
    cannot be written, or Parquet without the package that writes it.
    """
    writer = WRITERS.get(path.suffix.lower())
    if writer is None:
        raise OutputError(f"{path}: a table's name ends in {', '.join(WRITERS)}")
    results = map(_result, every_result(store, all_versions=all_versions))
    counted = _Counted(results if table == "results" else _sets(store))
    with _whole(path) as half:
        writer(half, TABLES[table], counted)
    with (
        _whole(path.with_name(f"{path.stem}-columns.csv")) as half,
        half.open("w", encoding="utf-8", newline="") as file,
    ):
        written = csv.DictWriter(file, HEADINGS)
        written.writeheader()
        written.writerows(described(TABLES[table]))
        written.writerow({"column": "", "meaning": NOTE})
    return counted.number


class _Counted:
    """Rows, and how many went by."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._rows, self.number = rows, 0

    def __iter__(self) -> Iterator[Row]:
        for row in self._rows:
            self.number += 1
            yield row


@contextmanager
def _whole(path: Path) -> Iterator[Path]:
    """A file to write that takes this name only once it is whole: a full disk must not spoil the table of before."""
    half = path.with_name(f"{path.name}.half")
    try:
        with writing(path):
            yield half
            half.replace(path)
    finally:
        half.unlink(missing_ok=True)


# Rows


def _result(record: ResultOnRecord) -> Row:
    stored, run, decision, result = record.stored, record.stored.run, record.stored.decision, record.stored.result
    doubts = () if isinstance(result, Unmeasured) else result.doubts or ()
    known: Row = {
        "result": stored.id, "batch": stored.batch, "shaft": run.shaft, "label": run.label or None,
        "started": _time(run.started_ms), "made": _time(stored.made_ms), "archive": run.archive,
        "byte_offset": run.byte_offset, "origin": stored.origin.value, "superseded_by": record.superseded_by,
        "outcome": decision.outcome.value, "bin": decision.bin,
        "reasons": "; ".join(decision.reasons) or None, "doubts": "; ".join(doubts) or None,
    }  # fmt: skip
    return {one.name: known[one.name] if one.name in known else _value(result, one) for one in TABLES["results"]}


def _value(result: AnyResult, column: ExportColumn) -> Value:
    """What a result says in a column; None where it says nothing, or no number that is finite."""
    value: Value = getattr(result, column.name, None)
    return finite(value) if isinstance(value, float) else value


def _sets(store: Store) -> Iterator[Row]:
    kept = Sets(store).all()
    found = shafts_measured(store, {one.shaft for each in kept for one in each.members})
    for each in kept:
        for one in each.members:
            shaft = found.get(one.shaft)
            known: Row = {
                "set": each.name, "made": _time(each.made_ms), "shaft": one.shaft, "joined": _time(one.joined_ms),
                "left": one.left, "label": None if shaft is None else shaft.label or None,
            }  # fmt: skip
            yield {
                column.name: known[column.name] if column.name in known else getattr(shaft, column.name, None)
                for column in TABLES["sets"]
            }


def _time(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="milliseconds")


# Files


def _as_csv(path: Path, columns: tuple[ExportColumn, ...], rows: Iterable[Row]) -> None:
    texts = [one.name for one in columns if one.kind == "text"]
    with path.open("w", encoding="utf-8", newline="") as file:
        written = csv.DictWriter(file, [one.name for one in columns])
        written.writeheader()
        for row in rows:
            written.writerow(row | {name: _harmless(row[name]) for name in texts})


def _harmless(text: Value) -> Value:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if isinstance(text, str) and text.startswith(HARMFUL) else text


def _as_json(path: Path, columns: tuple[ExportColumn, ...], rows: Iterable[Row]) -> None:
    with path.open("w", encoding="utf-8") as file:
        _json_rows(file, rows)


def _json_rows(file: IO[str], rows: Iterable[Row]) -> None:
    file.write("[")
    for number, row in enumerate(rows):
        file.write(",\n" if number else "\n")
        file.write(json.dumps(row, ensure_ascii=False))
    file.write("\n]\n")


def _as_parquet(path: Path, columns: tuple[ExportColumn, ...], rows: Iterable[Row]) -> None:
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise OutputError(f"{path}: Parquet needs a package more: pip install 'midspan[parquet]'") from error
    kinds = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64(), "time": pa.timestamp("ms", tz="UTC")}
    schema = pa.schema([
        pa.field(one.name, kinds[one.kind], metadata={"unit": one.unit, "meaning": one.meaning, "empty": one.empty})
        for one in columns
    ])  # fmt: skip
    times = [one.name for one in columns if one.kind == "time"]
    with parquet.ParquetWriter(path, schema) as file:
        waiting = iter(rows)
        while some := list(islice(waiting, AT_ONCE)):
            typed = [row | {name: datetime.fromisoformat(str(row[name])) for name in times} for row in some]
            file.write_table(pa.Table.from_pylist(typed, schema=schema))


WRITERS: dict[str, Callable[[Path, tuple[ExportColumn, ...], Iterable[Row]], None]] = {
    ".csv": _as_csv, ".json": _as_json, ".parquet": _as_parquet,
}  # fmt: skip


def export_file(place: StorePlace, table: str, path: Path, *, all_versions: bool) -> int:
    """Export a table from a store, and return its number of rows; StoreError for a table that there is not."""
    if table not in TABLES:
        raise StoreError(f"there is no table {table!r} to export; there are {', '.join(TABLES)}")
    with place.open_to_read() as store:
        return export(store, table, path, all_versions=all_versions)
