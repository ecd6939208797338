"""The columns of each calibration table, read from CSV or typed, and written as readings are taken.

One layout serves all: what the guided procedure writes is what `--csv` reads.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from midspan.base.csv_table import LARGEST, TypedTable, read_typed
from midspan.base.errors import ReadingsError
from midspan.base.files import writing
from midspan.base.polynomial import Array


@dataclass(frozen=True)
class TableColumn:
    """A column: its name, its words if it holds words, and what stands in it where the table has no such column."""

    name: str
    words: tuple[str, ...] = ()
    default: str | None = None


LAYOUTS: dict[str, tuple[TableColumn, ...]] = {
    "force": (
        TableColumn("round", default="1"),
        TableColumn("direction", ("up", "down", "hold")),
        TableColumn("mass_g"),
        TableColumn("count"),
        TableColumn("time_s", default="0"),
    ),
    "travel": (TableColumn("direction", ("up", "down")), TableColumn("steps"), TableColumn("travel_mm")),
    "blocks": (TableColumn("steps"), TableColumn("block_mm")),
    "frame": (TableColumn("travel_mm"), TableColumn("force_n")),
    "span": (TableColumn("span_mm"),),
    "rotation": (TableColumn("steps"), TableColumn("count")),
    "marks": (TableColumn("mark_steps"),),
    "bar": (TableColumn("spine_thou"), TableColumn("u_spine_thou")),
}


@dataclass(frozen=True)
class CalibrationReadings:
    """One procedure's readings by column, all equally long, and where they came from."""

    source: str
    numbers: dict[str, Array]
    words: dict[str, tuple[str, ...]]
    lines: tuple[int, ...]

    def __getitem__(self, column: str) -> Array:
        return self.numbers[column]

    def place(self, i: int) -> str:
        """Where a reading stands, for messages."""
        return f"{self.source}, line {self.lines[i]}"

    def as_dict(self) -> dict[str, list[float] | list[str]]:
        """Plain lists, for a record."""
        return {name: values.tolist() for name, values in self.numbers.items()} | {
            name: list(values) for name, values in self.words.items()
        }


def readings_of(source: str, **columns: Sequence[float] | Sequence[str]) -> CalibrationReadings:
    """Readings from plain lists, numbered like the lines of a table under a heading.

    Raises ReadingsError when the columns differ in length or hold what is no reading.

    >>> readings_of("typed", span_mm=[711.2, 711.3])["span_mm"].tolist()
    [711.2, 711.3]
    """
    words = {name: tuple(map(str, values)) for name, values in columns.items() if name == "direction"}
    numbers = {name: np.array(values, float) for name, values in columns.items() if name not in words}
    lengths = {len(values) for values in (*words.values(), *numbers.values())}
    if len(lengths) != 1:
        raise ReadingsError(f"{source}: the columns {', '.join(columns)} are not equally long")
    return _sound(CalibrationReadings(source, numbers, words, tuple(range(2, lengths.pop() + 2))))


def read_readings(path: Path, *layouts: str) -> CalibrationReadings:
    """The readings of a CSV file in the one of these LAYOUTS that its headings fit best.

    Raises ReadingsError that names the line and what to do.
    """
    table = read_typed(path)
    columns = min((LAYOUTS[layout] for layout in layouts), key=lambda columns: len(_wrong(table, columns)))
    wrong = _wrong(table, columns)
    if wrong:
        wanted = " or: ".join(",".join(one.name for one in LAYOUTS[layout]) for layout in layouts)
        raise ReadingsError(f"{table.source}: {wrong[0]}; its first line must be: {wanted}")
    return _readings(table, columns)


def _wrong(table: TypedTable, columns: Sequence[TableColumn]) -> list[str]:
    """What keeps a table from having these columns."""
    missing = [one.name for one in columns if one.default is None and one.name not in table.columns]
    unknown = sorted(set(table.columns) - {one.name for one in columns})
    return [f"has no column {name}" for name in missing] + [
        f"has a column {name!r} that is not known" for name in unknown
    ]


def _readings(table: TypedTable, columns: Sequence[TableColumn]) -> CalibrationReadings:
    numbers, words = {}, {}
    for one in columns:
        absent = one.name not in table.columns
        if one.words:
            words[one.name] = tuple(_words(table, one))
        elif absent:
            numbers[one.name] = np.full(len(table.lines), float(one.default or 0))
        else:
            numbers[one.name] = np.array(table.numbers(one.name))
    return _sound(CalibrationReadings(table.source, numbers, words, tuple(line.number for line in table.lines)))


def _sound(readings: CalibrationReadings) -> CalibrationReadings:
    """The readings again, unless one is none: then formulas would make rubbish of it, or of all."""
    for name, values in readings.numbers.items():
        wrong = np.flatnonzero(~(np.abs(values) <= LARGEST))
        if len(wrong):
            found = values[wrong[0]]
            raise ReadingsError(f"{readings.place(int(wrong[0]))}: {name} {found:g} is no reading; take it again")
    return readings


def _words(table: TypedTable, column: TableColumn) -> Iterator[str]:
    for cell, line in zip(table.texts(column.name), table.lines, strict=True):
        if cell not in column.words:
            raise ReadingsError(
                f"{table.source}, line {line.number}: {column.name} is {cell!r}; write {' or '.join(column.words)}"
            )
        yield cell


class TableWriter:
    """Writes readings as they are taken, so that whatever happens they are kept; no reading, no file.

    Raises OutputError when the file exists or cannot be written.
    """

    def __init__(self, path: Path, layout: str) -> None:
        self.path = path
        self.taken = 0
        self._names = [one.name for one in LAYOUTS[layout]]

    def add(self, cells: Mapping[str, float | str]) -> None:
        """One reading, by column; in the file when this returns."""
        rows = [[str(cells[name]) for name in self._names]]
        with writing(self.path, "name another folder"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a" if self.taken else "x", encoding="utf-8", newline="") as file:
                csv.writer(file, lineterminator="\n").writerows(rows if self.taken else [self._names, *rows])
        self.taken += 1

    def kept(self) -> str:
        """Where the readings are, for the end of a message; nothing when there are none."""
        return f" ({self.taken} readings taken so far are in {self.path})" if self.taken else ""
