"""Weights of shafts: typed or from a table, in grains or grams by name, and refused when that is the wrong one.

>>> round(weight_of("312.4", "grains", "shaft 3").weight_g, 4)
20.2432
>>> weight_of("20.2", "grains", "bar")
Traceback (most recent call last):
midspan.base.errors.ReadingsError: bar: 20.2 grains is no weight of a shaft (90 to 900); it looks like grams: name them
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

from midspan.base.csv_table import TypedTable, number_in, read_typed
from midspan.base.errors import ReadingsError
from midspan.base.units import GRAM_PER_GRAIN


class WeightUnit(StrEnum):
    """What a scale shows."""

    GRAINS = "grains"
    GRAMS = "grams"


GRAM_PER = {WeightUnit.GRAINS: GRAM_PER_GRAIN, WeightUnit.GRAMS: 1.0}
# From a short carbon shaft of a child to a long one of hard wood (common practice, no source). Grains and grams of one
# shaft differ by more than its whole width, so that one is never taken for the other.
PLAUSIBLE_GR = (90.0, 900.0)
HEADINGS = {"weight_gr": WeightUnit.GRAINS, "weight_g": WeightUnit.GRAMS}


@dataclass(frozen=True, slots=True)
class ShaftWeight:
    """The weight of a shaft and its standard uncertainty from the scale's last digit, in grams."""

    weight_g: float
    u_weight_g: float


def weight_of(text: str, unit: str, place: str) -> ShaftWeight:
    """A weight as it was typed, in a unit; its last digit is taken for the resolution of the scale.

    A reading is anywhere within half a digit: rectangular (JCGM 100:2008, 4.3.7). Raises ReadingsError when no shaft
    weighs that, or the unit is another.
    """
    if unit not in set(WeightUnit):
        raise ReadingsError(f"{place}: {unit!r} is no unit of weight here; say {' or '.join(WeightUnit)}")
    value, named = number_in(text, f"{place}: weight"), WeightUnit(unit)
    low, high = (limit * GRAM_PER_GRAIN / GRAM_PER[named] for limit in PLAUSIBLE_GR)
    if not low <= value <= high:
        raise ReadingsError(
            f"{place}: {value:g} {named} is no weight of a shaft ({low:.3g} to {high:.3g}); {_meant(value, named)}"
        )
    last_digit = 10.0 ** int(Decimal(text.strip().replace(",", ".")).as_tuple().exponent)
    return ShaftWeight(value * GRAM_PER[named], last_digit * GRAM_PER[named] / math.sqrt(12))


def _meant(value: float, named: WeightUnit) -> str:
    (other,) = set(WeightUnit) - {named}
    if PLAUSIBLE_GR[0] <= value * GRAM_PER[other] / GRAM_PER_GRAIN <= PLAUSIBLE_GR[1]:
        return f"it looks like {other}: name them"
    return "weigh it again"


def weights_in(path: Path) -> dict[str, ShaftWeight]:
    """Weights of a CSV by number or label of the shaft: columns shaft, and weight_gr or weight_g.

    Raises ReadingsError when the unit is not in the heading, a shaft stands there twice, or a weight is none.
    """
    table = read_typed(path)
    units = [name for name in HEADINGS if name in table.columns]
    if len(units) != 1:
        raise ReadingsError(f"{path}: it needs one column of weights that says its unit, weight_gr or weight_g")
    found: dict[str, ShaftWeight] = {}
    for name, text, place in _rows(table, units[0]):
        if name in found:
            raise ReadingsError(f"{place}: shaft {name} was weighed further up; keep one of the two")
        found[name] = weight_of(text, HEADINGS[units[0]], place)
    return found


def _rows(table: TypedTable, column: str) -> Iterator[tuple[str, str, str]]:
    names, texts = table.texts("shaft"), table.texts(column)
    for line, name, text in zip(table.lines, names, texts, strict=True):
        yield name, text, f"{table.source}, line {line.number}"
