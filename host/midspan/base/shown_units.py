"""Units in which people read quantities: one choice for screens, pages, reports, cards and labels.

Stored values, files and JSON keep their own units, which are in their names. The choice lives in a context variable, so
that tests and threads that serve a page can have their own; a new thread begins with the default.

>>> shown_units().across.value, shown_units().weight.value
('thou', 'grains')
>>> with showing(ShownUnits(across=AcrossUnit.MM)):
...     shown_units().across.value
'mm'
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum


class AcrossUnit(StrEnum):
    """Unit of everything across a shaft: spine, spread, runout."""

    THOU = "thou"
    MM = "mm"


class WeightUnit(StrEnum):
    """Unit of the weight of a shaft."""

    GRAINS = "grains"
    GRAMS = "grams"


class WoodSpine(StrEnum):
    """How a spine is written: as a deflection, in pounds (26 in, 2 lb) as the wood trade does, or both."""

    THOU = "thou"
    BOTH = "both"
    POUNDS = "pounds"


@dataclass(frozen=True, slots=True)
class ShownUnits:
    """Units in which people read quantities.

    Parameters
    ----------
    across : AcrossUnit
        Unit of spine, spread and runout.
    weight : WeightUnit
        Unit of weight.
    wood : WoodSpine
        Spine as a deflection in `across`, in pounds, or both.
    """

    across: AcrossUnit = AcrossUnit.THOU
    weight: WeightUnit = WeightUnit.GRAINS
    wood: WoodSpine = WoodSpine.THOU


_CHOICE: ContextVar[ShownUnits] = ContextVar("shown_units", default=ShownUnits())  # noqa: B039 (it is frozen)


def shown_units() -> ShownUnits:
    """Return the units chosen in this context.

    Returns
    -------
    ShownUnits
        The choice; thou and grains where nothing was chosen.
    """
    return _CHOICE.get()


def choose_units(units: ShownUnits) -> None:
    """Choose the units for the rest of this context, which is the whole command when the command line calls it.

    Parameters
    ----------
    units : ShownUnits
        The choice.
    """
    _CHOICE.set(units)


@contextmanager
def showing(units: ShownUnits) -> Iterator[None]:
    """Choose units for a block; the choice before returns at its end.

    Parameters
    ----------
    units : ShownUnits
        The choice.

    Yields
    ------
    None
        The block runs under the choice.
    """
    before = _CHOICE.set(units)
    try:
        yield
    finally:
        _CHOICE.reset(before)
