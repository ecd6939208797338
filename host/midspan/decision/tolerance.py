"""How much of its tolerance a shaft uses, and how much of it the measurement's uncertainty takes.

>>> from types import SimpleNamespace
>>> from midspan.decision.bands import EXAMPLE
>>> shaft = SimpleNamespace(spine_thou=502.0, u_spine_thou=0.25, spread_thou=3.0, u_spread_thou=0.03,
...     runout_mm=0.05, u_runout_mm=0.002, hysteresis_pct=0.2, u_hysteresis_pct=0.02)
>>> used = tolerance_use(shaft, Bands.model_validate(EXAMPLE))
>>> [(use.quantity, round(use.used_pct), round(use.u_pct)) for use in used]
[('spine', 40, 10), ('spread', 50, 1)]
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from midspan.base.units import MM_PER_THOU
from midspan.decision.bands import Bands, Bin


class Limited(Protocol):
    """Quantities that bands limit; each u_... is a standard uncertainty, None if the quantity was not measured."""

    @property
    def spine_thou(self) -> float: ...
    @property
    def u_spine_thou(self) -> float: ...
    @property
    def spread_thou(self) -> float: ...
    @property
    def u_spread_thou(self) -> float: ...
    @property
    def runout_mm(self) -> float | None: ...
    @property
    def u_runout_mm(self) -> float | None: ...
    @property
    def hysteresis_pct(self) -> float | None: ...
    @property
    def u_hysteresis_pct(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class ToleranceUse:
    """Share of a tolerance that a value uses.

    The tolerance is half the width of a band of spine, counted from its middle, or an upper limit, counted from 0.

    Parameters
    ----------
    quantity : str
        Name of the quantity.
    low, high : float
        Ends of the band, or 0 and the upper limit, in `unit`.
    unit : str
        Unit of the limits.
    used_pct : float
        Share that the value uses, % of the tolerance; above 100 beyond a limit.
    u_pct : float
        Expanded uncertainty U of the value, % of the tolerance.
    """

    quantity: str
    low: float
    high: float
    unit: str
    used_pct: float
    u_pct: float

    def as_dict(self) -> dict[str, float | str]:
        """Return the limits and the shares as plain values.

        Returns
        -------
        dict of str to float or str
            Values by name, without the quantity.
        """
        return {
            "from": self.low, "to": self.high, "unit": self.unit, "used_pct": self.used_pct, "U_pct": self.u_pct
        }  # fmt: skip


def tolerance_use(measured: Limited, bands: Bands) -> list[ToleranceUse]:
    """Return how much of each limit of its bin a shaft uses.

    Parameters
    ----------
    measured : Limited
        Quantities of the shaft.
    bands : Bands
        Bins, and the coverage factor of U.

    Returns
    -------
    list of ToleranceUse
        Uses of the bin that holds the spine, else of the nearest bin; a quantity without a limit or a value is missing.
    """
    home = bin_for(measured.spine_thou, bands)
    return list(_uses(measured, home, bands.rule.coverage_factor))


def bin_for(spine_thou: float, bands: Bands) -> Bin:
    """Return the bin whose band holds a spine, else the bin with the nearest end.

    Parameters
    ----------
    spine_thou : float
        Static spine, thou.
    bands : Bands
        The bins.

    Returns
    -------
    Bin
        The bin.
    """
    return min(bands.in_order, key=lambda each: max(each.low_thou - spine_thou, spine_thou - each.high_thou, 0.0))


def _uses(measured: Limited, home: Bin, k: float) -> Iterator[ToleranceUse]:
    """Yield the use of the band of spine, then of each upper limit."""
    half = (home.high_thou - home.low_thou) / 2
    away = abs(measured.spine_thou - (home.low_thou + home.high_thou) / 2)
    u_pct = 100 * k * measured.u_spine_thou / half
    yield ToleranceUse("spine", home.low_thou, home.high_thou, "thou", 100 * away / half, u_pct)
    for name, value, u, scale, limit, unit in (
        ("spread", measured.spread_thou, measured.u_spread_thou, 1.0, home.spread_max_thou, "thou"),
        ("runout", measured.runout_mm, measured.u_runout_mm, MM_PER_THOU, home.runout_max_thou, "thou"),
        ("hysteresis", measured.hysteresis_pct, measured.u_hysteresis_pct, 1.0, home.hysteresis_max_pct, "%"),
    ):
        if limit is not None and value is not None and u is not None:
            share = 100 / scale / limit
            yield ToleranceUse(name, 0.0, limit, unit, share * value, share * k * u)


def tolerance_as_plain(measured: Limited, bands: Bands) -> Mapping[str, object]:
    """Return the bin and the use of its limits as values that JSON can hold.

    Parameters
    ----------
    measured : Limited
        Quantities of the shaft.
    bands : Bands
        Bins, and the coverage factor of U.

    Returns
    -------
    mapping
        Name of the bin as "bin", and the limits with `used_pct` and `U_pct` by the name of each quantity.
    """
    return {"bin": bin_for(measured.spine_thou, bands).name} | {
        use.quantity: use.as_dict() for use in tolerance_use(measured, bands)
    }
