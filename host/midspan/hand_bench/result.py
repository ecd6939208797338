"""The result of one shaft on the hand bench: the gauge's quantities from a dead weight and a dial.

>>> from midspan.hand_bench.bench import EXAMPLE
>>> typed = tuple(Typed(str(45 * i), str(j), "0.00", f"{12.70 + 0.01 * j:.2f}", "") for i in range(8) for j in (0, 1))
>>> session = HandSession("hand.jsonl", 0, EXAMPLE, 1, "bar", "Ann", 0, typed)
>>> result = evaluate_hand(session)
>>> round(result.spine_thou, 1), result.stiff_side_deg
(501.2, None)
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from pathlib import Path
from typing import ClassVar, TypedDict

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from midspan.base.config import validated
from midspan.base.units import OLDER, pounds_from_thou
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.clock_fit import AroundFit, Array, fit_around
from midspan.hand_bench.contradiction import Contradiction, contradictions
from midspan.hand_bench.conversion import CAUSES, SQUARE_LAW, BenchLoad, budget_of, shares
from midspan.hand_bench.readings import HandReadings, check_direction, check_size, missing_repeats, numbers_of
from midspan.hand_bench.record import HandSession, ShaftAndRoom, Typed
from midspan.measurement import curve
from midspan.measurement.definition import DEFINITION
from midspan.measurement.harmonics import COLUMNS, basis
from midspan.measurement.result_form import ResultForm, ResultKind
from midspan.measurement.spine_budget import shear_share
from midspan.uncertainty.budget import Budget, effective_dof, plain_dof

__all__ = ["HandResult", "HandSession", "Typed", "evaluate_hand"]

HAND_EVALUATION = "hand 3"  # raised whenever the same readings would give other numbers
HAND_GAUGE = "hand bench"
ODD = 0.001  # a misfit that chance makes more rarely raises a doubt
SURFACE_POSITIONS = 4  # the height of a bowed surface has three unknowns


@dataclass(frozen=True, slots=True)
class HandResult(ResultForm):
    """All results of one shaft from the hand bench. Each u_... is a standard uncertainty (k = 1).

    A hand bench is a dead weight and a dial indicator on a measured span, read by a person, without a gauge.
    Deflections are in thousandths of an inch under 880 g on 28 in. Angles are in degrees from the first clock
    position. Harmonic coefficients around the shaft are mean, cos 1, sin 1, ... sin 3. Degrees of freedom are None
    where infinite.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Its label; empty if it has none.
    operator : str
        Person who read the dial; empty if not given.
    started_ms : int
        Begin of the session, ms since 1970 (UTC).
    gauge : str
        "hand bench", in place of the name of a gauge.
    calibration : str
        Id of the bench.
    evaluation : str
        Version of the evaluation; it changes whenever the same readings give other numbers.
    definition : str
        Reference condition of the spine: reactions normal to the shaft.
    temperature_c : float or None
        Temperature of bench and shaft, degrees Celsius; None if unknown.
    diameter_mm : float or None
        Diameter of the shaft on the edges, mm; None if unknown.
    spine_thou, u_spine_thou : float
        Mean static spine around the shaft, thou.
    spread_thou, u_spread_thou : float
        Highest minus lowest spine around the shaft, thou; of the positions read, if fewer than five.
    dof_spread : float or None
        Effective degrees of freedom of `u_spread_thou`.
    spread_floor_thou : float
        Smallest spread that these readings could detect, thou.
    four_reading_thou, u_four_reading_thou : float
        Highest minus lowest of four readings 90 degrees apart (ASTM F2031), thou.
    stiff_side_deg, u_stiff_side_deg : float or None
        Angle of the stiff side, degrees; None below the noise floor or with fewer than five positions. It has
        the degrees of freedom of the repeats.
    runout_mm, u_runout_mm : float or None
        Total indicator reading of the surface at midspan, mm; None if the dial was set to zero at each
        position.
    hysteresis_pct, u_hysteresis_pct : float or None
        Missing return of the dial, % of the deflection at a tenth of the load; None if the return was not read.
    older_lb, u_older_lb : float
        Spine in pounds of the older convention (26 in, 2 lb).
    deflection_mm : float
        Mean movement of the dial under the weight, mm.
    load_n : float
        Force that the weight adds, N.
    span_mm : float
        Distance between the supports, mm.
    repeat_scatter_thou : float
        Standard deviation of a reading, thou.
    repeat_dof : int
        Degrees of freedom of the repeatability.
    positions, readings : int
        Numbers of clock positions and of readings used.
    sees_all : bool
        True if the positions determine both parts of the second harmonic.
    curve_thou : tuple of float
        Harmonic coefficients of the standard deflection, thou, 7 values.
    curve_covariance : tuple of float
        Covariance of `curve_thou`, thou squared, 7 by 7 values row by row.
    surface_mm : tuple of float
        Harmonic coefficients of the height of the surface, mm, 7 values.
    u_causes, sensitivities : tuple of float
        Standard uncertainty of each cause in its unit, and thou of spine per unit of it. In order: repeatability
        (thou), dial graduation and dial error (mm), dial tilt (relative), dial force (N), mass (g), air buoyancy (N),
        gravity (m/s2), span (mm), load off centre and tip beside the hook (relative), compliance of the supports
        (mm/N), axial friction (relative), edge radius and shaft radius (mm), sinking of the shaft's walls (mm/N), creep
        (relative), temperature (K) and shear (thou).
    doubts, faults : tuple of str
        Reasons to measure the shaft again, and reasons to check the bench; empty if there are none.
    """

    kind: ClassVar[ResultKind] = ResultKind.HAND_BENCH

    shaft: int
    label: str
    operator: str
    started_ms: int
    gauge: str
    calibration: str
    evaluation: str
    definition: str
    temperature_c: float | None
    diameter_mm: float | None
    spine_thou: float
    u_spine_thou: float
    spread_thou: float
    u_spread_thou: float
    dof_spread: float | None
    spread_floor_thou: float
    four_reading_thou: float
    u_four_reading_thou: float
    stiff_side_deg: float | None
    u_stiff_side_deg: float | None
    runout_mm: float | None
    u_runout_mm: float | None
    hysteresis_pct: float | None
    u_hysteresis_pct: float | None
    older_lb: float
    u_older_lb: float
    deflection_mm: float
    load_n: float
    span_mm: float
    repeat_scatter_thou: float
    repeat_dof: int
    positions: int
    readings: int
    sees_all: bool
    curve_thou: tuple[float, ...]
    curve_covariance: tuple[float, ...]
    surface_mm: tuple[float, ...]
    u_causes: tuple[float, ...]
    sensitivities: tuple[float, ...]
    doubts: tuple[str, ...]
    faults: tuple[str, ...] = ()

    @property
    def budget(self) -> Budget:
        """Uncertainty budget of the mean spine, thou; only the repeatability has finite degrees of freedom."""
        return budget_of(self.u_causes, self.sensitivities, self.repeat_dof)

    @property
    def dof_spine(self) -> float | None:
        """Effective degrees of freedom of `u_spine_thou`, None if infinite."""
        return plain_dof(self.budget.dof)

    @property
    def dof_runout(self) -> float:
        """Degrees of freedom of `u_runout_mm`: those of the repeats."""
        return float(self.repeat_dof)

    @property
    def at(self) -> ShaftAndRoom:
        """Diameter of the shaft, and temperature."""
        return ShaftAndRoom(self.diameter_mm, self.temperature_c)


def evaluate_hand(session: HandSession) -> HandResult:
    """Return the result of a session of typed readings; the same readings give the same bits.

    Parameters
    ----------
    session : HandSession
        Readings and bench.

    Returns
    -------
    HandResult
        Quantities with their uncertainty, and doubts.

    Raises
    ------
    ReadingsError
        The readings are no numbers, contradict the bench file, or are too few.
    ConfigurationError
        The bench of the session is wrong.
    """
    bench = validated(HandBench, session.bench, Path(session.file))
    typed = numbers_of(session.typed, f"{session.file}, shaft {session.shaft}")
    contradicted = contradictions(typed, bench.indicator.graduation)
    readings = typed.only(_uncontradicted(len(session.typed), contradicted))
    check_direction(readings, bench)
    check_size(readings, bench)
    sag_mm = (readings.loaded - readings.zero) * bench.indicator.mm
    load = BenchLoad.of(bench, session.at)
    thou = load.thou(sag_mm)
    fit = fit_around(readings.angle_deg, thou)
    spine, deflection = float(fit.coefficients[0]), float(sag_mm.mean())
    u_inputs, sensitivities = shares(bench, deflection, float(np.sqrt(fit.covariance[0, 0])), session.at)
    parts = np.array(u_inputs) * sensitivities
    u_spine, u_scale = float(np.hypot.reduce(parts)), _u_of_scale(parts)
    coefficients, covariance = _as_curve(fit)
    doubts = [*_incomplete(session), *(each.sentence for each in contradicted), *missing_repeats(typed), *_misfit(fit)]
    return HandResult(
        shaft=session.shaft, label=session.label, operator=session.operator, started_ms=session.started_ms,
        gauge=HAND_GAUGE, calibration=bench.bench.id, evaluation=HAND_EVALUATION, definition=DEFINITION,
        temperature_c=session.at.temperature_c, diameter_mm=session.at.diameter_mm, spine_thou=spine,
        u_spine_thou=u_spine, deflection_mm=deflection, load_n=load.load_n, span_mm=bench.span.span_mm,
        repeat_scatter_thou=fit.scatter, repeat_dof=fit.dof, positions=fit.positions, readings=len(thou),
        sees_all=fit.sees_all, curve_thou=tuple(coefficients.tolist()),
        curve_covariance=tuple(covariance.ravel().tolist()), u_causes=tuple(u_inputs),
        sensitivities=tuple(sensitivities), doubts=tuple(doubts),
        **_evenness(fit, coefficients, covariance, u_scale / spine, readings, thou), **_surface(readings, bench),
        **_return(readings, bench, deflection), **_older(load, deflection, u_spine / spine),
    )  # fmt: skip


def _u_of_scale(parts: Array) -> float:
    """Return the u of the spine that counts for its differences around the shaft, from the shares of CAUSES, thou.

    What goes with the square of the deflection changes a small difference by twice its own share.
    """
    twice = np.array([2.0 if name in SQUARE_LAW else 1.0 for name, _ in CAUSES])
    return float(np.hypot.reduce(parts * twice))


def _uncontradicted(number: int, contradicted: tuple[Contradiction, ...]) -> NDArray[np.bool_]:
    """Return True for the visits that make the result; where any of several may be wrong, all count."""
    kept = np.ones(number, bool)
    kept[[each.visits[0] for each in contradicted if len(each.visits) == 1]] = False
    return kept


def _as_curve(fit: AroundFit) -> tuple[Array, Array]:
    """Return the fit as seven harmonic coefficients like the gauge's, orders 1 and 3 zero, with their covariance."""
    place = [0, 3, 4]
    coefficients, covariance = np.zeros(COLUMNS), np.zeros((COLUMNS, COLUMNS))
    coefficients[place] = fit.coefficients
    covariance[np.ix_(place, place)] = fit.covariance
    return coefficients, covariance


