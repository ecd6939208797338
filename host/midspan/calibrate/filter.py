"""Calibrate the converter's filter: delay and width of its response, from a shaft turned both ways at two speeds.

While a bowed or uneven shaft turns under load, the force is a wave in its angle. A word that comes late shifts the wave
by the angle that the shaft turns through meanwhile: one way while turning forward, the other way while turning back,
and by more at the higher speed. Lost motion of the drive shifts it too, but by the same angle at either speed, and a
roller that slips differently on the way back changes the period. So the fit knows all three apart. The width shows in
the amplitude, which is smaller at the higher speed.

Each harmonic and each round give the delay for themselves. Where these differ by more than their noise, as after a
skid, the uncertainty is multiplied by that excess (R. T. Birge, Phys. Rev. 40 (1932) 207, from memory).

The same passes show the friction along the shaft that is left while it turns: the mean force is larger one way.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from scipy import optimize

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array
from midspan.calibrate.axial_friction import PassMeans, Pressed, friction_of, friction_remarks
from midspan.calibrate.outcome import ProcedureResult, Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings
from midspan.measurement.converter_filter import BOXCAR
from midspan.measurement.harmonics import MAD_TO_SIGMA, ORDERS, REJECT_SIGMAS

FEWEST_A_PASS = 40
FEWEST_TURNS = 1.5  # of a pass; with fewer, its mean and slope could not be told from the pattern
SPEED_RATIO = 1.5  # of the two speeds at least
UNEVEN_STEPS = 3.0  # a position further off a constant speed was read in a ramp
LEAST_EXPLAINED = 0.5  # smallest share of the variation that a pattern must explain
STARTS = (0.0, 2.0, 4.0, 8.0)  # delays to begin with, in readings
MUCH_LOST_DEG, MUCH_SLIP, MUCH_EXCESS = 5.0, 0.01, 3.0
DOF_FEW_PARTS = 3.0  # of an uncertainty that rests on the difference of two orders and two rounds
PARAMETERS = 5
FORWARD, BACK, DELAY, LOST, SQUARE = range(PARAMETERS)  # logarithms of periods; s; rad; squared width, s^2
_SCALE = np.array([1e-3, 1e-3, 1e-2, 1e-2, 1e-4])
STEP = 0.01  # of that scale, for derivatives


@dataclass(frozen=True)
class _OneWay:
    """Readings of a turning at a constant speed; `start` is the position at which the axis stood before."""

    time_s: Array
    steps: Array
    count: Array
    speed: float
    off: Array
    start: float = 0.0

    @property
    def way(self) -> int:
        """1 for a turning forward, -1 for one back."""
        return 1 if self.speed > 0 else -1


@dataclass(frozen=True)
class _LeastSquares:
    """Least squares over passes: parameters, their covariance, and what is left of each reading."""

    values: Array
    covariance: Array
    left: Array = field(repr=False)

    def u(self, parameter: int) -> float:
        """Return the standard uncertainty of a parameter."""
        return math.sqrt(self.covariance[parameter, parameter])


def calibrate_filter(readings: CalibrationReadings, expected: float, pressed: Pressed | None = None) -> ProcedureResult:
    """Return delay and width of the converter's response, and the friction along the shaft while it turns.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns pass, time_s, steps, count: passes at constant speed, both ways at two speeds, in the order in which
        they were made; a rotate position is that at the end of the conversion.
    expected : float
        Rotate steps per turn of the shaft.
    pressed : Pressed | None
        How far the shaft was bent, and by which force; None if that is unknown, which leaves the friction unknown.

    Returns
    -------
    ProcedureResult
        Section "filter" of the calibration file, with the friction for the section "span"; lost motion, slip and
        remarks.

    Raises
    ------
    ReadingsError
        A pass is too short (code "too_few") or not at constant speed (code "uneven"), a way or a second speed is
        missing (codes "one_way" and "one_speed"), no pattern repeats with the turn (code "no_pattern"), or the words
        come before their force (code "early").
    """
    passes = _passes(readings, expected)
    found = _without_spikes(passes, expected, readings)
    interval = float(np.median(np.concatenate([np.diff(part.time_s) for part in passes])))
    wide = math.sqrt(max(float(found.values[SQUARE]), 0.0))
    # Noise enters before the filter, so only as many readings are independent as do not share it.
    alike = max(1.0, float(BOXCAR) * wide / interval)
    excess, by_order = _excess(passes, expected, found, alike)
    u_delay, u_square = (excess * math.sqrt(alike) * found.u(parameter) for parameter in (DELAY, SQUARE))
    dof, u_width = _dof(passes, alike, excess), math.sqrt(wide**2 + u_square) - wide
    budget = {
        "delay_readings_s": (u_delay, dof),
        "delay_microstep_s": (_u_step_s(passes), math.inf),
        "width_readings_s": (u_width, dof),
    }
    delay, u = float(found.values[DELAY]), math.hypot(u_delay, _u_step_s(passes))
    if delay < -2 * u:
        raise ReadingsError(
            f"{readings.source}: the words come {-1e3 * delay:.2f} ms before their force; check that time_s and steps "
            "are of the same reading, and that steps fall while the shaft turns back",
            code="early",
        )
    section = {
        "delay_s": max(delay, 0.0),
        "u_delay_s": u,
        "width_s": wide,
        "u_width_s": u_width,
        "dof_delay": dof,
        "dof_width": dof,
    }
    figures = _figures(found, interval, delay) | by_order
    remarks = _remarks(section, figures, excess)
    if pressed is not None:
        friction = friction_of(_means(passes, expected, found), pressed)
        section, figures = section | friction.section, figures | friction.figures
        budget, remarks = budget | friction.budget, remarks + friction_remarks(friction)
    return ProcedureResult("filter", section, figures, budget, remarks)


def _means(passes: Sequence[_OneWay], expected: float, found: _LeastSquares) -> PassMeans:
    """Return the mean count of each pass without the pattern that turns, and how long after the first it was read."""
    count = np.concatenate([_detrended(part, part.count) for part in passes])
    waves = _waves(passes, expected, found.values)
    pattern = np.linalg.solve(waves.T @ waves, waves.T @ count)
    whole = _waves(passes, expected, found.values, level=True) @ pattern
    edges = np.cumsum([0, *(len(part.count) for part in passes)])
    means = [part.count.mean() - whole[edges[i] : edges[i + 1]].mean() for i, part in enumerate(passes)]
    # The times of different passes may begin anywhere.
    lasting = np.array([np.ptp(part.time_s) for part in passes])
    return PassMeans(np.array([part.way for part in passes]), np.cumsum(lasting) - lasting / 2, np.array(means))


def _dof(passes: Sequence[_OneWay], alike: float, excess: float) -> float:
    """Return the degrees of freedom: those of independent readings, or of the parts that disagree."""
    independent = sum(len(part.count) for part in passes) / alike
    unknowns = PARAMETERS + 2 * ORDERS + 2 * len(passes)
    return DOF_FEW_PARTS if excess > MUCH_EXCESS else max(1.0, float(independent - unknowns))


def _figures(found: _LeastSquares, interval: float, delay: float) -> dict[str, float]:
    """Return delay and width for people, and what of the turning was not the filter's."""
    slip = math.expm1(float(found.values[BACK] - found.values[FORWARD]))
    return {
        "delay_ms": 1e3 * delay,
        "delay_conversions": delay / interval,
        "width_conversions": math.sqrt(max(float(found.values[SQUARE]), 0.0)) / interval,
        "lost_motion_deg": math.degrees(float(found.values[LOST])),
        "slip_back_pct": 100 * slip,
    }


