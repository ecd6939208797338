"""Weights of shafts, typed or from a table, in grains or grams; a weight in the wrong unit is refused.

>>> round(weight_of("312.4", "grains", "shaft 3").weight_g, 4)
20.2432
>>> weight_of("20.2", "grains", "bar")
Traceback (most recent call last):
midspan.base.errors.ReadingsError: bar: 20.2 grains is not a possible weight (90 to 900); it looks like grams: check it
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from midspan.base.csv_table import TypedTable, number_in, read_typed
from midspan.base.errors import ReadingsError
from midspan.base.shown_units import WeightUnit
from midspan.base.units import GRAM_PER_GRAIN

GRAM_PER = {WeightUnit.GRAINS: GRAM_PER_GRAIN, WeightUnit.GRAMS: 1.0}
# From a child's short carbon shaft to a long shaft of hard wood (common practice, no source). The factor from grams to
# grains is larger than this whole range, so a weight in one unit is never plausible in the other.
PLAUSIBLE_GR = (90.0, 900.0)
SHORT = {"gr": WeightUnit.GRAINS, "grain": WeightUnit.GRAINS, "g": WeightUnit.GRAMS, "gram": WeightUnit.GRAMS}
HEADINGS = {"weight_gr": WeightUnit.GRAINS, "weight_g": WeightUnit.GRAMS}


@dataclass(frozen=True, slots=True)
class ShaftWeight:
    """The weight of a shaft.

    Parameters
    ----------
    weight_g : float
        Weight, g.
    u_weight_g : float
        Its standard uncertainty from the scale's last digit, g.
    """

    weight_g: float
    u_weight_g: float


def weight_of(text: str, unit: str, place: str) -> ShaftWeight:
    """Read a weight as it was typed; its last digit counts as the resolution of the scale.

    The weight is anywhere within half a digit of the reading: a rectangular distribution.

    Parameters
    ----------
    text : str
        Number as it was typed, decimal point or comma.
    unit : str
        `grains` or `grams`, also `gr` or `g`.
    place : str
        Begins every error message, for example a line of a table.

    Returns
    -------
    ShaftWeight
        The weight and its standard uncertainty.

    Raises
    ------
    ReadingsError
        The text is not a number, the unit is unknown (code `unit`), or no shaft weighs that (code `implausible`).

    References
    ----------
    JCGM 100:2008, 4.3.7.

    Examples
    --------
    >>> round(weight_of("312.4", "grains", "shaft 3").u_weight_g, 6)
    0.001871
    """
    unit = SHORT.get(unit, unit)
    if unit not in set(WeightUnit):
        raise ReadingsError(f"{place}: unknown unit of weight {unit!r}; use {' or '.join(WeightUnit)}", code="unit")
    value, named = number_in(text, f"{place}: weight"), WeightUnit(unit)
    low, high = (limit * GRAM_PER_GRAIN / GRAM_PER[named] for limit in PLAUSIBLE_GR)
    if not low <= value <= high:
        raise ReadingsError(
            f"{place}: {value:g} {named} is not a possible weight ({low:.3g} to {high:.3g}); {_advice(value, named)}",
            code="implausible",
        )
    last_digit = 10.0 ** int(Decimal(text.strip().replace(",", ".")).as_tuple().exponent)
    return ShaftWeight(value * GRAM_PER[named], last_digit * GRAM_PER[named] / math.sqrt(12))


def _advice(value: float, named: WeightUnit) -> str:
    """Return what to do about an implausible weight: check the unit if the other unit would fit."""
    (other,) = set(WeightUnit) - {named}
    if PLAUSIBLE_GR[0] <= value * GRAM_PER[other] / GRAM_PER_GRAIN <= PLAUSIBLE_GR[1]:
        return f"it looks like {other}: check it"
    return "weigh it again"


def weights_in(path: Path) -> dict[str, ShaftWeight]:
    """Read weights from a CSV table with the columns shaft, and weight_gr or weight_g.

    Parameters
    ----------
    path : Path
        The table.

    Returns
    -------
    dict[str, ShaftWeight]
        Weights by number or label of the shaft.

    Raises
    ------
    ReadingsError
        The heading lacks the unit (code `column`), a shaft has two weights (code `twice`), or a weight is wrong.
    """
    table = read_typed(path)
    units = [name for name in HEADINGS if name in table.columns]
    if len(units) != 1:
        raise ReadingsError(f"{path}: needs exactly one column of weights, named weight_gr or weight_g", code="column")
    found: dict[str, ShaftWeight] = {}
    for name, text, place in _rows(table, units[0]):
        if name in found:
            raise ReadingsError(
                f"{place}: shaft {name} has a weight on an earlier line too; keep one of the two", code="twice"
            )
        found[name] = weight_of(text, HEADINGS[units[0]], place)
    return found


def _rows(table: TypedTable, column: str) -> Iterator[tuple[str, str, str]]:
    """Yield shaft, text of the weight, and place of each line of a table."""
    names, texts = table.texts("shaft"), table.texts(column)
    for line, name, text in zip(table.lines, names, texts, strict=True):
        yield name, text, f"{table.source}, line {line.number}"
