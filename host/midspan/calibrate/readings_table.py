"""Columns of each calibration table, read from CSV or typed, and written as readings are taken.

A single layout serves all: `--csv` reads what the guided procedure writes.
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
    """Column of a calibration table.

    Parameters
    ----------
    name : str
        Heading.
    words : tuple[str, ...]
        Allowed words, empty for numbers.
    default : str | None
        Value if the table has no such column, None if the column is required.
    """

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
    "sinking": (TableColumn("body", ("shaft", "steel")), TableColumn("mass_g"), TableColumn("dial_mm")),
    "rotation": (TableColumn("steps"), TableColumn("count")),
    "marks": (TableColumn("mark_steps"),),
    "filter": (TableColumn("pass"), TableColumn("time_s"), TableColumn("steps"), TableColumn("count")),
    "bar": (TableColumn("spine_thou"), TableColumn("u_spine_thou")),
}
WORDS = {column.name for columns in LAYOUTS.values() for column in columns if column.words}


@dataclass(frozen=True)
class CalibrationReadings:
    """Readings of a procedure by column, all of the same length.

    Parameters
    ----------
    source : str
        Where they came from, for messages.
    numbers : dict[str, Array]
        Columns of numbers, shape (readings,).
    words : dict[str, tuple[str, ...]]
        Columns of words.
    lines : tuple[int, ...]
        Line of each reading in its source.
    """

    source: str
    numbers: dict[str, Array]
    words: dict[str, tuple[str, ...]]
    lines: tuple[int, ...]

    def __getitem__(self, column: str) -> Array:
        return self.numbers[column]

    def place(self, i: int) -> str:
        """Return source and line of a reading, for messages.

        Parameters
        ----------
        i : int
            Index of the reading.

        Returns
        -------
        str
            Source and line.
        """
        return f"{self.source}, line {self.lines[i]}"

    def as_dict(self) -> dict[str, list[float] | list[str]]:
        """Return the columns as plain lists, for a record.

        Returns
        -------
        dict[str, list[float] | list[str]]
            Lists by column.
        """
        return {name: values.tolist() for name, values in self.numbers.items()} | {
            name: list(values) for name, values in self.words.items()
        }


def readings_of(source: str, **columns: Sequence[float] | Sequence[str]) -> CalibrationReadings:
    """Return readings made of plain lists, numbered like the lines below a heading.

    Parameters
    ----------
    source : str
        Where they came from, for messages.
    **columns : Sequence[float] | Sequence[str]
        Values by column.

    Returns
    -------
    CalibrationReadings
        The readings.

    Raises
    ------
    ReadingsError
        The columns differ in length, or a value cannot be a reading.

    Examples
    --------
    >>> readings_of("typed", span_mm=[711.2, 711.3])["span_mm"].tolist()
    [711.2, 711.3]
    """
    words = {name: tuple(map(str, values)) for name, values in columns.items() if name in WORDS}
    numbers = {name: np.array(values, float) for name, values in columns.items() if name not in words}
    lengths = {len(values) for values in (*words.values(), *numbers.values())}
    if len(lengths) != 1:
        raise ReadingsError(f"{source}: the columns {', '.join(columns)} differ in length; complete them")
    return _checked(CalibrationReadings(source, numbers, words, tuple(range(2, lengths.pop() + 2))))


def read_readings(path: Path, *layouts: str) -> CalibrationReadings:
    """Return the readings of a CSV file.

    Parameters
    ----------
    path : Path
        The file.
    *layouts : str
        Names in LAYOUTS that the file may have; the layout that fits its headings best is used.

    Returns
    -------
    CalibrationReadings
        The readings.

    Raises
    ------
    ReadingsError
        The file cannot be read as a table, lacks a column, or a value cannot be a reading.
    """
    table = read_typed(path)
    columns = min((LAYOUTS[layout] for layout in layouts), key=lambda columns: len(_wrong(table, columns)))
    wrong = _wrong(table, columns)
    if wrong:
        wanted = " or: ".join(",".join(column.name for column in LAYOUTS[layout]) for layout in layouts)
        raise ReadingsError(f"{table.source}: {wrong[0]}; its first line must be: {wanted}")
    return _readings(table, columns)


def _wrong(table: TypedTable, columns: Sequence[TableColumn]) -> list[str]:
    """Return what differs between a table's headings and the columns of a layout, an empty list if they agree."""
    missing = [column.name for column in columns if column.default is None and column.name not in table.columns]
    unknown = sorted(set(table.columns) - {column.name for column in columns})
    return [f"has no column {name}" for name in missing] + [f"has an unknown column {name!r}" for name in unknown]


def _readings(table: TypedTable, columns: Sequence[TableColumn]) -> CalibrationReadings:
    """Return the readings of a table with known columns."""
    numbers, words = {}, {}
    for column in columns:
        name = column.name
        if column.words:
            words[name] = tuple(_words(table, column))
        elif name not in table.columns:
            numbers[name] = np.full(len(table.lines), float(column.default or 0))
        else:
            numbers[name] = np.array(table.numbers(name))
    return _checked(CalibrationReadings(table.source, numbers, words, tuple(line.number for line in table.lines)))


def _checked(readings: CalibrationReadings) -> CalibrationReadings:
    """Return the readings unchanged; raises ReadingsError if a value is not finite or absurdly large."""
    for name, values in readings.numbers.items():
        wrong = np.flatnonzero(~(np.abs(values) <= LARGEST))
        if len(wrong):
            found = values[wrong[0]]
            raise ReadingsError(
                f"{readings.place(int(wrong[0]))}: {name} {found:g} is not a possible reading; take it again"
            )
    return readings


def _words(table: TypedTable, column: TableColumn) -> Iterator[str]:
    """Yield the words of a column; raises ReadingsError for a word that is not allowed."""
    for cell, line in zip(table.texts(column.name), table.lines, strict=True):
        if cell not in column.words:
            raise ReadingsError(
                f"{table.source}, line {line.number}: {column.name} is {cell!r}; write {' or '.join(column.words)}"
            )
        yield cell


class TableWriter:
    """Table that keeps each reading as soon as it is taken; without a reading there is no file.

    Parameters
    ----------
    path : Path
        File to write, which must not exist.
    layout : str
        Name in LAYOUTS.
    """

    def __init__(self, path: Path, layout: str) -> None:
        self.path = path
        self.taken = 0
        self._names = [column.name for column in LAYOUTS[layout]]

    def add(self, cells: Mapping[str, float | str]) -> None:
        """Write a reading; it is in the file when this returns.

        Parameters
        ----------
        cells : Mapping[str, float | str]
            Values by column.

        Raises
        ------
        OutputError
            The file exists already, or cannot be written.
        """
        rows = [[str(cells[name]) for name in self._names]]
        with writing(self.path, "choose another folder"):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a" if self.taken else "x", encoding="utf-8", newline="") as file:
                csv.writer(file, lineterminator="\n").writerows(rows if self.taken else [self._names, *rows])
        self.taken += 1

    def kept(self) -> str:
        """Return where the readings are, as the end of a message.

        Returns
        -------
        str
            Words in brackets, an empty string without readings.
        """
        return f" ({self.taken} readings taken so far are in {self.path})" if self.taken else ""
