"""Spines from a list that was made elsewhere: whatever its columns are called, with the uncertainty it is said to have.

Such a spine is less sure than any measured here: it never takes the place of a measurement, and no set is chosen by it.
The person who brings the list says which column is what and how good the numbers are.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from midspan.base.csv_table import TableLine, TypedTable, number_in, read_typed
from midspan.base.errors import ReadingsError
from midspan.base.units import MM_PER_THOU, OLDER, STANDARD, pounds_from_thou
from midspan.measurement.elastica import convert_deflection
from midspan.sets.weights import HEADINGS, ShaftWeight, weight_of
from midspan.store import lookup
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import checked
from midspan.uncertainty.budget import Coverage


class ListUnit(StrEnum):
    """Unit of the spines of a list; pounds are those of 26 in and 2 lb, the others deflections of 28 in and 880 g."""

    THOU = "thou"
    MM = "mm"
    POUNDS = "pounds"


# What arrow shafts have; common practice, no source. No number is possible both in thou and in pounds.
PLAUSIBLE = {ListUnit.THOU: (150.0, 2500.0), ListUnit.MM: (3.8, 63.5), ListUnit.POUNDS: (13.0, 140.0)}
DETAILS = {
    "label": DetailKind.LABEL, "note": DetailKind.NOTE, "customer": DetailKind.CUSTOMER, "order": DetailKind.ORDER,
    "size": DetailKind.SIZE, "length_mm": DetailKind.LENGTH_MM,
}  # fmt: skip
FIELDS = ("number", "spine", "u", *HEADINGS, *DETAILS)


@dataclass(frozen=True, slots=True)
class ListForm:
    """What the columns of a list mean.

    Parameters
    ----------
    columns : Mapping[str, str]
        Heading of the list by the field that it is, one of FIELDS.
    unit : ListUnit
        Unit of the spines and of their uncertainty.
    expanded : float | None
        95 % range of every spine in that unit, None if a column has it.
    """

    columns: Mapping[str, str]
    unit: ListUnit
    expanded: float | None

    @classmethod
    def of(cls, named: Collection[str], unit: str, expanded: float | None) -> ListForm:
        """Return the form that a person states.

        Parameters
        ----------
        named : Collection[str]
            Columns as in "spine=Spine (lb)".
        unit : str
            Unit of the spines.
        expanded : float | None
            95 % range of every spine, None if a column has it.

        Returns
        -------
        ListForm
            The form.

        Raises
        ------
        ReadingsError
            A column is not written so or means nothing known (code "column"), spine or a name of the shafts is missing
            ("column"), the uncertainty is missing or no number above 0 ("no_u"), or the unit is unknown ("unit").

        Examples
        --------
        >>> ListForm.of(["number=No", "spine=Spine"], "thou", 2.0).columns
        {'number': 'no', 'spine': 'spine'}
        """
        columns: dict[str, str] = {}
        for text in named:
            name, equals, heading = text.partition("=")
            if equals and name not in FIELDS and (near := [field for field in FIELDS if name and name in field]):
                raise ReadingsError(
                    f"--column {text}: say {' or '.join(f'{each}={heading}' for each in near)}", code="column"
                )
            if not equals or name not in FIELDS or name in columns:
                raise ReadingsError(
                    f"--column {text}: write WHAT=HEADING once for each of: {', '.join(FIELDS)}", code="column"
                )
            columns[name] = heading.strip().lower()
        if "spine" not in columns or not columns.keys() & {"number", "label"}:
            raise ReadingsError(
                "say which columns hold the spine and the number or label, as in: --column number=No --column "
                "spine=Spine",
                code="column",
            )
        if unit not in set(ListUnit):
            raise ReadingsError(f"--unit {unit}: choose {', '.join(ListUnit)}", code="unit")
        if ("u" in columns) is (expanded is not None) or (expanded is not None and not 0 < expanded < math.inf):
            raise ReadingsError(
                "say how sure the spines are, in their unit: --u 2.0 for 2 above or below (a 95 % range), or "
                "--column u=HEADING",
                code="no_u",
            )
        return cls(columns, ListUnit(unit), expanded)


@dataclass(frozen=True, slots=True)
class ListedShaft:
    """A line of a list.

    Parameters
    ----------
    line : int
        Its line in the file.
    place : str
        File and line, for messages.
    number : int | None
        Number of the shaft, None if the list has none.
    spine_thou : float
        Static spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    pounds : tuple[float, float]
        Spine in pounds (26 in, 2 lb) and its standard uncertainty.
    weight : ShaftWeight | None
        Weight, None if the list has none.
    said : Mapping[DetailKind, str]
        What else the list says of it, its label too.
    """

    line: int
    place: str
    number: int | None
    spine_thou: float
    u_spine_thou: float
    pounds: tuple[float, float]
    weight: ShaftWeight | None = None
    said: Mapping[DetailKind, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """Its label, empty without one."""
        return self.said.get(DetailKind.LABEL, "")


def read_list(path: Path, form: ListForm) -> list[ListedShaft]:
    """Return the shafts of a list.

    Parameters
    ----------
    path : Path
        CSV table with headings.
    form : ListForm
        What its columns mean.

    Returns
    -------
    list[ListedShaft]
        Shafts in the order of the lines.

    Raises
    ------
    ReadingsError
        A column is missing, a cell is empty or no number, a spine is not possible in its unit (code "unit"), or two
        lines are of the same shaft ("twice").
    StoreError
        A label, note or length cannot be stored ("detail_value").
    """
    table = read_typed(path)
    for heading in form.columns.values():
        table.column_among([heading])
    seen: dict[object, str] = {}
    found = []
    for line in table.lines:
        shaft = _shaft(table, line, form)
        for name in (shaft.number, shaft.label.casefold() or None):
            if name is not None and name in seen:
                raise ReadingsError(
                    f"{shaft.place}: shaft {name} is on {seen[name]} too; keep one of the two", code="twice"
                )
            seen[name] = f"line {line.number}"
        found.append(shaft)
    return found


def _shaft(table: TypedTable, line: TableLine, form: ListForm) -> ListedShaft:
    """Return the shaft of a line."""
    place = f"{table.source}, line {line.number}"
    cells = {name: line.cells[heading].strip() for name, heading in form.columns.items()}
    value = number_in(cells["spine"], f"{place}: spine")
    expanded = form.expanded if form.expanded is not None else number_in(cells["u"], f"{place}: u")
    _check_possible(value, expanded, form.unit, place)
    spine_thou = _thou_of(value, form.unit)
    u_thou = spine_thou * expanded / value / Coverage().k(None)
    lb = float(pounds_from_thou(float(convert_deflection(spine_thou * MM_PER_THOU, STANDARD, OLDER)) / MM_PER_THOU))
    number = lookup.number_in(cells["number"]) if "number" in cells else None
    if "number" in cells and number is None:
        heading = form.columns["number"]
        raise ReadingsError(
            f"{place}: {cells['number']!r} is no number of a shaft; if it is a label, say --column label={heading} "
            f"instead of number={heading}",
            code="number",
        )
    return ListedShaft(
        line.number, place, number, spine_thou, u_thou, (lb, lb * u_thou / spine_thou), _weight(cells, place),
        {kind: checked(kind, cells[name]) for name, kind in DETAILS.items() if cells.get(name)},
    )  # fmt: skip


def _weight(cells: Mapping[str, str], place: str) -> ShaftWeight | None:
    """Return the weight in a line, None if it has none."""
    return next((weight_of(cells[name], HEADINGS[name], place) for name in HEADINGS if cells.get(name)), None)


def _check_possible(value: float, expanded: float, unit: ListUnit, place: str) -> None:
    """Raise ReadingsError for a spine that no shaft has in this unit, or an uncertainty that is none."""
    low, high = PLAUSIBLE[unit]
    if not low <= value <= high:
        others = [other for other in _units_of(value) if other is not unit]
        looks = f"it looks like {' or '.join(others)}: check --unit" if others else "check the line"
        raise ReadingsError(
            f"{place}: {value:g} {unit} is no spine of a shaft ({low:g} to {high:g} {unit}); {looks}", code="unit"
        )
    if not 0 < expanded < value:
        raise ReadingsError(f"{place}: u {expanded:g} {unit} has to be above 0 and below the spine", code="no_u")


def _units_of(value: float) -> Iterator[ListUnit]:
    """Yield the units in which a value may be a spine."""
    yield from (unit for unit, (low, high) in PLAUSIBLE.items() if low <= value <= high)


def _thou_of(value: float, unit: ListUnit) -> float:
    """Return a spine in thou for the standard span and load."""
    if unit is ListUnit.THOU:
        return value
    if unit is ListUnit.MM:
        return value / MM_PER_THOU
    deflection_thou = pounds_from_thou(value)  # the same quotient leads back
    return float(convert_deflection(deflection_thou * MM_PER_THOU, OLDER, STANDARD)) / MM_PER_THOU
