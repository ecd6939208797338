"""Recognise the usual mistakes in calibration readings and say what to do about them.

Wrong units are recognised by their factor; swapped columns, missed rounds and misread values by the traces they
leave. Each check returns if all is well, and raises ReadingsError or a subclass otherwise.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from midspan.base.errors import CellSignError, ReadingsError
from midspan.base.polynomial import Array
from midspan.base.units import GRAM_PER_GRAIN, KG_PER_POUND, MM_PER_INCH

# Units written by mistake for grams, with their size in grams.
MASS_UNITS = {
    "kilograms": 1000.0,
    "ounces": KG_PER_POUND * 1000 / 16,
    "pounds": KG_PER_POUND * 1000,
    "grains": GRAM_PER_GRAIN,
    "milligrams": 0.001,
}
LENGTH_UNITS = {"inches": MM_PER_INCH, "thousandths of an inch": MM_PER_INCH / 1000, "centimetres": 10.0, "metres": 1e3}
SAME = 0.03  # ratios within 3 % are the same unit: no two units are that close


def unit_off_by(factor: float, units: dict[str, float]) -> str | None:
    """Return the unit in which a value was written by mistake.

    Parameters
    ----------
    factor : float
        Factor by which the value must be multiplied to be right.
    units : dict[str, float]
        Size of each unit.

    Returns
    -------
    str | None
        Name of the unit of that size, None if there is none.

    Examples
    --------
    >>> unit_off_by(28.4, MASS_UNITS), unit_off_by(1.002, MASS_UNITS)
    ('ounces', None)
    """
    return next((name for name, size in units.items() if abs(factor / size - 1) < SAME), None)


def masses_in_reach(masses_g: Array, largest_wanted_g: float, name: str) -> None:
    """Check that the largest mass reaches the working load without exceeding it many times.

    Parameters
    ----------
    masses_g : Array
        Masses, g, shape (readings,).
    largest_wanted_g : float
        Working load, g.
    name : str
        Source of the readings, for the error.

    Raises
    ------
    ReadingsError
        The masses look like another unit (code "another_unit"), or do not fit the load (code "out_of_reach").
    """
    largest = float(masses_g.max())
    if 0.8 * largest_wanted_g <= largest <= 10 * largest_wanted_g:
        return
    fits = [unit for unit, size in MASS_UNITS.items() if 0.8 <= largest * size / largest_wanted_g <= 4]
    if fits:
        raise ReadingsError(
            f"{name}: the largest mass is {largest:g} g, where about {largest_wanted_g:g} g is the working load; "
            f"it looks like {' or '.join(fits)}: write the masses in grams",
            code="another_unit",
        )
    raise ReadingsError(
        f"{name}: the largest mass is {largest:g} g, but the gauge works at {largest_wanted_g:g} g; "
        "calibrate up to there, with masses in grams",
        code="out_of_reach",
    )


def loads_in_one_unit(loads: Array, responses: Array, lines: Sequence[int], name: str) -> None:
    """Check that no single load differs from the others by more than a fifth, as with another unit or a slip.

    The median of load over response stands for all; a few wrong lines do not move it.

    Parameters
    ----------
    loads : Array
        Loads, g, shape (readings,).
    responses : Array
        Rise of the count, shape (readings,).
    lines : Sequence[int]
        Line of each reading.
    name : str
        Source of the readings, for the error.

    Raises
    ------
    ReadingsError
        A load does not go with its count; the error names the line and the unit if it is known.
    """
    loaded = np.flatnonzero((loads > 0) & (responses != 0))
    ratio = loads[loaded] / responses[loaded]
    off = np.median(ratio) / ratio
    wrong = np.flatnonzero(np.abs(off - 1) > 0.2)
    if not len(wrong):
        return
    i = int(wrong[0])
    unit = unit_off_by(float(off[i]), MASS_UNITS)
    why = f"it looks like {unit}: write grams" if unit else "check mass and count: misread, or on the wrong line?"
    more = f" (and {len(wrong) - 1} more lines)" if len(wrong) > 1 else ""
    raise ReadingsError(
        f"{name}, line {lines[int(loaded[i])]}: the mass {loads[loaded[i]]:g} differs from the others by a factor of "
        f"{off[i]:.3g} for its count; {why}{more}"
    )


def not_swapped(masses_g: Array, counts: Array, name: str) -> None:
    """Check that masses and counts are under their own headings: a cell gives hundreds of counts for a gram.

    Parameters
    ----------
    masses_g : Array
        Masses, g, shape (readings,).
    counts : Array
        Counts, shape (readings,).
    name : str
        Source of the readings, for the error.

    Raises
    ------
    ReadingsError
        The columns are swapped (code "swapped").
    """
    if np.ptp(masses_g) > 20 * np.ptp(counts):
        raise ReadingsError(
            f"{name}: the column mass_g spans {np.ptp(masses_g):g} and the column count only {np.ptp(counts):g}; "
            "they look swapped: exchange their headings",
            code="swapped",
        )


def rising(slope: float, name: str) -> None:
    """Check that more load gives more counts.

    Parameters
    ----------
    slope : float
        Counts per load.
    name : str
        Source of the readings, for the error.

    Raises
    ------
    CellSignError
        The count falls; a table cannot tell whether the loading or the wires are the wrong way.
    """
    if slope <= 0:
        raise CellSignError(
            f"{name}: the count falls as the load grows: the masses pulled the head away from the cell, or the cell's "
            "signal wires are swapped. Push the head towards the cell by hand: if the count rises, turn the cell over "
            "and read again; if it falls, swap the wires"
        )


def whole_rounds(rounds: Sequence[float], directions: Sequence[str], masses_g: Sequence[float], name: str) -> None:
    """Check that every round has the same loads in the same directions.

    Parameters
    ----------
    rounds : Sequence[float]
        Round of each reading.
    directions : Sequence[str]
        Direction of each reading.
    masses_g : Sequence[float]
        Load of each reading, g.
    name : str
        Source of the readings, for the error.

    Raises
    ------
    ReadingsError
        A round lacks a reading; the error names round, load and direction.
    """
    seen = {number: Counter[tuple[str, float]]() for number in sorted(set(rounds))}
    for number, direction, mass in zip(rounds, directions, masses_g, strict=True):
        if mass > 0:
            seen[number][direction, mass] += 1
    wanted = Counter[tuple[str, float]]()
    for counted in seen.values():
        wanted |= counted
    for number, counted in seen.items():
        for direction, mass in wanted - counted:
            raise ReadingsError(
                f"{name}: round {number:g} has no reading of {mass:g} g on the way {direction}, which other rounds "
                "have; take it, or leave out the whole round"
            )


def monotonic(steps: Array, travel_mm: Array, lines: Sequence[int], name: str, tolerance_mm: float) -> None:
    """Check that travel grows with the steps, allowing for misreading.

    Parameters
    ----------
    steps : Array
        Steps, shape (readings,).
    travel_mm : Array
        Travel, mm, shape (readings,).
    lines : Sequence[int]
        Line of each reading.
    name : str
        Source of the readings, for the error.
    tolerance_mm : float
        Largest fall that still counts as misreading, mm.

    Raises
    ------
    ReadingsError
        The travel falls; the error names the line.
    """
    order = np.argsort(steps, kind="stable")
    fall = travel_mm[order][:-1] - travel_mm[order][1:]
    moved = np.diff(steps[order]) > 0
    bad = np.flatnonzero((fall > tolerance_mm) & moved)
    if len(bad):
        i = order[int(bad[0]) + 1]
        raise ReadingsError(
            f"{name}, line {lines[int(i)]}: travel falls back to {travel_mm[i]:g} mm at {steps[i]:g} steps while the "
            "steps go on; read again: misread, end of the indicator's range, or its pointer a turn off?"
        )


def against_earlier(value: float, earlier: float | None, quantity: str, name: str) -> str | None:
    """Compare a scale with the last record.

    Parameters
    ----------
    value : float
        New scale.
    earlier : float | None
        Scale of the last record, None without one.
    quantity : str
        Name of the scale for people.
    name : str
        Source of the readings, for the error.

    Returns
    -------
    str | None
        Remark if the scale has moved by more than 0.2 %, else None.

    Raises
    ------
    ReadingsError
        The scale is off by the factor of a unit.

    Examples
    --------
    >>> against_earlier(1.01e-5, 1.00e-5, "newtons per count", "force.csv")
    'newtons per count is +1.00 % off the last record: find out why before you trust either'
    """
    if earlier is None:
        return None
    change = value / earlier - 1
    unit = unit_off_by(earlier / value, {**MASS_UNITS, **LENGTH_UNITS})
    if unit:
        raise ReadingsError(
            f"{name}: {quantity} is a factor of {earlier / value:.4g} off the last record of this gauge; "
            f"the table looks like {unit}: write grams and millimetres"
        )
    if abs(change) > 0.002:
        return f"{quantity} is {100 * change:+.2f} % off the last record: find out why before you trust either"
    return None