def _incomplete(session: HandSession) -> Iterator[str]:
    """Yield doubts of a session with lost or missing readings."""
    if session.has_lost_lines:
        yield "a line of its readings is damaged, and may have been the right one: read the shaft again"
    if len(session.typed) < session.readings:
        yield f"only {len(session.typed)} of {session.readings} readings are there: read the others"


def _misfit(fit: AroundFit) -> tuple[str, ...]:
    """Return the doubt if the positions do not fit a tube, else an empty tuple."""
    if fit.misfit_p >= ODD:
        return ()
    return ("the clock positions differ more than repeats do and not as a tube's would: look for a crack or a dent",)


class _Evenness(TypedDict):
    """Fields of a result about the spine around the shaft."""

    spread_thou: float
    u_spread_thou: float
    dof_spread: float | None
    spread_floor_thou: float
    four_reading_thou: float
    u_four_reading_thou: float
    stiff_side_deg: float | None
    u_stiff_side_deg: float | None


def _evenness(
    fit: AroundFit, coefficients: Array, covariance: Array, u_scale: float, readings: HandReadings, thou: Array
) -> _Evenness:
    """Return the fields of a result about the spine around the shaft."""
    swing = curve.swing(coefficients[None], covariance[None], order=2)
    # The multiple of the noise that chance exceeds once in twenty times; few readings know the noise itself badly.
    few = np.sqrt(2 * fdtri(2, fit.dof, 0.95)) / curve.RAYLEIGH_95
    floor = float(swing.floor[0]) * few
    if fit.sees_all:
        four, u_four = (float(part[0]) for part in curve.four_readings(coefficients[None], covariance[None]))
        spread, u_spread = float(swing.value[0]), float(swing.u[0])
    else:
        four, u_four = _variation(readings, thou, fit.scatter)
        spread, u_spread, floor = four, u_four, u_four * curve.RAYLEIGH_95
    named = fit.sees_all and spread > floor
    return {
        "spread_thou": spread,
        "u_spread_thou": float(np.hypot(u_spread, u_scale * spread)),
        "dof_spread": plain_dof(float(effective_dof([u_spread, u_scale * spread], [fit.dof, inf]))),
        "spread_floor_thou": floor,
        "four_reading_thou": four,
        "u_four_reading_thou": float(np.hypot(u_four, u_scale * four)),
        "stiff_side_deg": float(np.degrees(swing.lowest_rad[0])) if named else None,
        "u_stiff_side_deg": float(np.degrees(swing.u_lowest_rad[0])) if named else None,
    }