def _remarks(section: dict[str, float], figures: dict[str, float], excess: float) -> tuple[Remark, ...]:
    """Return what the person who calibrates should know."""
    lost, slip = abs(figures["lost_motion_deg"]), abs(figures["slip_back_pct"])
    reach = section["delay_s"] + 2 * section["u_delay_s"] + 2 * section["u_width_s"]
    return chosen(
        (
            lost > MUCH_LOST_DEG,
            "lost_motion",
            f"on turning back {lost:.1f} degrees are lost: is a belt slack, or a screw loose?",
        ),
        (
            slip > 100 * MUCH_SLIP,
            "slip",
            f"the turn takes {slip:.1f} % other steps on the way back: does a roller skid?",
        ),
        (
            excess > MUCH_EXCESS,
            "disagree",
            f"harmonics or rounds differ by {excess:.1f} times their noise, as after a skid; U allows for it",
        ),
        (
            section["width_s"] > reach,
            "too_wide",
            "the response is wider than twice its delay can hold: is time_s that of the reading?",
        ),
    )


def _passes(readings: CalibrationReadings, expected: float) -> list[_OneWay]:
    """Return the passes of a table; refuse those from which delay and width could not be found."""
    numbers = readings["pass"]
    edges = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
    parts = [_pass(readings, slice(start, stop), expected) for start, stop in pairwise(edges)]
    speeds = [abs(part.speed) for part in parts]
    if {part.way for part in parts} != {1, -1}:
        raise ReadingsError(
            f"{readings.source}: the shaft turned one way only; turn it back as well, at each speed", code="one_way"
        )
    middle = math.sqrt(min(speeds) * max(speeds))
    ways = {(part.way, abs(part.speed) > middle) for part in parts}
    if max(speeds) < SPEED_RATIO * min(speeds) or len(ways) < 4:
        raise ReadingsError(
            f"{readings.source}: turns from {min(speeds):.0f} to {max(speeds):.0f} steps a second; turn both ways at "
            f"two speeds, one {SPEED_RATIO:g} times the other or more",
            code="one_speed",
        )
    placed = [parts[0]]
    for before, after in pairwise(parts):
        ends = (before.steps.max(), after.steps.max()) if before.way > 0 else (before.steps.min(), after.steps.min())
        turned = float(max(ends) if before.way > 0 else min(ends))
        placed.append(replace(after, start=turned if before.way != after.way else float(before.steps[-1])))
    return [replace(placed[0], start=float(placed[0].steps[0])), *placed[1:]]


