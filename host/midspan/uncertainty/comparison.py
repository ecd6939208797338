"""Comparison of two results of the same thing, as of one shaft on two gauges or on a gauge and a hand bench.

The number E_n is the difference over its expanded uncertainty. Two sound results have an E_n beyond 1 about once in
twenty times; more often, one of them claims to be surer than it is.

>>> gauge, bench = (500.62, 0.22), (501.30, 0.41)
>>> found = agreement_of(*gauge, *bench)
>>> round(found.difference, 2), round(found.expanded, 2), round(found.e_n, 2), found.holds
(-0.68, 0.91, -0.75, True)
"""

import math
from dataclasses import dataclass

from midspan.base.errors import ConversionError
from midspan.uncertainty.budget import coverage_factor

K_95 = coverage_factor(math.inf)


@dataclass(frozen=True)
class Compared:
    """Two results of the same thing compared.

    Parameters
    ----------
    difference : float
        First result less second, in their unit.
    u : float
        Standard uncertainty of the difference, in that unit.
    k : float
        Coverage factor.
    """

    difference: float
    u: float
    k: float

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U of the difference, in the unit of the results."""
        return self.k * self.u

    @property
    def e_n(self) -> float:
        """Difference over its expanded uncertainty; infinite if two exact results differ."""
        if self.expanded > 0:
            return self.difference / self.expanded
        return math.copysign(math.inf, self.difference) if self.difference else 0.0

    @property
    def holds(self) -> bool:
        """True if the results agree: E_n is within 1, the limit itself excluded."""
        return abs(self.e_n) < 1


def agreement_of(
    first: float, u_first: float, second: float, u_second: float, covariance: float = 0.0, k: float = K_95
) -> Compared:  # fmt: skip
    """Return how two results of the same thing agree.

    Parameters
    ----------
    first : float
        First result, in any unit, such as thou of spine.
    u_first : float
        Its standard uncertainty, in that unit; half of a U that was stated with k = 2.
    second : float
        Second result, in that unit.
    u_second : float
        Its standard uncertainty, in that unit.
    covariance : float
        Covariance of the results, in that unit squared: the product of what a cause that both share, such as a common
        master bar, moves each of them by.
    k : float
        Coverage factor of the difference; that of 95 % by default.

    Returns
    -------
    Compared
        Difference, its uncertainty and E_n.

    Raises
    ------
    ConversionError
        An uncertainty is below 0, or the covariance is larger than the uncertainties allow (code "covariance").

    References
    ----------
    ISO 13528:2022, 9.7 (E_n); JCGM 100:2008, 5.2.2 (covariance).

    Examples
    --------
    >>> round(agreement_of(1.006, 0.005, 1.0, 0.006, k=2.0).e_n, 3)
    0.384
    """
    if not (u_first >= 0 and u_second >= 0):
        raise ConversionError(f"uncertainties {u_first:g} and {u_second:g}: neither may be below 0")
    if abs(covariance) > u_first * u_second * (1 + 1e-9):
        raise ConversionError(
            f"covariance {covariance:g} is beyond the product of the uncertainties {u_first:g} and {u_second:g}; "
            "give the covariance in squared units",
            code="covariance",
        )
    variance = max(u_first**2 + u_second**2 - 2 * covariance, 0.0)
    return Compared(first - second, math.sqrt(variance), k)