def _variation(readings: HandReadings, thou: Array, scatter: float) -> tuple[float, float]:
    """Return highest minus lowest of the means at the positions, and its standard uncertainty."""
    _, members, number = np.unique(readings.angle_deg % 360, return_inverse=True, return_counts=True)
    means = np.bincount(members, thou) / number
    high, low = means.argmax(), means.argmin()
    return float(np.ptp(means)), float(scatter * np.sqrt(1 / number[high] + 1 / number[low]))


class _Surface(TypedDict):
    """Fields of a result about the straightness of the shaft."""

    runout_mm: float | None
    u_runout_mm: float | None
    surface_mm: tuple[float, ...]


def _surface(readings: HandReadings, bench: HandBench) -> _Surface:
    """Return height of the unloaded surface and runout; None if the dial was set to zero at each position."""
    height = -readings.zero * bench.indicator.mm
    positions = len(np.unique(readings.angle_deg % 360))
    if positions < SURFACE_POSITIONS or not readings.unloaded.any():
        return {"runout_mm": None, "u_runout_mm": None, "surface_mm": (0.0,) * COLUMNS}
    columns = basis(np.radians(readings.angle_deg))[:3]
    found, *_ = np.linalg.lstsq(columns.T, height, rcond=None)
    residual = height - found @ columns
    coefficients, covariance = np.zeros(COLUMNS), np.zeros((COLUMNS, COLUMNS))
    coefficients[:3] = found
    scatter = float(residual @ residual) / max(len(height) - 3, 1)
    covariance[:3, :3] = np.linalg.pinv(columns @ columns.T) * scatter
    swing = curve.swing(coefficients[None], covariance[None], order=1)
    u_graduation = bench.indicator.graduation * abs(bench.indicator.mm) * np.sqrt(2 / 12)
    return {
        "runout_mm": float(swing.value[0]),
        "u_runout_mm": float(np.hypot(swing.u[0], u_graduation)),
        "surface_mm": tuple(coefficients.tolist()),
    }


