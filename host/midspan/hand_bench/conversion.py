"""From a deflection under a dead weight to the standard deflection, with its sensitivity to each cause of uncertainty.

Sensitivities are differences of the conversion itself, a thousandth of a unit up and down (JCGM 100:2008, 5.1.3 note 2
allows it). Bounds are rectangular (4.3.7). An error that goes with the square of a quantity known only by its bound,
such as the load off centre or a tilted dial, has one sign. It is not corrected; its root mean square over the bound,
the largest error over the square root of five, is its standard uncertainty.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import inf
from typing import Generic, TypeVar

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD, Convention
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.clock_fit import Array
from midspan.hand_bench.masses import Air
from midspan.measurement.elastica import Support, deflection_mm, stiffness_between
from midspan.measurement.spine_budget import shear_share
from midspan.uncertainty.budget import Budget, Contribution

CAUSES = (
    ("repeatability", "thou"),
    ("dial graduation", "mm"),
    ("dial error", "mm"),
    ("dial tilt", "1"),
    ("dial force", "N"),
    ("mass", "g"),
    ("air buoyancy", "N"),
    ("gravity", "m/s2"),
    ("span", "mm"),
    ("load off centre", "1"),
    ("give of supports", "mm/N"),
    ("support reactions", "thou"),
    ("shear", "thou"),
)


Number = TypeVar("Number", float, Array)


@dataclass(frozen=True)
class BenchLoad(Generic[Number]):
    """Forces, span and compliance that bend the shaft: of one bench, or of arrays of benches as trials draw them.

    Parameters
    ----------
    preload_n : float
        Force that is always on the shaft, N.
    load_n : float or ndarray
        Force that the weight adds, N.
    span_mm : float or ndarray
        Distance between the supports, mm.
    give_mm_per_n : float or ndarray
        Compliance of everything but the shaft, mm per N.
    """

    preload_n: float
    load_n: Number
    span_mm: Number
    give_mm_per_n: Number

    @classmethod
    def of(cls, bench: HandBench) -> "BenchLoad[float]":
        """Return the load of a bench; the spring of the dial counts, and so does its change under load.

        Parameters
        ----------
        bench : HandBench
            The bench.

        Returns
        -------
        BenchLoad
            Its best estimates.
        """
        hook_n = bench.weight.hook_g / 1000 * bench.place.gravity().m_s2
        load_n = bench.load_n + bench.indicator.force_change_n
        return BenchLoad(hook_n + bench.indicator.force_n, load_n, bench.span.span_mm, bench.frame.give_mm_per_n)

    def thou(self, sag_mm: Array, to: Convention = STANDARD, support: Support = "between") -> Array:
        """Return the deflection under a convention; the shapes of `sag_mm` and of the load broadcast.

        Parameters
        ----------
        sag_mm : ndarray
            Movement of the dial under the weight, mm.
        to : Convention
            Span and load of the result.
        support : {"normal", "vertical", "between"} or float
            Support condition; see `elastica`.

        Returns
        -------
        ndarray
            Deflection, thou.

        Raises
        ------
        ConversionError
            No shaft bends like this.

        Examples
        --------
        >>> load = BenchLoad(0.0, STANDARD.load_n, STANDARD.span_mm, 0.0)
        >>> float(load.thou(np.array(12.7)).round(6))
        500.0
        """
        bend = sag_mm - self.give_mm_per_n * self.load_n
        stiffness = stiffness_between((self.preload_n, self.preload_n + self.load_n), bend, self.span_mm, support)
        return deflection_mm(to.load_n, to.span_mm, stiffness, support) / MM_PER_THOU

    def change(self: "BenchLoad[float]", sag_mm: float, **by: float) -> float:
        """Return the derivative of the standard deflection by one field, by a difference of two conversions.

        Parameters
        ----------
        sag_mm : float
            Movement of the dial under the weight, mm.
        **by : float
            Name of the field, and the step up and down in its unit.

        Returns
        -------
        float
            Derivative, thou per unit of the field.
        """
        ((name, step),) = by.items()
        up, down = (replace(self, **{name: getattr(self, name) + sign * step}) for sign in (1, -1))
        return float(up.thou(np.array(sag_mm)) - down.thou(np.array(sag_mm))) / (2 * step)


def sag_for(bench: HandBench, spine_thou: float) -> float:
    """Return the movement of the dial that a shaft of a given spine would show on a bench.

    Parameters
    ----------
    bench : HandBench
        The bench.
    spine_thou : float
        Static spine, thou.

    Returns
    -------
    float
        Movement under the weight, mm.

    Raises
    ------
    ConversionError
        The shaft would bend by more than a tenth of the span.

    Examples
    --------
    >>> from midspan.hand_bench.bench import EXAMPLE
    >>> bench = HandBench.model_validate(EXAMPLE)
    >>> float(BenchLoad.of(bench).thou(np.array(sag_for(bench, 512.5))).round(9))
    512.5
    """
    load = BenchLoad.of(bench)
    sag = np.array(spine_thou * MM_PER_THOU)
    stiffness = stiffness_between((0.0, STANDARD.load_n), sag, STANDARD.span_mm, "between")
    low, high = (
        float(deflection_mm(force, load.span_mm, stiffness, "between"))
        for force in (load.preload_n, load.preload_n + load.load_n)
    )
    return high - low + load.give_mm_per_n * load.load_n


def shares(bench: HandBench, sag_mm: float, u_repeat_thou: float) -> tuple[list[float], list[float]]:
    """Return standard uncertainty and sensitivity of each of CAUSES.

    Parameters
    ----------
    bench : HandBench
        The bench.
    sag_mm : float
        Mean movement of the dial under the weight, mm.
    u_repeat_thou : float
        Standard uncertainty of the mean from repeats, thou.

    Returns
    -------
    u_inputs : list of float
        Standard uncertainty of each cause in its own unit.
    sensitivities : list of float
        Change of the spine, thou per unit of the cause.

    References
    ----------
    JCGM 100:2008, 5.1.3 (sensitivities) and 4.3.7 (rectangular bounds).
    """
    load = BenchLoad.of(bench)
    spine = float(load.thou(np.array(sag_mm)))
    by_load = load.change(sag_mm, load_n=1e-3)
    by_dial = float(load.thou(np.array(sag_mm + 1e-3)) - load.thou(np.array(sag_mm - 1e-3))) / 2e-3
    gravity, dial = bench.place.gravity(), bench.indicator
    graduation_mm = dial.graduation * abs(dial.mm)
    u_buoyancy = bench.mass.force_n(gravity.m_s2, Air()).u_buoyancy_n
    rows = (
        (u_repeat_thou, 1.0),
        # Two readings, each rounded to within half a graduation; an even, straight shaft repeats the same rounding.
        (graduation_mm * np.sqrt(2 / 12), by_dial),
        (dial.u_error_mm, by_dial),
        (np.radians(dial.tilt_deg) ** 2 / 2 / np.sqrt(5), by_dial * sag_mm),
        (dial.u_force_change_n, by_load),
        (bench.weight.u_mass_g, by_load * bench.load_n / bench.weight.mass_g),
        (u_buoyancy, by_load),
        (gravity.u_m_s2, by_load * bench.load_n / gravity.m_s2),
        (bench.span.u_span_mm, load.change(sag_mm, span_mm=1e-3)),
        (off_centre_loss(bench.frame.off_centre_mm, load.span_mm) / np.sqrt(5), spine),
        (bench.frame.u_give_mm_per_n, load.change(sag_mm, give_mm_per_n=1e-5)),
        (support_thou(load, sag_mm), 1.0),
        (shear_share(load.span_mm, STANDARD) * spine, 1.0),
    )
    return [float(u) for u, _ in rows], [float(by) for _, by in rows]


def budget_of(u_inputs: Iterable[float], sensitivities: Iterable[float], repeat_dof: int) -> Budget:
    """Return the budget of a spine from the `shares` of each of CAUSES.

    Parameters
    ----------
    u_inputs : iterable of float
        Standard uncertainty of each cause in its own unit.
    sensitivities : iterable of float
        Change of the spine, thou per unit of the cause.
    repeat_dof : int
        Degrees of freedom of the repeatability; those of all other causes are infinite.

    Returns
    -------
    Budget
        Budget, thou.
    """
    rows = zip(CAUSES, u_inputs, sensitivities, strict=True)
    return Budget(
        tuple(
            Contribution(name, u, by, unit, repeat_dof if name == "repeatability" else inf)
            for (name, unit), u, by in rows
        )
    )


def off_centre_loss(offset_mm: float, span_mm: float) -> float:
    """Return the share of the deflection that is lost when the load hangs off centre.

    With the load at distances a and b from the supports, the deflection under it is P a^2 b^2 / 3 EI L.

    Parameters
    ----------
    offset_mm : float
        Distance of the load from midspan, mm.
    span_mm : float
        Distance between the supports, mm.

    Returns
    -------
    float
        Share, 0 to 1.

    References
    ----------
    Roark's Formulas for Stress and Strain, 7th ed., table 8.1; AISC Manual, table 3-23, case 8.

    Examples
    --------
    >>> round(off_centre_loss(2.54, 711.2), 9)
    0.000102038
    """
    return 8 * (offset_mm / span_mm) ** 2 - 16 * (offset_mm / span_mm) ** 4


def support_thou(load: BenchLoad[float], sag_mm: float, to: Convention = STANDARD) -> float:
    """Return the standard uncertainty from reactions anywhere between frictionless and vertical.

    Parameters
    ----------
    load : BenchLoad
        Load of the bench.
    sag_mm : float
        Movement of the dial under the weight, mm.
    to : Convention
        Span and load of the result.

    Returns
    -------
    float
        Standard uncertainty of the deflection, thou.
    """
    normal, vertical = (float(load.thou(np.array(sag_mm), to, support)) for support in ("normal", "vertical"))
    return abs(normal - vertical) / 2 / 3**0.5
