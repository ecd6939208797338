"""From a deflection under a dead weight to the standard deflection, with its sensitivity to each cause of uncertainty.

Sensitivities are differences of the conversion itself, a thousandth of a unit up and down (JCGM 100:2008, 5.1.3 note 2
allows it). Bounds are rectangular (4.3.7). An error that goes with the square of a quantity known only by its bound,
such as the load off centre or a tilted dial, has one sign. It is not corrected; its root mean square over the bound,
the largest error over the square root of five, is its standard uncertainty.

The result is the spine under the reference condition: what edges, friction, walls and warmth of this bench change by
their best estimates is taken off.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import inf, log10
from typing import Generic, TypeVar

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD, Convention
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.bent_on_edges import Edges
from midspan.hand_bench.clock_fit import Array
from midspan.hand_bench.masses import Air
from midspan.hand_bench.record import UNKNOWN, ShaftAndRoom
from midspan.measurement.elastica import deflection_mm, stiffness_between
from midspan.measurement.spine_budget import shear_share
from midspan.uncertainty.budget import Budget, Contribution

CAUSES: tuple[tuple[str, str], ...] = (
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
    ("tip beside the hook", "1"),
    ("give of supports", "mm/N"),
    ("axial friction", "1"),
    ("edge radius", "mm"),
    ("shaft radius", "mm"),
    ("sinking", "mm/N"),
    ("creep", "1"),
    ("temperature", "K"),
    ("shear", "thou"),
)
SQUARE_LAW = ("axial friction", "edge radius", "shaft radius")  # their errors go with the square of the deflection
U_DIAMETER_MM = 0.05  # by a caliper, on a shaft that may be tapered
U_TEMPERATURE_K = 1.0  # of the beam, by a thermometer beside it
UNKNOWN_K = 5.0 / 3**0.5  # between measuring the span and the shaft, in a room by day and by night
GAUGE_S = 1.0  # from load to reading on a gauge; creep counts from there


Number = TypeVar("Number", float, Array)


@dataclass(frozen=True)
class BenchLoad(Generic[Number]):
    """Forces and supports that bend the shaft: of one bench, or of arrays of benches as trials draw them.

    Parameters
    ----------
    preload_n : float
        Force that is always on the shaft, N.
    load_n : float or ndarray
        Force that the weight adds, N.
    span_mm : float or ndarray
        Distance between the supports, mm.
    give_mm_per_n : float or ndarray
        Compliance of everything but the bending shaft, mm per N.
    rolling_mm : float or ndarray
        Edge radius plus shaft radius, mm.
    friction : float or ndarray
        Force along the shaft at an edge over its reaction; above 0 if it pulls outward.
    """

    preload_n: float
    load_n: Number
    span_mm: Number
    give_mm_per_n: Number
    rolling_mm: Number
    friction: Number

    @classmethod
    def of(cls, bench: HandBench, at: ShaftAndRoom = UNKNOWN) -> "BenchLoad[float]":
        """Return the load of a bench; the spring of the dial counts, and so does its change under load.

        Parameters
        ----------
        bench : HandBench
            The bench.
        at : ShaftAndRoom
            Diameter of the shaft, and temperature.

        Returns
        -------
        BenchLoad
            Its best estimates.
        """
        hook_n = bench.weight.hook_g / 1000 * bench.place.gravity().m_s2
        load_n = bench.load_n + bench.indicator.force_change_n
        give = bench.frame.give_mm_per_n + bench.shafts.sink_mm_per_n
        span_mm = bench.span.span_mm * (1 + bench.span.expansion_per_k * warmer_k(bench, at)[0])
        rolling_mm = bench.supports.edge_radius_mm + shaft_radius_mm(bench, at)[0]
        preload_n = hook_n + bench.indicator.force_n
        return BenchLoad(preload_n, load_n, span_mm, give, rolling_mm, bench.supports.friction_left[0])

    @property
    def edges(self) -> Edges:
        """Edges that carry the shaft, in the state of a loaded reading."""
        return Edges(self.span_mm, self.rolling_mm, self.friction)

    def thou(self, sag_mm: Array, to: Convention = STANDARD) -> Array:
        """Return the deflection under a convention; the shapes of `sag_mm` and of the load broadcast.

        Parameters
        ----------
        sag_mm : ndarray
            Movement of the dial under the weight, mm.
        to : Convention
            Span and load of the result.

        Returns
        -------
        ndarray
            Deflection under the reference condition, thou.

        Raises
        ------
        ConversionError
            No shaft bends like this.

        Examples
        --------
        >>> knives = BenchLoad(0.0, STANDARD.load_n, STANDARD.span_mm, 0.0, rolling_mm=0.0, friction=0.0)
        >>> pins = replace(knives, rolling_mm=6.0)
        >>> [float(load.thou(np.array(12.7)).round(3)) for load in (knives, pins)]
        [500.0, 501.024]
        """
        bend = sag_mm - self.give_mm_per_n * self.load_n
        stiffness = self.edges.stiffness((self.preload_n, self.preload_n + self.load_n), bend)
        return deflection_mm(to.load_n, to.span_mm, stiffness) / MM_PER_THOU

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


def warmer_k(bench: HandBench, at: ShaftAndRoom) -> tuple[float, float]:
    """Return how much warmer the bench was than when its span was measured.

    Parameters
    ----------
    bench : HandBench
        The bench.
    at : ShaftAndRoom
        Temperature during the session.

    Returns
    -------
    warmer_k : float
        Difference, K; 0 if a temperature is unknown.
    u_warmer_k : float
        Its standard uncertainty, K.

    Examples
    --------
    >>> from midspan.hand_bench.bench import EXAMPLE
    >>> warmer_k(HandBench.model_validate(EXAMPLE), ShaftAndRoom(temperature_c=24.0))
    (0.0, 2.886751345948129)
    """
    if bench.span.temperature_c is None or at.temperature_c is None:
        return 0.0, UNKNOWN_K
    return at.temperature_c - bench.span.temperature_c, U_TEMPERATURE_K


def shaft_radius_mm(bench: HandBench, at: ShaftAndRoom) -> tuple[float, float]:
    """Return the radius of a shaft where it lies on the edges.

    Parameters
    ----------
    bench : HandBench
        The bench.
    at : ShaftAndRoom
        Diameter of the shaft.

    Returns
    -------
    radius_mm : float
        Radius, mm; the middle of what the bench measures if it is unknown.
    u_radius_mm : float
        Its standard uncertainty, mm.

    Examples
    --------
    >>> from midspan.hand_bench.bench import EXAMPLE
    >>> shaft_radius_mm(HandBench.model_validate(EXAMPLE), ShaftAndRoom(diameter_mm=6.0))
    (3.0, 0.025)
    """
    if at.diameter_mm is not None:
        return at.diameter_mm / 2, U_DIAMETER_MM / 2
    low, high = bench.shafts.diameter_mm
    return (low + high) / 4, (high - low) / 4 / 3**0.5


def sag_for(bench: HandBench, spine_thou: float, at: ShaftAndRoom = UNKNOWN) -> float:
    """Return the movement of the dial that a shaft of a given spine would show on a bench.

    Parameters
    ----------
    bench : HandBench
        The bench.
    spine_thou : float
        Static spine, thou.
    at : ShaftAndRoom
        Diameter of the shaft, and temperature.

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
    load = BenchLoad.of(bench, at)
    stiffness = stiffness_between((0.0, STANDARD.load_n), spine_thou * MM_PER_THOU, STANDARD.span_mm)
    low, high = (
        float(load.edges.deflection_mm(force, stiffness)) for force in (load.preload_n, load.preload_n + load.load_n)
    )
    return high - low + load.give_mm_per_n * load.load_n