def _pass(readings: CalibrationReadings, rows: slice, expected: float) -> _OneWay:
    """Return the pass in some rows of a table."""
    time, steps, count = (readings[name][rows] for name in ("time_s", "steps", "count"))
    turns = float(np.ptp(steps)) / expected
    if len(steps) < FEWEST_A_PASS or turns < FEWEST_TURNS:
        raise ReadingsError(
            f"{readings.place(rows.start)}: pass {readings['pass'][rows.start]:g} has {len(steps)} readings over "
            f"{turns:.1f} turns; take {FEWEST_A_PASS} or more over {FEWEST_TURNS:g} turns or more",
            code="too_few",
        )
    if (np.diff(time) <= 0).any():
        i = rows.start + int(np.flatnonzero(np.diff(time) <= 0)[0]) + 1
        raise ReadingsError(
            f"{readings.place(i)}: time_s does not rise; write the readings in their order", code="times"
        )
    speed, at = np.polyfit(time - time.mean(), steps, 1)
    off = steps - (at + speed * (time - time.mean()))
    if np.abs(off).max() > UNEVEN_STEPS:
        i = rows.start + int(np.abs(off).argmax())
        raise ReadingsError(
            f"{readings.place(i)}: the position is {np.abs(off).max():.1f} steps off a constant speed; leave out the "
            "readings taken while the axis speeds up or brakes",
            code="uneven",
        )
    return _OneWay(time, steps, count, float(speed), off)


