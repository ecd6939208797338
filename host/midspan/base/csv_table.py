"""Tables of typed readings: CSV in, cells kept as they were typed, and the number of one when it is asked for.

Lines that start with # are remarks. Cells are parted by commas, or by semicolons where a comma is the decimal mark.

>>> table = TypedTable(("angle_deg", "loaded"), (TableLine(2, {"angle_deg": "0", "loaded": "12,70"}),), "hand.csv")
>>> table.numbers("loaded")
[12.7]
"""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from midspan.base.errors import ReadingsError
from midspan.base.files import text_of

# Whatever is read, in whatever unit: beyond, a number is a slip of the pen, and would make rubbish of all the others.
SMALLEST, LARGEST = 1e-12, 1e9
# Far above what any procedure takes: five minutes of creep are 25 000 lines of 40 bytes.
LARGEST_BYTES, MOST_COLUMNS = 4_000_000, 100


@dataclass(frozen=True)
class TableLine:
    """One line of a table: where it stands in the file, and its cells by column."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class TypedTable:
    """All lines of a table, in order."""

    columns: tuple[str, ...]
    lines: tuple[TableLine, ...]
    source: str

    def texts(self, column: str) -> list[str]:
        """Cells of a column; ReadingsError when there is no such column or a cell is empty."""
        self._require(column)
        for line in self.lines:
            if not line.cells[column]:
                raise ReadingsError(f"{self.source}, line {line.number}: {column} is empty; fill it in")
        return [line.cells[column] for line in self.lines]

    def numbers(self, column: str) -> list[float]:
        """Cells of a column as numbers; ReadingsError names the first line where that fails."""
        texts = self.texts(column)
        return [
            number_in(text, f"{self.source}, line {line.number}: {column}")
            for text, line in zip(texts, self.lines, strict=True)
        ]

    def column_among(self, names: Sequence[str]) -> str:
        """The first of several names that a column has; ReadingsError when the table has none of them."""
        found = next((name for name in names if name in self.columns), names[0])
        self._require(found)
        return found

    def _require(self, column: str) -> None:
        if column not in self.columns:
            raise ReadingsError(f"{self.source}: there is no column {column}, only {', '.join(self.columns)}; add it")


def number_in(text: str, place: str) -> float:
    """The number that a cell or an answer says, with a point or a comma as the decimal mark.

    >>> number_in(" 12,70 ", "the answer")
    12.7
    >>> number_in("l2.7", "hand.csv, line 4: loaded")
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: hand.csv, line 4: loaded 'l2.7' is not a number; type it as 12.34
    """
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise ReadingsError(f"{place} {text.strip()!r} is not a number; type it as 12.34") from None
    if not is_reading(value):
        raise ReadingsError(f"{place} {text.strip()!r} is no reading; read it again")
    return value


def is_reading(value: float) -> bool:
    """Whether a person or a converter can have read this number: finite, and neither huge nor next to nothing.

    >>> is_reading(-12.7), is_reading(0.0), is_reading(1e200), is_reading(float("nan"))
    (True, True, False, False)
    """
    return value == 0 or SMALLEST <= abs(value) <= LARGEST


def read_typed(path: Path) -> TypedTable:
    """A CSV file with a line of headings; headings are compared in small letters.

    Raises ReadingsError when the file cannot be read, has no readings or two columns of one name, or a line has too few
    or too many cells.
    """
    text = text_of(path, ReadingsError, LARGEST_BYTES)
    numbered = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"]
    if len(numbered) < 2:
        raise ReadingsError(f"{path}: holds no readings; it needs a line of headings and lines of readings")
    mark = ";" if ";" in numbered[0][1] else ","
    rows = [_cells(line, mark, f"{path}, line {number}") for number, line in numbered]
    columns = tuple(name.lower() for name in rows[0])
    if len(columns) > MOST_COLUMNS:
        raise ReadingsError(f"{path}: has {len(columns)} columns, {MOST_COLUMNS} are the most; is it the right file?")
    for name in columns:
        if columns.count(name) > 1:
            raise ReadingsError(f"{path}: the column {name or 'without a name'} stands there twice; keep one of them")
    for (number, _), row in zip(numbered, rows, strict=True):
        if len(row) != len(columns):
            raise ReadingsError(f"{path}, line {number}: {len(row)} cells under {len(columns)} headings; mend it")
    lines = [
        TableLine(number, dict(zip(columns, row, strict=True)))
        for (number, _), row in zip(numbered[1:], rows[1:], strict=True)
    ]
    return TypedTable(columns, tuple(lines), str(path))


def _cells(line: str, mark: str, place: str) -> list[str]:
    """Cells of one line: each on its own, so that a quotation mark without its other does not swallow the next."""
    try:
        return [cell.strip() for row in csv.reader([line], delimiter=mark) for cell in row]
    except csv.Error as error:
        raise ReadingsError(f"{place}: cannot be read ({error}); mend it") from error
