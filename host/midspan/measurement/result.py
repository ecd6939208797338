"""Evaluation of raw runs: each run becomes a result with its uncertainty, or the reasons why it has none.

A result carries objections as sentences with the number that raised them. A doubt asks for the shaft to be measured
again. A fault asks for the gauge to be checked, because every later shaft would be affected too.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import groupby
from operator import attrgetter
from typing import Any, ClassVar

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.base.errors import ConversionError
from midspan.base.units import STANDARD
from midspan.measurement.calibrated_columns import (
    DEPTHS,
    ZEROS,
    CalibratedReadings,
    calibrated,
    columns,
    padded_length,
    why_cut_short,
    zero_phases,
)
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import day_of, of_another_gauge, ran_out
from midspan.measurement.conversion import around, mean_point
from midspan.measurement.converter_filter import is_filtered
from midspan.measurement.definition import DEFINITION
from midspan.measurement.harmonics import COLUMNS, Array
from midspan.measurement.nut_step import nut_faults
from midspan.measurement.quantities import evenness, hysteresis, older_pounds, quality, runout, turning
from midspan.measurement.quantity_covariance import quantity_covariance
from midspan.measurement.result_form import ResultForm, ResultKind
from midspan.measurement.spine_budget import CAUSES, MeanForces, before_shares, spine_shares
from midspan.measurement.thermometer import temperature_of
from midspan.measurement.turning import TurnedShafts, turned
from midspan.measurement.warmth import of_temperature, warmth_of
from midspan.uncertainty.budget import Budget, Contribution

EVALUATION = "3"  # raised whenever the same readings would give other numbers
BATCH = 128  # shafts evaluated together: enough to spread numpy's cost per call; more of them save nothing further
ANGLE_KNOWN_DEG = 5.0  # above this standard uncertainty at the ends of the turning an angle is not established
MOST_LEFT_OUT = 0.05  # share of readings away from the curve; a spike in a hundred is ordinary
MOST_EXTRA_SCATTER = 4.0  # times the scatter of the cell at rest; turning adds some, but not this much
MOST_FRICTION = 0.15  # along the shaft at the first reading of the full depth; more has not begun to roll off
EXPECTED_TWICE = 2.0  # times the scatter that turning is expected to add
LOAD_RANGE = (0.5, 1.5)  # of the standard load at the full depth; beyond, it was another kind of measurement
MOST_ONCE_PER_TURN_THOU = 1.5  # an even tube's stiffness has no such term; a breathing crack or a skid does
MOST_ZERO_DRIFT = 0.005  # of the standard load within one cycle
MOST_TURN_DRIFT = 0.001  # of the standard load while the shaft turns at the light depth, beyond the zeros' line
SLIP_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """A run without a result: the instrument, the cycle or the readings failed.

    `evaluate` makes it of a run that was cut short, for example with cause NO_CONTACT because no shaft was in the
    gauge. To see this on the simulated gauge, set `"fault": "absent"` on a shaft of its scenario.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Its label; empty if it has none.
    reasons : tuple of str
        A sentence or a fault code of the device for each reason.
    """

    kind: ClassVar[ResultKind] = ResultKind.UNMEASURED

    shaft: int
    label: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShaftResult(ResultForm):
    """All results of one shaft. Each u_... is a standard uncertainty (k = 1).

    Deflections are in thou (thousandths of an inch) under 880 g on 28 in. The cycle turns the shaft under the light
    depth (a tenth of the standard load), the full depth (the standard load) and the light depth again. Angles are in
    degrees from the first reading or the index mark, rising as the shaft turns. Harmonic coefficients around the shaft
    are mean, cos 1, sin 1, ... sin 3.
    Degrees of freedom are None where infinite.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Its label; empty if it has none.
    started_ms : int
        Start of the run, ms since 1970 (UTC).
    gauge : str
        Name of the gauge.
    calibration : str
        Id of the calibration.
    evaluation : str
        Version of the evaluation; it changes whenever the same readings give other numbers.
    definition : str
        Reference condition of the spine, `DEFINITION`.
    temperature_c : float or None
        Temperature at the gauge during the run, degrees Celsius; None if it was not measured.
    spine_thou, u_spine_thou : float
        Mean static spine around the shaft, thou.
    dof_spine : float or None
        Effective degrees of freedom of `u_spine_thou`.
    spread_thou, u_spread_thou : float
        Highest minus lowest spine around the shaft, thou.
    dof_spread : float or None
        Effective degrees of freedom of `u_spread_thou`.
    spread_floor_thou : float
        Smallest spread that this run could detect, thou.
    four_reading_thou, u_four_reading_thou : float
        Highest minus lowest of four readings 90 degrees apart (ASTM F2031), thou.
    stiff_side_deg, u_stiff_side_deg : float or None
        Angle of the stiff side, degrees; the opposite side is as stiff. None below the noise floor or at unknown
        angles.
    runout_mm, u_runout_mm : float
        Total indicator reading of the surface at midspan, mm; bands files limit it in thou.
    dof_runout : float or None
        Effective degrees of freedom of `u_runout_mm`.
    runout_floor_mm : float
        Smallest runout that this run could detect, mm.
    hysteresis_pct, u_hysteresis_pct : float
        Drop of the force at the light depth from the way in to the way back, creep included, % of the way in.
    older_lb, u_older_lb : float
        Spine in pounds of the older convention (26 in, 2 lb).
    once_per_turn_thou : float
        Part of the spread that repeats once per turn, thou; an even tube has none.
    slip_pct, u_slip_pct : float
        Rotate steps per turn above their nominal value, %.
    slip_between_pct, u_slip_between_pct : float
        Steps per turn at the light depth above those at the full one, %.
    skid_deg : float
        How far the shaft may lie from where an even turning takes it, degrees; 0 where noise explains it.
    roller_mm : float or None
        Amplitude of the height that unround rollers add at midspan, which was taken out, mm; None if not looked for.
    turn_drift_n : float
        Rise of the force while the shaft turned at the light depth, beyond the line between the zeros, N.
    axial_friction : float or None
        Coefficient of the friction along the shaft that had not yet rolled off at the first reading of the full depth,
        positive where it made the shaft stiffer; None where noise explains it. It was taken out.
    zero_drift_n : float
        Change of the cell's zero during the cycle, N.
    rest_scatter_n, turn_scatter_n : float
        Standard deviation of a reading without contact, and of readings around the fit, N.
    expected_scatter_n : float
        Scatter that turning adds on a sound gauge, N: by uneven steps, and by rollers as unround as the calibration
        says where they were not looked for.
    scatter_turns : float or None
        Turns of the shaft after which most of that scatter repeats, as that of an unround roller does; None if it does
        not, or is small.
    light_load_n, load_n : float
        Mean forces at the light and the full depth, N.
    travel_mm : float
        Travel of the head between the two depths, mm.
    give_mm_per_n : float
        Compliance of frame and cell by the calibration, mm per N.
    span_mm : float
        Distance between the supports by the calibration, mm.
    vertical_share : tuple of float
        Lowest and highest share of vertical support reactions by the calibration; 0 for reactions normal to the shaft.
    rim_mm : float
        Height of the shaft's axis above the centre of curvature of the rims by the calibration, mm.
    sink_mm_per_n : float
        How much the shaft's walls give by the calibration, mm per N.
    zero_shares : tuple of float
        Weight of the zero after in the zero of the light and of the full depth. With a zero in the middle of the cycle,
        two weights of the zero before follow; else the rest is the zero before.
    left_out, readings : int
        Numbers of readings left out of the fit and used in it.
    duration_ms, sampling_ms : int
        Duration of the cycle, and of its sampling, ms.
    curve_thou : tuple of float
        Harmonic coefficients of the standard deflection, thou, 7 values.
    curve_covariance : tuple of float
        Covariance of `curve_thou`, thou squared, 7 by 7 values row by row: from the scatter of the readings and, except
        for the mean, from the supports.
    surface_mm : tuple of float
        Harmonic coefficients of the height of the surface, mm, 7 values. The first is the intercept: where a head that
        presses with no force would touch, above home.
    higher_thou, higher_mm : tuple of float
        Coefficients of orders 4 to 8 of the deflection, thou, and of the surface, mm, 10 values each; empty where the
        readings show no such order.
    u_surface_mm : tuple of float
        Their standard uncertainties from the scatter of the readings and from the supports, mm, 7 values.
    covariance : tuple of float
        Covariance of spine (thou), spread (thou) and runout (mm), 3 by 3 values row by row.
    u_causes, sensitivities : tuple of float
        Standard uncertainty of each cause in its unit, and thou of spine per unit of it. In order: scatter of the
        readings (thou), zero before, zero after and zero drift (N), force scale (relative), force linearity (N), travel
        scale (relative), screw error (mm), frame compliance (mm/N), span (mm), support reactions and shear (thou),
        axial friction (relative), rim radius (mm), sinking (mm/N), head off midspan and press tilt (relative), creep
        (thou), temperature (K), roller runout (mm).
    dof_causes : tuple of float or None
        Degrees of freedom of each cause.
    doubts, faults : tuple of str
        Reasons to measure the shaft again, and reasons to stop and check the gauge; empty if there are none.
    """

    kind: ClassVar[ResultKind] = ResultKind.GAUGE

    shaft: int
    label: str
    started_ms: int
    gauge: str
    calibration: str
    evaluation: str
    definition: str
    temperature_c: float | None
    spine_thou: float
    u_spine_thou: float
    dof_spine: float | None
    spread_thou: float
    u_spread_thou: float
    dof_spread: float | None
    spread_floor_thou: float
    four_reading_thou: float
    u_four_reading_thou: float
    stiff_side_deg: float | None
    u_stiff_side_deg: float | None
    runout_mm: float
    u_runout_mm: float
    dof_runout: float | None
    runout_floor_mm: float
    hysteresis_pct: float
    u_hysteresis_pct: float
    older_lb: float
    u_older_lb: float
    once_per_turn_thou: float
    slip_pct: float
    u_slip_pct: float
    slip_between_pct: float
    u_slip_between_pct: float
    skid_deg: float
    roller_mm: float | None
    turn_drift_n: float
    axial_friction: float | None
    zero_drift_n: float
    rest_scatter_n: float
    turn_scatter_n: float
    expected_scatter_n: float
    scatter_turns: float | None
    light_load_n: float
    load_n: float
    travel_mm: float
    give_mm_per_n: float
    span_mm: float
    vertical_share: tuple[float, ...]
    rim_mm: float
    sink_mm_per_n: float
    zero_shares: tuple[float, ...]
    left_out: int
    readings: int
    duration_ms: int
    sampling_ms: int
    curve_thou: tuple[float, ...]
    curve_covariance: tuple[float, ...]
    surface_mm: tuple[float, ...]
    higher_thou: tuple[float, ...]
    higher_mm: tuple[float, ...]
    u_surface_mm: tuple[float, ...]
    covariance: tuple[float, ...]
    u_causes: tuple[float, ...]
    sensitivities: tuple[float, ...]
    dof_causes: tuple[float | None, ...]
    doubts: tuple[str, ...]
    faults: tuple[str, ...]

    @property
    def budget(self) -> Budget:
        """Uncertainty budget of the mean spine, thou."""
        rows = zip(CAUSES, self.u_causes, self.sensitivities, self.dof_causes, strict=True)
        return Budget(
            tuple(
                Contribution(name, u, sensitivity, unit, math.inf if dof is None else dof)
                for (name, unit), u, sensitivity, dof in rows
            )
        )


_NUMBER_NAMES = tuple(field.name for field in fields(ShaftResult) if field.type in (float, float | None))
_NUMBERS = attrgetter(*_NUMBER_NAMES)


def evaluate(runs: Sequence[RawRun], calibration: Calibration) -> list[ShaftResult | Unmeasured]:
    """Evaluate raw runs and return one outcome for each, in order; a bad run does not stop the others.

    The same readings under the same calibration give the same bits, whatever other runs are evaluated with them.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs, each of one shaft.
    calibration : Calibration
        Scales of the gauge that measured them.

    Returns
    -------
    list of ShaftResult or Unmeasured
        A result, or an `Unmeasured` with the reasons, for each run.
    """
    outcomes: dict[int, ShaftResult | Unmeasured] = {}
    measured: list[int] = []
    for i, run in enumerate(runs):
        reasons = why_cut_short(run)
        if reasons:
            outcomes[i] = Unmeasured(run.shaft, run.label, reasons)
        else:
            measured.append(i)
    for index in _batches(measured, runs, calibration):
        outcomes.update(zip(index, _evaluate_batch([runs[i] for i in index], calibration), strict=True))
    return [outcomes[i] for i in range(len(runs))]


def _batches(index: list[int], runs: Sequence[RawRun], cal: Calibration) -> Iterator[list[int]]:
    """Yield numbers of runs that are evaluated alike and have the same padded length, at most BATCH at a time."""
    kinds = {i: _kind(runs[i], cal) for i in index}
    for _, group in groupby(sorted(index, key=kinds.__getitem__), key=kinds.__getitem__):
        same = list(group)
        for start in range(0, len(same), BATCH):
            yield same[start : start + BATCH]


def _kind(run: RawRun, cal: Calibration) -> tuple[int, int, int, bool]:
    """Return what runs must share to be evaluated together: padded lengths, number of zeros, filter undone or not."""
    zeros = zero_phases(run)
    return padded_length(run, zeros), padded_length(run, DEPTHS), len(zeros), is_filtered(run, cal)


def _evaluate_batch(runs: list[RawRun], cal: Calibration) -> Sequence[ShaftResult | Unmeasured]:
    """Return the outcomes of runs that share one padded length."""
    zeros, load = columns(runs, zero_phases(runs[0])), columns(runs, DEPTHS)
    unfit = {**zeros.why_unfit(), **load.why_unfit()}
    if unfit:
        fit = [run for i, run in enumerate(runs) if i not in unfit]
        found = iter(_evaluate_batch(fit, cal) if fit else ())
        return [Unmeasured(run.shaft, run.label, unfit[i]) if i in unfit else next(found) for i, run in enumerate(runs)]
    try:
        return _results(runs, calibrated(runs, zeros, load, cal), cal)
    except ConversionError as error:
        if len(runs) == 1:
            return [Unmeasured(runs[0].shaft, runs[0].label, (str(error),))]
    # A run that fits no shaft must not take the others with it: halve until it is alone.
    half = len(runs) // 2
    return [*_evaluate_batch(runs[:half], cal), *_evaluate_batch(runs[half:], cal)]


def _results(runs: list[RawRun], forces: CalibratedReadings, cal: Calibration) -> list[ShaftResult]:
    """Return the results of runs with complete readings; ConversionError if those of any run fit no shaft."""
    found: dict[int, ShaftResult] = {}
    warmth = warmth_of([temperature_of(run, cal) for run in runs], cal)
    forces = replace(forces, head_mm=forces.head_mm * (1 + cal.travel.expansion_per_k * warmth.off_k)[:, None])
    for part in turned(forces, cal):
        rows = part.rows.tolist()
        found.update(zip(rows, _results_alike([runs[i] for i in rows], part, cal), strict=True))
    return [found[i] for i in range(len(runs))]


def _results_alike(runs: list[RawRun], part: TurnedShafts, cal: Calibration) -> list[ShaftResult]:
    """Return the results of runs that were fitted alike."""
    fit, forces = part.fit, part.forces
    warmth = warmth_of([temperature_of(run, cal) for run in runs], cal)
    mean = MeanForces(
        fit.coefficients_n[:, 0, 0], fit.coefficients_n[:, 1, 0], forces.head_mm[:, 1] - forces.head_mm[:, 0]
    )
    point = mean_point(mean.low_n, mean.high_n, mean.travel_mm, cal, warmth)
    turn = around(fit, forces, point, cal)
    spine = spine_shares(mean, point, turn, fit, forces, cal)
    found = {"spine_thou": turn.deflection_thou[:, 0], "u_spine_thou": spine.u, "dof_spine": spine.dof}
    found |= {"light_load_n": mean.low_n, "load_n": mean.high_n, "travel_mm": mean.travel_mm}
    found |= evenness(turn, spine, fit, forces) | runout(turn, spine, fit, mean, point, cal)
    found |= older_pounds(point, turn, spine.u, cal) | hysteresis(fit, forces) | quality(fit, forces) | turning(part)
    vectors = zip(
        turn.deflection_thou.tolist(),
        turn.u_deflection[:, :COLUMNS, :COLUMNS].reshape(len(runs), -1).tolist(),
        turn.surface_mm.tolist(),
        np.sqrt(np.diagonal(turn.u_surface, axis1=1, axis2=2)).tolist(),
        quantity_covariance(found, spine).reshape(len(runs), -1).tolist(),
        strict=True,
    )
    settled, named = found["settled"].tolist(), _with_known_sides(found)
    turned_over = nut_faults(runs, point.flexibility, forces.rest_scatter_n, cal)
    rows = zip(*named.values(), strict=True)
    budgets = zip(
        spine.u_causes.tolist(),
        spine.sensitivities.tolist(),
        _finite_dof(spine.dof_causes),
        _zero_shares(forces),
        strict=True,
    )
    results = [
        _result(run, dict(zip(named, row, strict=True)), vector, shares, cal)
        for run, row, vector, shares in zip(runs, rows, vectors, budgets, strict=True)
    ]
    for result, converged, run, nut in zip(results, settled, runs, turned_over, strict=True):
        _object_to(result, doubts(result, converged, run, cal), faults(result, run, cal) + nut)
    return results


def _object_to(result: ShaftResult, doubted: tuple[str, ...], faulty: tuple[str, ...]) -> None:
    """Write doubts and faults into a result that no other code has seen yet: a copy costs a twentieth of its making."""
    object.__setattr__(result, "doubts", doubted)
    object.__setattr__(result, "faults", faulty)


def _zero_shares(forces: CalibratedReadings) -> list[list[float]]:
    """Return the weights of the zero after at both depths, followed by those of the zero before where they differ."""
    after, before = forces.zero_share[:, :2], before_shares(forces)
    kept = after if forces.u_zero_n.shape[1] == len(ZEROS) else np.concatenate([after, before], axis=1)
    shares: list[list[float]] = kept.tolist()
    return shares


def _finite_dof(dof: Array) -> list[Any]:
    """Return degrees of freedom as plain values, None where they are infinite: JSON cannot write infinity."""
    plain: list[Any] = np.where(np.isinf(dof), None, dof).tolist()  # type: ignore[call-overload]
    return plain


def _with_known_sides(found: dict[str, Array]) -> dict[str, list[Any]]:
    """Return columns as plain values, with the stiff side None below the noise floor or at unknown angles."""
    uneven = found["spread_thou"] > found["spread_floor_thou"]
    unknown = (found["angle_u_deg"] > ANGLE_KNOWN_DEG) | ~uneven
    sides = {name: np.where(unknown, None, found[name]) for name in ("stiff_side_deg", "u_stiff_side_deg")}  # type: ignore[call-overload]
    if found["roller_mm"].size == 0:
        sides["roller_mm"] = np.full(len(unknown), None)
    for name in ("scatter_turns", "axial_friction"):
        sides[name] = np.where(np.isnan(found[name]), None, found[name])  # type: ignore[call-overload]
    kept = {name: column for name, column in (found | sides).items() if name not in ("angle_u_deg", "settled")}
    return {name: _finite_dof(column) if name.startswith("dof_") else column.tolist() for name, column in kept.items()}


def _result(run: RawRun, values: Mapping[str, Any], vector: Any, shares: Any, cal: Calibration) -> ShaftResult:
    """Return the result of one run, still without doubts and faults."""
    u_inputs, sensitivities, dof, zero_shares = shares
    return ShaftResult(
        shaft=run.shaft,
        label=run.label,
        started_ms=run.started_ms,
        gauge=run.gauge,
        calibration=cal.calibration.id,
        evaluation=EVALUATION,
        definition=DEFINITION,
        temperature_c=temperature_of(run, cal),
        duration_ms=run.duration_ms,
        sampling_ms=run.sampling_ms,
        curve_thou=tuple(vector[0][:COLUMNS]),
        curve_covariance=tuple(vector[1]),
        surface_mm=tuple(vector[2][:COLUMNS]),
        higher_thou=tuple(vector[0][COLUMNS:]),
        higher_mm=tuple(vector[2][COLUMNS:]),
        u_surface_mm=tuple(vector[3][:COLUMNS]),
        covariance=tuple(vector[4]),
        u_causes=tuple(u_inputs),
        sensitivities=tuple(sensitivities),
        dof_causes=tuple(dof),
        zero_shares=tuple(zero_shares),
        give_mm_per_n=cal.frame.give_mm_per_n,
        span_mm=cal.span.span_mm,
        vertical_share=cal.span.vertical_share,
        rim_mm=cal.span.rim_mm,
        sink_mm_per_n=cal.span.sink_mm_per_n,
        doubts=(),
        faults=(),
        **values,
    )


def doubts(result: ShaftResult, settled: bool, run: RawRun, cal: Calibration) -> tuple[str, ...]:
    """Return reasons to measure this shaft again or to distrust its calibration.

    Parameters
    ----------
    result : ShaftResult
        Result of the shaft.
    settled : bool
        True if the fit converged.
    run : RawRun
        The run that the result comes from.
    cal : Calibration
        The calibration used.

    Returns
    -------
    tuple of str
        A sentence for each reason, empty if there are none.
    """
    left_out = result.left_out / (result.left_out + result.readings)
    rollers = (
        ""
        if result.scatter_turns is None
        else (f", again after {result.scatter_turns:.1f} turns of the shaft: are the rollers round?")
    )
    load = result.load_n / STANDARD.load_n
    expected = EXPECTED_TWICE * result.expected_scatter_n
    slip_limit = 100 * SLIP_SIGMAS * cal.rotation.u_relative
    checks = (
        (left_out > MOST_LEFT_OUT, f"{left_out:.0%} of the readings lie away from the curve"),
        (
            result.turn_scatter_n > math.hypot(MOST_EXTRA_SCATTER * result.rest_scatter_n, expected),
            f"force scatters by {result.turn_scatter_n:.4f} N while turning, {result.rest_scatter_n:.4f} N at rest"
            + rollers,
        ),
        (not LOAD_RANGE[0] <= load <= LOAD_RANGE[1], f"the full load was {load:.0%} of the standard load"),
        (
            result.once_per_turn_thou > MOST_ONCE_PER_TURN_THOU,
            f"stiffness changes by {result.once_per_turn_thou:.1f} thou once per turn, "
            "as a crack or a skid would make it",
        ),
        (not settled, "the fit of what turns did not come to rest: the readings contradict each other"),
        (
            result.skid_deg > 0,
            f"the shaft slipped or skidded at or between the depths: its angles are off by about {result.skid_deg:.1f} "
            "degrees",
        ),
        (
            abs(result.turn_drift_n) > MOST_TURN_DRIFT * STANDARD.load_n,
            f"the force drifted by {result.turn_drift_n:+.4f} N while the shaft turned at the light depth: "
            "does the cell warm up?",
        ),
        (
            abs(result.axial_friction or 0.0) > MOST_FRICTION,
            f"friction of {result.axial_friction or 0.0:+.2f} along the shaft was left when its readings began: "
            "do the rollers turn it?",
        ),
        (abs(result.slip_pct) > slip_limit, f"the shaft turned {result.slip_pct:+.1f} % off the roller's ratio"),
    )
    found = tuple(sentence for wrong, sentence in checks if wrong)
    return found + of_temperature(cal, result.temperature_c) + ran_out(cal, day_of(run)) + cal.calibration.reservations


def faults(result: ShaftResult, run: RawRun, cal: Calibration) -> tuple[str, ...]:
    """Return reasons to stop and check the gauge.

    Parameters
    ----------
    result : ShaftResult
        Result of the shaft.
    run : RawRun
        The run that the result comes from.
    cal : Calibration
        The calibration used.

    Returns
    -------
    tuple of str
        A sentence for each reason, empty if there are none.
    """
    drift = result.zero_drift_n / STANDARD.load_n
    broken = _not_finite(result)
    checks = (
        (bool(broken), f"not a number: {', '.join(broken)}"),
        (result.rest_scatter_n == 0, "the count never changed at rest: the cell is stuck"),
        (abs(drift) > MOST_ZERO_DRIFT, f"the zero moved by {drift:+.2%} of the standard load within one cycle"),
    )
    return tuple(sentence for wrong, sentence in checks if wrong) + of_another_gauge(cal, run.gauge)


def _not_finite(result: ShaftResult) -> list[str]:
    """Return the names of quantities that are infinite or not a number: no shaft has any."""
    # A sum is finite only if every term is. Adding up is quicker than asking each of the numbers of each shaft.
    if math.isfinite(sum(filter(None, _NUMBERS(result)))):
        return []
    return [name for name in _NUMBER_NAMES if not math.isfinite(getattr(result, name) or 0.0)]