def _left_of(square: Array) -> Array:
    """Return the share of a wave that is left, by the squared angle of an rms width; above 1 for a negative square."""
    x = np.sqrt(3 * np.abs(square))
    grown = np.sinh(np.minimum(x, 3.0)) / np.maximum(x, 1e-12)
    result: Array = np.where(square >= 0, np.sinc(x / np.pi), np.where(x < 1e-6, 1.0, grown))
    return result


def _waves(passes: Sequence[_OneWay], expected: float, values: Array, *, level: bool = False) -> Array:
    """Return the waves of each order, shape (readings, 2 ORDERS), without mean and slope of each pass unless `level`.

    There is a delay of its own for each order after the parameters that all share, if `values` has more.
    """
    delays = values[PARAMETERS:] if len(values) > PARAMETERS else np.full(ORDERS, values[DELAY])
    periods = expected * np.exp(values[[FORWARD, BACK]])
    orders = np.arange(1, ORDERS + 1)
    begun, before, blocks = 0.0, passes[0], []
    for part in passes:
        begun += 2 * np.pi * (part.start - before.start) / periods[int(before.way < 0)]
        by_step = 2 * np.pi / periods[int(part.way < 0)]
        lost = values[LOST] if part.way < 0 else 0.0
        turned = by_step * (part.steps[:, None] - part.start - part.speed * delays)
        left = _left_of((orders * by_step * part.speed) ** 2 * values[SQUARE])
        wave = left * np.exp(1j * orders * (begun + lost + turned))
        columns = np.concatenate([wave.real, wave.imag], axis=1)
        blocks.append(columns if level else _detrended(part, columns))
        before = part
    return np.concatenate(blocks)


def _detrended(part: _OneWay, columns: Array) -> Array:
    """Return columns of a pass without mean and slope in time: the force creeps, and the zero drifts."""
    trend = np.linalg.qr(np.column_stack([np.ones_like(part.time_s), part.time_s - part.time_s.mean()]))[0]
    result: Array = columns - trend @ (trend.T @ columns)
    return result


def _residual(passes: Sequence[_OneWay], expected: float, values: Array) -> Array:
    """Return what a fit of the waves leaves of the counts."""
    count = np.concatenate([_detrended(part, part.count) for part in passes])
    waves = _waves(passes, expected, values)
    residual: Array = count - waves @ np.linalg.solve(waves.T @ waves, waves.T @ count)
    return residual


def _fitted(work: Callable[[Array], Array], start: Array, unknowns: int) -> _LeastSquares:
    """Return the least squares of residuals from a start, and the covariance by their scatter."""
    steps = np.diag(STEP * np.concatenate([_SCALE, np.full(len(start) - PARAMETERS, _SCALE[DELAY])]))

    def jacobian(values: Array) -> Array:
        return np.stack([(work(values + step) - work(values - step)) / (2 * step.sum()) for step in steps], axis=1)

    found = optimize.least_squares(work, start, jac=jacobian, x_scale=steps.sum(axis=0) / STEP)
    variance = 2 * found.cost / max(len(found.fun) - unknowns - len(start), 1)
    scale = np.diag(steps)
    information = (found.jac * scale).T @ (found.jac * scale)
    covariance = np.linalg.pinv(information, hermitian=True) * variance * np.outer(scale, scale)
    return _LeastSquares(found.x, covariance, found.fun)


def _fit(passes: Sequence[_OneWay], expected: float, start: Array) -> _LeastSquares:
    """Return the fit of passes from a start."""
    unknowns = 2 * ORDERS + 2 * len(passes)
    return _fitted(lambda values: _residual(passes, expected, values), start, unknowns)


