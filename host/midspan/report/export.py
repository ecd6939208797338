"""Results and sets as CSV, JSON or Parquet, written row by row, with the dictionary of their columns beside them."""

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
from midspan.store.reference_spine import StatedSpine
from midspan.store.stored_result import AnyResult, finite

Value = str | int | float | None
Row = dict[str, Value]
AT_ONCE = 2000  # rows written to Parquet at a time
# A spreadsheet takes a text that begins with these for a formula; the wide signs are those of Chinese and Japanese. The
# apostrophe is among them so that taking an apostrophe off the front always gives the original text.
HARMFUL = (*"=+-@", *"\uff1d\uff0b\uff0d\uff20", "\t", "\r", "\n", "'")


def export(store: Store, table: str, path: Path, *, all_versions: bool = False) -> int:
    """Write a table of `export_columns.TABLES` in the format of the path's ending; return the number of rows.

    Results come with the newest evaluation of each run, or with all of them. An OutputError says that the ending is
    unknown, the file cannot be written, or the package for Parquet is missing.

    Parameters
    ----------
    store : Store
        The open store.
    table : str
        A key of `export_columns.TABLES`.
    path : Path
        File to write, ending in .csv, .json or .parquet.
    all_versions : bool
        True for all evaluations of each run.

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    OutputError
        Unknown ending, a file that cannot be written, or no package for Parquet.
    """
    writer = WRITERS.get(path.suffix.lower())
    if writer is None:
        raise OutputError(f"{path}: a table's name ends in {', '.join(WRITERS)}", code="table_ending")
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
    """Rows that are counted as they pass."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._rows, self.number = rows, 0

    def __iter__(self) -> Iterator[Row]:
        for row in self._rows:
            self.number += 1
            yield row


@contextmanager
def _whole(path: Path) -> Iterator[Path]:
    """Yield a file to write that takes this name only when it is whole.

    So a full disk leaves the table that was there before as it was.
    """
    half = path.with_name(f"{path.name}.half")
    try:
        with writing(path):
            yield half
            half.replace(path)
    finally:
        half.unlink(missing_ok=True)


# Rows


def _result(record: ResultOnRecord) -> Row:
    """Return the row of a result."""
    stored, run, decision, result = record.stored, record.stored.run, record.stored.decision, record.stored.result
    doubts = () if isinstance(result, Unmeasured) else result.doubts or ()
    known: Row = {
        "result": stored.id, "batch": stored.batch, "shaft": run.shaft, "label": run.label or None,
        "started": _time(run.started_ms), "made": _time(stored.made_ms), "archive": run.archive,
        "byte_offset": run.byte_offset, "origin": stored.origin.value, "superseded_by": record.superseded_by,
        "void": "yes" if record.void else None,
        "outcome": decision.outcome.value, "bin": decision.bin,
        "reasons": "; ".join(decision.reasons) or None, "doubts": "; ".join(doubts) or None,
        "definition": None if isinstance(result, Unmeasured) else StatedSpine.of(result).stated_for,
    }  # fmt: skip
    return {
        column.name: known[column.name] if column.name in known else _value(result, column)
        for column in TABLES["results"]
    }


def _value(result: AnyResult, column: ExportColumn) -> Value:
    """Return what a result holds in a column, None if it lacks the quantity or the number is not finite."""
    value: Value = getattr(result, column.name, None)
    return finite(value) if isinstance(value, float) else value


def _sets(store: Store) -> Iterator[Row]:
    """Yield a row for each shaft that is or was in a set."""
    kept = Sets(store).all()
    found = shafts_measured(store, {member.shaft for each in kept for member in each.members})
    for each in kept:
        for member in each.members:
            shaft = found.get(member.shaft)
            known: Row = {
                "set": each.name, "made": _time(each.made_ms), "shaft": member.shaft, "joined": _time(member.joined_ms),
                "left": member.left, "label": None if shaft is None else shaft.label or None,
            }  # fmt: skip
            yield {
                column.name: known[column.name] if column.name in known else getattr(shaft, column.name, None)
                for column in TABLES["sets"]
            }


def _time(at_ms: int) -> str:
    """Return milliseconds since 1970 as ISO 8601 in UTC."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="milliseconds")


# Files


def _as_csv(path: Path, columns: tuple[ExportColumn, ...], rows: Iterable[Row]) -> None:
    texts = [column.name for column in columns if column.kind == "text"]
    with path.open("w", encoding="utf-8", newline="") as file:
        written = csv.DictWriter(file, [column.name for column in columns])
        written.writeheader()
        for row in rows:
            written.writerow(row | {name: _harmless(row[name]) for name in texts})


def _harmless(text: Value) -> Value:
    """Return a text with an apostrophe in front if a spreadsheet would take it for a formula."""
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
        words = f"{path}: Parquet needs another package: pip install 'midspan[parquet]'"
        raise OutputError(words, code="package_missing") from error
    kinds = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64(), "time": pa.timestamp("ms", tz="UTC")}
    schema = pa.schema([
        pa.field(column.name, kinds[column.kind],
                 metadata={"unit": column.unit, "meaning": column.meaning, "empty": column.empty})
        for column in columns
    ])  # fmt: skip
    times = [column.name for column in columns if column.kind == "time"]
    with parquet.ParquetWriter(path, schema) as file:
        waiting = iter(rows)
        while some := list(islice(waiting, AT_ONCE)):
            typed = [row | {name: datetime.fromisoformat(str(row[name])) for name in times} for row in some]
            file.write_table(pa.Table.from_pylist(typed, schema=schema))


WRITERS: dict[str, Callable[[Path, tuple[ExportColumn, ...], Iterable[Row]], None]] = {
    ".csv": _as_csv, ".json": _as_json, ".parquet": _as_parquet,
}  # fmt: skip


def export_file(place: StorePlace, table: str, path: Path, *, all_versions: bool) -> int:
    """Write a table of a store to a file and return its number of rows.

    Parameters
    ----------
    place : StorePlace
        The store.
    table : str
        A key of `export_columns.TABLES`.
    path : Path
        File to write, ending in .csv, .json or .parquet.
    all_versions : bool
        True for all evaluations of each run, False for the newest.

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    StoreError
        There is no such table, or the store cannot be read.
    OutputError
        The ending is unknown, the file cannot be written, or the package for Parquet is missing.
    """
    if table not in TABLES:
        raise StoreError(f"no table {table!r}; choose from {', '.join(TABLES)}", code="no_table")
    with place.open_to_read() as store:
        return export(store, table, path, all_versions=all_versions)
