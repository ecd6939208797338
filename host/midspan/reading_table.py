"""Tables of readings that people make: CSV text with a heading line, cells by column name, faults named by line.

Commas or semicolons part the cells; with semicolons a decimal comma is taken as spreadsheets of many countries
write it. Lines that begin with # are remarks.

>>> table = parse_table(["span_mm;repeat", "711,2;1", "711,3;2"], "span.csv")
>>> table.texts("span_mm"), [line.number for line in table.lines], number_in("711,2", "span.csv, line 2: span_mm")
(['711,2', '711,3'], [2, 3], 711.2)
"""

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from midspan.errors import ReadingsError


@dataclass(frozen=True)
class Line:
    """One line of a table: its number in the file, and its cells by column."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True)
class ReadingTable:
    """The lines of a table and where they came from; every line has every column."""

    source: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]

    def column_among(self, names: Sequence[str]) -> str:
        """Which of these columns the table has; ReadingsError when it has none of them, or several."""
        found = [name for name in names if name in self.columns]
        if len(found) != 1:
            raise ReadingsError(
                f"{self.source}: has {'no' if not found else 'more than one'} column {' or '.join(names)}; "
                f"its columns are {', '.join(self.columns)}: mend the heading"
            )
        return found[0]

    def texts(self, name: str) -> list[str]:
        """The cells of a column; ReadingsError when there is no such column or a cell of it is empty."""
        column = self.column_among((name,))
        for line in self.lines:
            if not line.cells[column]:
                raise ReadingsError(f"{self.source}, line {line.number}: {column} is empty; read it again")
        return [line.cells[column] for line in self.lines]

    def place(self, i: int, column: str) -> str:
        """Where a cell stands, for messages."""
        return f"{self.source}, line {self.lines[i].number}: {column}"


def number_in(text: str, place: str) -> float:
    """The finite number in a cell, with a decimal point or comma; ReadingsError says where it is not one.

    >>> number_in("12.8 mm", "bar.csv, line 3: loaded")
    Traceback (most recent call last):
    midspan.errors.ReadingsError: bar.csv, line 3: loaded: '12.8 mm' is no number; write it without unit or remark
    """
    try:
        value = float(text.strip().replace(",", ".", 1))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ReadingsError(f"{place}: {text!r} is no number; write it without unit or remark")
    return value


def read_table(path: Path) -> ReadingTable:
    """The readings of a CSV file; ReadingsError names the file, the line, and what to do."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise ReadingsError(f"{path}: cannot be read ({error.strerror}); check the name") from error
    except UnicodeDecodeError as error:
        raise ReadingsError(f"{path}: is no text; save the table as CSV in UTF-8") from error
    return parse_table(text.splitlines(), str(path))


def parse_table(text: Iterable[str], source: str) -> ReadingTable:
    """The readings in lines of CSV text."""
    lines = [
        (number, line) for number, line in enumerate(text, 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(lines) < 2:
        raise ReadingsError(
            f"{source}: there are no readings in it; it wants a heading line and a line for each reading"
        )
    delimiter = ";" if ";" in lines[0][1] else ","
    heading, *rows = csv.reader((line for _, line in lines), delimiter=delimiter)
    columns = tuple(cell.strip() for cell in heading)
    if len(set(columns)) != len(columns) or "" in columns:
        raise ReadingsError(f"{source}: a heading is empty or stands twice: {', '.join(columns)}; mend the first line")
    return ReadingTable(
        source,
        columns,
        tuple(_line(number, row, columns, source) for (number, _), row in zip(lines[1:], rows, strict=True)),
    )


def _line(number: int, row: list[str], columns: tuple[str, ...], source: str) -> Line:
    if len(row) != len(columns):
        raise ReadingsError(
            f"{source}, line {number}: {len(row)} cells under {len(columns)} headings; "
            "part the cells with semicolons if decimals are written with a comma"
        )
    return Line(number, dict(zip(columns, (cell.strip() for cell in row), strict=True)))