def _without_spikes(passes: list[_OneWay], expected: float, readings: CalibrationReadings) -> _LeastSquares:
    """Return the fit of all passes without readings far off the curve, which it takes out of `passes`."""
    interval = float(np.median(np.diff(passes[0].time_s)))
    starts = [np.array([0.0, 0.0, share * interval, 0.0, (share * interval) ** 2 / 4]) for share in STARTS]
    best = min(starts, key=lambda start: float((_residual(passes, expected, start) ** 2).sum()))
    found = _fit(passes, expected, best)
    flat = np.concatenate([_detrended(part, part.count) for part in passes])
    limit = max(REJECT_SIGMAS * MAD_TO_SIGMA * float(np.median(np.abs(found.left))), 1e-9 * float(np.abs(flat).max()))
    near = np.abs(found.left) <= limit
    if not near.all():
        edges = np.cumsum([0, *(len(part.count) for part in passes)])
        for i, (start, stop) in enumerate(pairwise(edges.tolist())):
            kept, part = near[start:stop], passes[i]
            passes[i] = replace(
                part, time_s=part.time_s[kept], steps=part.steps[kept], count=part.count[kept], off=part.off[kept]
            )
        found = _fit(passes, expected, found.values)
        flat = np.concatenate([_detrended(part, part.count) for part in passes])
    explained = 1 - float((found.left**2).sum()) / max(float((flat**2).sum()), np.finfo(float).tiny)
    if not explained >= LEAST_EXPLAINED:
        raise ReadingsError(
            f"{readings.source}: only {explained:.0%} of the variation repeats with the turn; use a shaft with more "
            "bow, or press deeper",
            code="no_pattern",
        )
    return found


def _excess(
    passes: Sequence[_OneWay], expected: float, found: _LeastSquares, alike: float
) -> tuple[float, dict[str, float]]:
    """Return how much harmonics and rounds differ beyond their noise, 1 or more, and the delays of the harmonics."""
    each = _fitted(
        lambda values: _residual(
            passes, expected, np.concatenate([values[:PARAMETERS], values[PARAMETERS:], values[-1:]])
        ),
        np.concatenate([found.values, np.full(2, found.values[DELAY])]),
        2 * ORDERS + 2 * len(passes),
    )
    first, second = each.values[PARAMETERS:]
    block = each.covariance[PARAMETERS:, PARAMETERS:]
    ratios = [abs(first - second) / math.sqrt(max(block[0, 0] + block[1, 1] - 2 * block[0, 1], np.finfo(float).tiny))]
    half = len(passes) // 2
    rounds = passes[:half], passes[half:]
    if all(_is_whole(part) for part in rounds):
        halves = [_fit(part, expected, found.values) for part in rounds]
        for parameter in (DELAY, SQUARE):
            u = math.hypot(*(part.u(parameter) for part in halves))
            ratios.append(abs(float(halves[0].values[parameter] - halves[1].values[parameter])) / u)
    return max(1.0, float(max(ratios)) / math.sqrt(alike)), {
        "delay_order_1_ms": 1e3 * float(first),
        "delay_order_2_ms": 1e3 * float(second),
    }


def _is_whole(passes: Sequence[_OneWay]) -> bool:
    """Return True if passes alone would give delay and width: both ways at two speeds."""
    if not passes:
        return False
    speeds = [abs(part.speed) for part in passes]
    middle = math.sqrt(min(speeds) * max(speeds))
    return max(speeds) >= SPEED_RATIO * min(speeds) and len({(p.way, abs(p.speed) > middle) for p in passes}) == 4


def _u_step_s(passes: Sequence[_OneWay]) -> float:
    """Return the standard uncertainty of the delay from whole microsteps, s.

    Where the readings of a pass all meet the same part of a step, its place within the step is unknown, and may be the
    same in all passes at that speed.
    """
    unseen = max(max(0.0, 1.0 - float(np.ptp(part.off))) for part in passes)
    speeds = [abs(part.speed) for part in passes]
    return unseen / math.sqrt(12) / (max(speeds) - min(speeds))
