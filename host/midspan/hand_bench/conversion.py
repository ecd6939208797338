"""From a deflection under a dead weight to the standard deflection, and what each cause of doubt does to it.

Sensitivities are differences of the conversion itself, a thousandth of a unit up and down (JCGM 100:2008, 5.1.3
note 2 allows it). Bounds count as rectangular (4.3.7). An error that goes with the square of something known only
by its bound, like the load off centre or a tilted indicator, is one-sided; it is not corrected, and its root mean
square over the bound, the largest over the root of five, is its standard uncertainty.
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
    """What bends the shaft: the force that is always there, the force that comes on, over which span, and the give.

    One bench as it is, or arrays of benches as trials draw them.
    """

    preload_n: float
    load_n: Number
    span_mm: Number
    give_mm_per_n: Number

    @classmethod
    def of(cls, bench: HandBench) -> "BenchLoad[float]":
        """Return it as the bench says it is; the dial's spring presses too, and less or more under load."""
        hook_n = bench.weight.hook_g / 1000 * bench.place.gravity().m_s2
        load_n = bench.load_n + bench.indicator.force_change_n
        return BenchLoad(hook_n + bench.indicator.force_n, load_n, bench.span.span_mm, bench.frame.give_mm_per_n)

    def thou(self, sag_mm: Array, to: Convention = STANDARD, support: Support = "between") -> Array:
        """Return the deflection in thou under a convention, from how far the dial says that midspan sank.

        The shapes of `sag_mm` and of the pulls broadcast.

        Raises ConversionError where no shaft bends like that.

        >>> load = BenchLoad(0.0, STANDARD.load_n, STANDARD.span_mm, 0.0)
        >>> float(load.thou(np.array(12.7)).round(6))
        500.0
        """
        bend = sag_mm - self.give_mm_per_n * self.load_n
        stiffness = stiffness_between((self.preload_n, self.preload_n + self.load_n), bend, self.span_mm, support)
        return deflection_mm(to.load_n, to.span_mm, stiffness, support) / MM_PER_THOU

    def change(self: "BenchLoad[float]", sag_mm: float, **by: float) -> float:
        """Derivative of the standard deflection with respect to one field, in thou per its unit."""
        ((name, step),) = by.items()
        up, down = (replace(self, **{name: getattr(self, name) + sign * step}) for sign in (1, -1))
        return float(up.thou(np.array(sag_mm)) - down.thou(np.array(sag_mm))) / (2 * step)


def sag_for(bench: HandBench, spine_thou: float) -> float:
    """How far a shaft of this spine sinks on a bench, in mm: the conversion the other way round.

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
    """Standard uncertainty in its own unit and sensitivity in thou per unit, of each of CAUSES."""
    load = BenchLoad.of(bench)
    spine = float(load.thou(np.array(sag_mm)))
    by_load = load.change(sag_mm, load_n=1e-3)
    by_dial = float(load.thou(np.array(sag_mm + 1e-3)) - load.thou(np.array(sag_mm - 1e-3))) / 2e-3
    gravity, dial = bench.place.gravity(), bench.indicator
    graduation_mm = dial.graduation * abs(dial.mm)
    u_buoyancy = bench.mass.force_n(gravity.m_s2, Air()).u_buoyancy_n
    rows = (
        (u_repeat_thou, 1.0),
        # Two readings, each anywhere within half a graduation; an even, straight shaft repeats the same rounding.
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
    """Budget of a spine in thou from the `shares` of each of CAUSES; only repeatability is known from few readings."""
    rows = zip(CAUSES, u_inputs, sensitivities, strict=True)
    return Budget(
        tuple(
            Contribution(name, u, by, unit, repeat_dof if name == "repeatability" else inf)
            for (name, unit), u, by in rows
        )
    )


def off_centre_loss(offset_mm: float, span_mm: float) -> float:
    """Share of the deflection at the load that is lost when it hangs off centre: P a^2 b^2 / 3 EI L.

    Roark's Formulas for Stress and Strain, 7th ed., table 8.1; AISC Manual, table 3-23, case 8.

    >>> round(off_centre_loss(2.54, 711.2), 9)
    0.000102038
    """
    return 8 * (offset_mm / span_mm) ** 2 - 16 * (offset_mm / span_mm) ** 4


def support_thou(load: BenchLoad[float], sag_mm: float, to: Convention = STANDARD) -> float:
    """Standard uncertainty from reactions anywhere between frictionless and vertical, in thou."""
    normal, vertical = (float(load.thou(np.array(sag_mm), to, support)) for support in ("normal", "vertical"))
    return abs(normal - vertical) / 2 / 3**0.5