class _Return(TypedDict):
    """Fields of a result about the part of the deflection that remains."""

    hysteresis_pct: float | None
    u_hysteresis_pct: float | None


def _return(readings: HandReadings, bench: HandBench, deflection_mm: float) -> _Return:
    """Return the hysteresis; None if the return of the dial was not read."""
    if not readings.has_return:
        return {"hysteresis_pct": None, "u_hysteresis_pct": None}
    missing = (readings.again - readings.unloaded) * bench.indicator.mm
    number = len(missing)
    u_scatter = float(missing.std(ddof=1)) / np.sqrt(number) if number > 1 else 0.0
    u_graduation = bench.indicator.graduation * abs(bench.indicator.mm) * np.sqrt(2 / 12)
    percent = 100 / (0.1 * deflection_mm)
    return {
        "hysteresis_pct": float(missing.mean() * percent),
        "u_hysteresis_pct": float(np.hypot(u_scatter, u_graduation) * percent),
    }


class _Older(TypedDict):
    """Fields of a result in the older convention."""

    older_lb: float
    u_older_lb: float


def _older(load: BenchLoad[float], deflection_mm: float, u_relative: float) -> _Older:
    """Return the spine in pounds of the older convention: 26 over the deflection in inches at 26 in and 2 lb."""
    thou = float(load.thou(np.array(deflection_mm), OLDER))
    u_thou = np.hypot(u_relative, shear_share(load.span_mm, OLDER)) * thou
    pounds = pounds_from_thou(thou)
    return {"older_lb": pounds, "u_older_lb": float(pounds * u_thou / thou)}
