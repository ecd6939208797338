"""What is asked of a matched set: how many shafts, and how far apart they may be in each quantity.

Most important first, as a dozen flies: the same stiffness from shaft to shaft, the same evenness around, then weight,
then straightness (common practice, no source). Of two choices with as many sets the tighter one is the better: the sum
over its sets of range over limit, each quantity counting a tenth of the one before it. A tenth and not nothing, because
a hundredth of a thou of spine, which no gauge resolves, must not decide against a thou of spread.

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
# Finer than this no gauge and no scale resolves; a limit below it is in another unit.
Window = Annotated[float, Field(ge=0.01, le=1000)]


class ByQuantity(Protocol):
    """Has a value for each quantity: a shaft what was measured of it, limits what they allow; None for nothing."""

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
    """What shafts of a set are to have alike; `importance` is how much a range as wide as its limit counts."""

    name: str
    words: str
    unit: str
    importance: float
    of: Callable[[ByQuantity], float | None]


# The most important first.
QUANTITIES = (
    SetQuantity("spine_thou", "spine", "thou", 1.0, lambda one: one.spine_thou),
    SetQuantity("spread_thou", "spread around", "thou", 0.1, lambda one: one.spread_thou),
    SetQuantity("weight_gr", "weight", "gr", 0.01, lambda one: one.weight_gr),
    SetQuantity("runout_thou", "runout", "thou", 0.001, lambda one: one.runout_thou),
)


class Limits(Section):
    """The size of a set, and the most that highest and lowest of it may differ; None: that quantity is not looked at.

    `runout_thou` is the total indicator reading at midspan, `spread_thou` the full-turn spread of one shaft.
    """

    number: Annotated[int, Field(ge=2, le=LARGEST_SET)]
    spine_thou: Window
    spread_thou: Window | None = None
    weight_gr: Window | None = None
    runout_thou: Window | None = None

    @cached_property
    def quantities(self) -> tuple[SetQuantity, ...]:
        """The quantities that are limited, most important first."""
        return tuple(one for one in QUANTITIES if one.of(self) is not None)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(one.name for one in self.quantities)

    @cached_property
    def windows(self) -> Array:
        """The limits of those quantities, each in its unit [quantities]."""
        return np.array([one.of(self) for one in self.quantities], float)

    @cached_property
    def importance(self) -> Array:
        """How much a range as wide as its limit counts [quantities]."""
        return np.array([one.importance for one in self.quantities])

    def cost(self, values: Array) -> float:
        """How far from identical shafts with these values [shafts, quantities] are; 0 when they are identical."""
        return float(np.ptp(values, axis=0) / self.windows @ self.importance)

    def allow(self, values: Array) -> bool:
        """Whether shafts with these values [shafts, quantities] keep within every limit.

        >>> Limits(number=2, spine_thou=0.3).allow(np.array([[500.1], [500.4]]))
        True
        """
        return bool((np.ptp(values, axis=0) <= self.windows * (1 + ROUNDING)).all())


ROUNDING = 1e-9  # 500.4 less 500.1 is more than 0.3 by what a double cannot hold
