"""What is usually wrong with calibration readings that make no sense, said in words with what to do.

Units are recognised by the factor they are off by; swapped columns, missed rounds and misread values by what
they leave behind. Every function returns without a word when all is well, or raises ReadingsError or one of its kind.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from midspan.base.errors import CellSignError, ReadingsError
from midspan.base.polynomial import Array
from midspan.base.units import GRAM_PER_GRAIN, KG_PER_POUND, MM_PER_INCH

# What a gram was taken for, and how many grams a unit of it is.
MASS_UNITS = {
    "kilograms": 1000.0,
    "ounces": KG_PER_POUND * 1000 / 16,
    "pounds": KG_PER_POUND * 1000,
    "grains": GRAM_PER_GRAIN,
    "milligrams": 0.001,
}
LENGTH_UNITS = {"inches": MM_PER_INCH, "thousandths of an inch": MM_PER_INCH / 1000, "centimetres": 10.0, "metres": 1e3}
SAME = 0.03  # two ratios within 3 % are the same unit: the units lie much further apart


def unit_off_by(factor: float, units: dict[str, float]) -> str | None:
    """The unit that a value was written in when it must be multiplied by this factor, if one is known.

    >>> unit_off_by(28.4, MASS_UNITS), unit_off_by(1.002, MASS_UNITS)
    ('ounces', None)
    """
    return next((name for name, size in units.items() if abs(factor / size - 1) < SAME), None)


def masses_in_reach(masses_g: Array, largest_wanted_g: float, name: str) -> None:
    """The largest mass reaches the load that the gauge works at, and is not many times of it."""
    largest = float(masses_g.max())
    if 0.8 * largest_wanted_g <= largest <= 10 * largest_wanted_g:
        return
    fits = [unit for unit, size in MASS_UNITS.items() if 0.8 <= largest * size / largest_wanted_g <= 4]
    if fits:
        raise ReadingsError(
            f"{name}: the largest mass is {largest:g} g, where about {largest_wanted_g:g} g is the working load; "
            f"it looks like {' or '.join(fits)}: write the masses in grams"
        )
    raise ReadingsError(
        f"{name}: the largest mass is {largest:g} g, but the gauge works at {largest_wanted_g:g} g; "
        "calibrate up to there, with masses in grams"
    )


def loads_in_one_unit(loads: Array, responses: Array, lines: Sequence[int], name: str) -> None:
    """No single load is off the others by the factor of a unit, and none by more than a fifth for any reason.

    The middle ratio of load to response stands for all; a few wrong lines do not move it.
    """
    loaded = np.flatnonzero((loads > 0) & (responses != 0))
    ratio = loads[loaded] / responses[loaded]
    off = np.median(ratio) / ratio
    wrong = np.flatnonzero(np.abs(off - 1) > 0.2)
    if not len(wrong):
        return
    i = int(wrong[0])
    unit = unit_off_by(float(off[i]), MASS_UNITS)
    why = f"it looks like {unit}: write grams" if unit else "look whether mass or count was misread or misplaced"
    more = f" (and {len(wrong) - 1} more lines)" if len(wrong) > 1 else ""
    raise ReadingsError(
        f"{name}, line {lines[int(loaded[i])]}: the mass {loads[loaded[i]]:g} does not go with its count as the "
        f"others do, by a factor of {off[i]:.3g}; {why}{more}"
    )


def not_swapped(masses_g: Array, counts: Array, name: str) -> None:
    """Masses and counts stand under their own headings: a cell gives hundreds of counts for a gram, not a part."""
    if np.ptp(masses_g) > 20 * np.ptp(counts):
        raise ReadingsError(
            f"{name}: the column mass_g spans {np.ptp(masses_g):g} and the column count only {np.ptp(counts):g}; "
            "they look swapped: exchange their headings"
        )


def rising(slope: float, name: str) -> None:
    """More load gives more counts, or CellSignError: a table cannot tell whether loading or wires are the wrong way."""
    if slope <= 0:
        raise CellSignError(
            f"{name}: the count falls as the load grows: either the masses pulled the head away from the cell, where a "
            "shaft pushes it towards it, or the cell's two signal wires are swapped. Push the head towards the cell by "
            "hand: if the count rises, load it the other way (cell turned over) and read anew; if it falls, swap the "
            "wires"
        )


def whole_rounds(rounds: Sequence[float], directions: Sequence[str], masses_g: Sequence[float], name: str) -> None:
    """Every round has the same loads in the same directions."""
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
                f"{name}: round {number:g} has no reading of {mass:g} g on the way {direction} that other rounds "
                "have; take it again, or leave the whole round out"
            )


def monotonic(steps: Array, travel_mm: Array, lines: Sequence[int], name: str, tolerance_mm: float) -> None:
    """Travel grows with the steps, within what an indicator may misread."""
    order = np.argsort(steps, kind="stable")
    fall = travel_mm[order][:-1] - travel_mm[order][1:]
    moved = np.diff(steps[order]) > 0
    bad = np.flatnonzero((fall > tolerance_mm) & moved)
    if len(bad):
        i = order[int(bad[0]) + 1]
        raise ReadingsError(
            f"{name}, line {lines[int(i)]}: the travel falls back to {travel_mm[i]:g} mm at {steps[i]:g} steps while "
            "the steps go on; was the indicator misread, at the end of its reach, or its pointer a turn off?"
        )


def against_earlier(value: float, earlier: float | None, quantity: str, name: str) -> str | None:
    """A remark when a scale moved much since the last record; ReadingsError when it moved by the factor of a unit.

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
            f"it looks as if the table were in {unit}: write grams and millimetres"
        )
    if abs(change) > 0.002:
        return f"{quantity} is {100 * change:+.2f} % off the last record: find out why before you trust either"
    return None