def shares(
    bench: HandBench, sag_mm: float, u_repeat_thou: float, at: ShaftAndRoom = UNKNOWN
) -> tuple[list[float], list[float]]:
    """Return standard uncertainty and sensitivity of each of CAUSES.

    Parameters
    ----------
    bench : HandBench
        The bench.
    sag_mm : float
        Mean movement of the dial under the weight, mm.
    u_repeat_thou : float
        Standard uncertainty of the mean from repeats, thou.
    at : ShaftAndRoom
        Diameter of the shaft, and temperature.

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
    load = BenchLoad.of(bench, at)
    spine = float(load.thou(np.array(sag_mm)))
    by_load = load.change(sag_mm, load_n=1e-3)
    by_dial = float(load.thou(np.array(sag_mm + 1e-3)) - load.thou(np.array(sag_mm - 1e-3))) / 2e-3
    by_span, by_give = load.change(sag_mm, span_mm=1e-3), load.change(sag_mm, give_mm_per_n=1e-5)
    by_radius = load.change(sag_mm, rolling_mm=1e-2)
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
        (bench.span.u_span_mm, by_span),
        (off_centre_loss(bench.frame.off_centre_mm, load.span_mm) / np.sqrt(5), spine),
        (tip_loss(dial.tip_beside_mm, load.span_mm) / np.sqrt(5), spine),
        (bench.frame.u_give_mm_per_n, by_give),
        (bench.supports.friction_left[1], load.change(sag_mm, friction=1e-3)),
        (bench.supports.u_edge_radius_mm, by_radius),
        (shaft_radius_mm(bench, at)[1], by_radius),
        (bench.shafts.u_sink_mm_per_n, by_give),
        (u_creep(bench), spine),
        (warmer_k(bench, at)[1], by_span * load.span_mm * bench.span.expansion_per_k),
        (shear_share(load.span_mm, STANDARD) * spine, 1.0),
    )
    return [float(u) for u, _ in rows], [float(by) for _, by in rows]


def u_creep(bench: HandBench) -> float:
    """Return the standard uncertainty from creep between a gauge's reading and this bench's.

    Parameters
    ----------
    bench : HandBench
        The bench.

    Returns
    -------
    float
        Relative to the deflection.

    Examples
    --------
    >>> from midspan.hand_bench.bench import EXAMPLE
    >>> u_creep(HandBench.model_validate(EXAMPLE))  # ten seconds are one decade
    0.0002
    """
    return bench.shafts.u_creep_per_decade * log10(max(bench.shafts.held_s, GAUGE_S) / GAUGE_S)


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


def tip_loss(beside_mm: float, span_mm: float) -> float:
    """Return the share of the deflection that a dial does not see because its tip stands beside the hook.

    At a distance x from a load at midspan the deflection is 1 - 6 (x / L)^2 + 4 (x / L)^3 of that under the load.

    Parameters
    ----------
    beside_mm : float
        Distance of the tip from the hook along the shaft, mm.
    span_mm : float
        Distance between the supports, mm.

    Returns
    -------
    float
        Share, 0 to 1.

    References
    ----------
    AISC Manual, table 3-23, case 7: P x (3 L^2 - 4 x^2) / 48 EI, x from a support.

    Examples
    --------
    >>> round(500 * tip_loss(5.0, 711.2), 2)
    0.15
    """
    return 6 * (beside_mm / span_mm) ** 2 - 4 * (beside_mm / span_mm) ** 3
