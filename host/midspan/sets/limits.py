"""Limits of a matched set: its number of shafts, and how far apart they may be in each quantity.

The order of importance is that of a dozen in flight: equal stiffness from shaft to shaft, evenness around the shaft,
then weight, then straightness (common practice, no source). Of two choices with as many sets the tighter is better: the
sum over its sets of range over limit, where each quantity counts a tenth of the one before it. A tenth rather than
nothing, because a hundredth of a thou of spine, which no gauge resolves, must not decide against a thou of spread.

>>> limits = Limits(number=3, spine_thou=3.0, weight_gr=5.0)
>>> limits.names, limits.importance.tolist()
(('spine_thou', 'weight_gr'), [1.0, 0.01])
>>> round(limits.cost(np.array([[500.0, 300.0], [501.5, 301.0], [500.5, 302.5]])), 6)
0.505
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Protocol

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from midspan.base.config import Section

Array = NDArray[np.float64]
LARGEST_SET = 1000
USUAL_SPINE_THOU = 5.0  # within a matched dozen (common practice, no source)
# No gauge and no scale resolves less than the lower end; a limit below it was written in another unit.
Window = Annotated[float, Field(ge=0.01, le=1000)]


class ByQuantity(Protocol):
    """Anything with a value for each quantity: the measured values of a shaft, or limits; None means no value."""

    @property
    def spine_thou(self) -> float | None: ...
    @property
    def spread_thou(self) -> float | None: ...
    @property
    def weight_gr(self) -> float | None: ...
    @property
    def runout_thou(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class SetQuantity:
    """A quantity that the shafts of a set may have to agree in.

    Parameters
    ----------
    name : str
        Name of the field in `Limits` and in a shaft of the stock.
    words : str
        Name for people.
    unit : str
        Unit, as printed.
    importance : float
        Weight of a range as wide as its limit in the cost of a set.
    of : Callable[[ByQuantity], float | None]
        Takes the value from a shaft or from limits; None if it has no value.
    """

    name: str
    words: str
    unit: str
    importance: float
    of: Callable[[ByQuantity], float | None]


# The most important first.
QUANTITIES = (
    SetQuantity("spine_thou", "spine", "thou", 1.0, lambda item: item.spine_thou),
    SetQuantity("spread_thou", "spread around", "thou", 0.1, lambda item: item.spread_thou),
    SetQuantity("weight_gr", "weight", "gr", 0.01, lambda item: item.weight_gr),
    SetQuantity("runout_thou", "runout", "thou", 0.001, lambda item: item.runout_thou),
)


class Limits(Section):
    """Size of a set, and the widest range of each quantity in it; None leaves that quantity out.

    Parameters
    ----------
    number : int
        Shafts in a set, 2 to 1000.
    spine_thou : Window
        Widest range of static spine, thou.
    spread_thou : Window | None
        Widest range of the full-turn spread of the shafts, thou.
    weight_gr : Window | None
        Widest range of weight, grains.
    runout_thou : Window | None
        Widest range of the total indicator reading at midspan, thou.
    """

    number: Annotated[int, Field(ge=2, le=LARGEST_SET)]
    spine_thou: Window
    spread_thou: Window | None = None
    weight_gr: Window | None = None
    runout_thou: Window | None = None

    @cached_property
    def quantities(self) -> tuple[SetQuantity, ...]:
        """The quantities that have a limit, most important first."""
        return tuple(quantity for quantity in QUANTITIES if quantity.of(self) is not None)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of those quantities."""
        return tuple(quantity.name for quantity in self.quantities)

    @cached_property
    def windows(self) -> Array:
        """The limits of those quantities, each in its unit, shape (quantities,)."""
        return np.array([quantity.of(self) for quantity in self.quantities], float)

    @cached_property
    def importance(self) -> Array:
        """Weight of each quantity in the cost of a set, shape (quantities,)."""
        return np.array([quantity.importance for quantity in self.quantities])

    def cost(self, values: Array) -> float:
        """Return the cost of a set: its range over the limit, weighted, summed over the quantities.

        Parameters
        ----------
        values : Array
            Values of the shafts of one set, shape (shafts, quantities).

        Returns
        -------
        float
            Cost, dimensionless; 0 for identical shafts.
        """
        return float(np.ptp(values, axis=0) / self.windows @ self.importance)

    def allow(self, values: Array) -> bool:
        """Return True if shafts keep within every limit.

        Parameters
        ----------
        values : Array
            Values of the shafts, shape (shafts, quantities).

        Returns
        -------
        bool
            True if no range exceeds its limit.

        Examples
        --------
        >>> Limits(number=2, spine_thou=0.3).allow(np.array([[500.1], [500.4]]))
        True
        """
        return bool((np.ptp(values, axis=0) <= self.windows * (1 + ROUNDING)).all())


ROUNDING = 1e-9  # relative; in doubles 500.4 - 500.1 is slightly more than 0.3
