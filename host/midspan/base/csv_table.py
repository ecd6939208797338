"""Tables of readings typed by hand: CSV text whose cells stay as typed until a number is asked for.

Lines that begin with # are comments. Cells are separated by commas, or by semicolons where the comma is the decimal
mark.

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

# In any unit that people type, a number outside these is a slip, and would make nonsense of the numbers around it.
SMALLEST, LARGEST = 1e-12, 1e9
# Far above what any procedure takes: five minutes of creep are 25 000 lines of 40 bytes.
LARGEST_BYTES, MOST_COLUMNS = 4_000_000, 100


@dataclass(frozen=True)
class TableLine:
    """One line of a table.

    Parameters
    ----------
    number : int
        Number of the line in the file, from 1.
    cells : Mapping[str, str]
        Text of each cell, by column.
    """

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class TypedTable:
    """All lines of a table, in order.

    Parameters
    ----------
    columns : tuple[str, ...]
        Headings in small letters.
    lines : tuple[TableLine, ...]
        Lines below the headings.
    source : str
        Name of the file, for messages.
    """

    columns: tuple[str, ...]
    lines: tuple[TableLine, ...]
    source: str

    def texts(self, column: str) -> list[str]:
        """Return the cells of a column as typed.

        Parameters
        ----------
        column : str
            Its heading.

        Returns
        -------
        list[str]
            A text for each line, none of them empty.

        Raises
        ------
        ReadingsError
            There is no such column, or a cell is empty.
        """
        self._require(column)
        for line in self.lines:
            if not line.cells[column]:
                raise ReadingsError(f"{self.source}, line {line.number}: {column} is empty; fill it in")
        return [line.cells[column] for line in self.lines]

    def numbers(self, column: str) -> list[float]:
        """Return the cells of a column as numbers.

        Parameters
        ----------
        column : str
            Its heading.

        Returns
        -------
        list[float]
            A number for each line, in the unit of the column.

        Raises
        ------
        ReadingsError
            There is no such column, or a cell is empty or not a number; the message names the first line.
        """
        texts = self.texts(column)
        return [
            number_in(text, f"{self.source}, line {line.number}: {column}")
            for text, line in zip(texts, self.lines, strict=True)
        ]

    def column_among(self, names: Sequence[str]) -> str:
        """Return the first of several headings that the table has.

        Parameters
        ----------
        names : Sequence[str]
            Headings that mean the same quantity, at least one.

        Returns
        -------
        str
            A heading of the table.

        Raises
        ------
        ReadingsError
            The table has none of them.
        """
        found = next((name for name in names if name in self.columns), names[0])
        self._require(found)
        return found

    def _require(self, column: str) -> None:
        """Raise ReadingsError if there is no such column."""
        if column not in self.columns:
            raise ReadingsError(f"{self.source}: column {column} is missing (found {', '.join(self.columns)}); add it")


def number_in(text: str, place: str) -> float:
    """Return the number in a cell or an answer, with a point or a comma as the decimal mark.

    Parameters
    ----------
    text : str
        What was typed.
    place : str
        Where it was typed; the message begins with it.

    Returns
    -------
    float
        A number that `is_reading` accepts.

    Raises
    ------
    ReadingsError
        The text is not a number, or not a plausible reading.

    Examples
    --------
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
        raise ReadingsError(f"{place} {text.strip()!r} is not a possible reading; read it again")
    return value


def is_reading(value: float) -> bool:
    """Return True if a person or a converter can have read a number.

    Parameters
    ----------
    value : float
        The number, in any unit.

    Returns
    -------
    bool
        True for 0 and for every number from 1e-12 to 1e9 of either sign.

    Examples
    --------
    >>> is_reading(-12.7), is_reading(0.0), is_reading(1e200), is_reading(float("nan"))
    (True, True, False, False)
    """
    return value == 0 or SMALLEST <= abs(value) <= LARGEST


def read_typed(path: Path) -> TypedTable:
    """Read a CSV file whose first line holds the headings.

    Parameters
    ----------
    path : Path
        File of at most 4 MB and 100 columns, in UTF-8.

    Returns
    -------
    TypedTable
        Its lines, with the headings in small letters.

    Raises
    ------
    ReadingsError
        The file cannot be read or has no readings, two columns share a heading, or a line has the wrong number of
        cells.
    """
    text = text_of(path, ReadingsError, LARGEST_BYTES)
    numbered = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"]
    if len(numbered) < 2:
        raise ReadingsError(f"{path}: contains no readings; a line of headings and lines of readings are needed")
    mark = ";" if ";" in numbered[0][1] else ","
    rows = [_cells(line, mark, f"{path}, line {number}") for number, line in numbered]
    columns = tuple(name.lower() for name in rows[0])
    _check_headings(columns, path)
    for (number, _), row in zip(numbered, rows, strict=True):
        if len(row) != len(columns):
            hint = "Decimal comma? Use ; between columns." if mark == "," and len(row) > len(columns) else "Correct it."
            raise ReadingsError(f"{path}, line {number}: has {len(row)} values, expected {len(columns)}. {hint}")
    lines = [
        TableLine(number, dict(zip(columns, row, strict=True)))
        for (number, _), row in zip(numbered[1:], rows[1:], strict=True)
    ]
    return TypedTable(columns, tuple(lines), str(path))


def _check_headings(columns: Sequence[str], path: Path) -> None:
    """Raise ReadingsError if there are too many headings or two of them are the same."""
    if len(columns) > MOST_COLUMNS:
        raise ReadingsError(f"{path}: has {len(columns)} columns, more than {MOST_COLUMNS}; is it the right file?")
    for name in columns:
        if columns.count(name) > 1:
            raise ReadingsError(f"{path}: two columns are named {name or '(nothing)'}; remove one of them")


def _cells(line: str, mark: str, place: str) -> list[str]:
    """Return the cells of one line, parsed alone so that an unclosed quotation mark does not swallow the next line."""
    try:
        return [cell.strip() for row in csv.reader([line], delimiter=mark) for cell in row]
    except csv.Error as error:
        raise ReadingsError(f"{place}: cannot be read ({error}); correct it") from error
