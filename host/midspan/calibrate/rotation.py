"""Calibrate rotation: rotate steps per turn of the shaft, from index marks or from the pattern of a bowed shaft.

At a fixed depth the force on a bowed or uneven shaft repeats every turn. The period with the least residual is taken
over many turns; its uncertainty follows from the curvature of that sum of squares, which for a sinusoid is the
Cramér-Rao bound (S. M. Kay, Estimation Theory, 1993, example 3.14, from memory).

>>> from midspan.calibrate.readings_table import readings_of
>>> steps = [5.0 * i for i in range(1600)]
>>> count = [1e5 + 3000 * math.cos(2 * math.pi * s / 803.2) + 40 * math.sin(1.7 * s) for s in steps]
>>> found = calibrate_rotation(readings_of("typed", steps=steps, count=count), 800.0)
>>> round(found.section["steps_per_turn"], 1), round(found.figures["slip_pct"], 2)
(803.2, 0.4)
"""

import math
from itertools import pairwise

import numpy as np
from scipy import optimize

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array
from midspan.calibrate.outcome import ProcedureResult, chosen
from midspan.calibrate.readings_table import CalibrationReadings

REACH = 0.06  # largest relative difference of the true value from the expected value
FEWEST_TURNS = 3.0
FEWEST_A_TURN = 12
FEWEST_MARKS = 4
SLIP_RANGE = 0.002  # relative standard uncertainty between shafts of the same size (no source)
MUCH_SLIP = 0.02  # relative; rollers that do not skid slip less
ORDERS = (1, 2)
ROUNDING = 1e-9  # relative; a count that varies less varies by rounding alone
LEAST_EXPLAINED = 0.5  # smallest share of the variation that a pattern must explain


def calibrate_rotation(
    readings: CalibrationReadings, expected: float, u_diameter: float = SLIP_RANGE
) -> ProcedureResult:
    """Return steps per turn from a pattern that repeats every turn.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns steps, count.
    expected : float
        Steps per turn by the diameters.
    u_diameter : float
        Relative spread of the diameter of shafts of this size.

    Returns
    -------
    ProcedureResult
        Section "rotation" of the calibration file, slip and remarks.

    Raises
    ------
    ReadingsError
        There are too few turns or readings (code "too_few"), the count is constant (code "constant"), or no pattern
        repeats near the expected turn (codes "no_turn" and "no_pattern").

    References
    ----------
    S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, example 3.14, from memory.
    """
    steps, count = readings["steps"], readings["count"]
    turns = float(np.ptp(steps)) / expected
    varies = _varying(readings, turns)
    near = np.linspace(1 - REACH, 1 + REACH, 2 * int(REACH * turns * 16) + 3) * expected
    left = [_left_over(steps, count, period) for period in near]
    best = int(np.argmin(left))
    if best in (0, len(near) - 1):
        raise ReadingsError(
            f"{readings.source}: the count does not repeat every {expected:g} steps, within {REACH:.0%}; check the "
            "diameters of roller and shaft, and that the shaft does not skid",
            code="no_turn",
        )
    found = optimize.minimize_scalar(
        lambda period: _left_over(steps, count, period), bounds=(near[best - 1], near[best + 1]), method="bounded",
        options={"xatol": 1e-7 * expected},
    )  # fmt: skip
    explained = 1 - found.fun / varies
    if explained < LEAST_EXPLAINED:
        raise ReadingsError(
            f"{readings.source}: only {explained:.0%} of the variation repeats with the turn; use a shaft with more "
            "bow, or press deeper",
            code="no_pattern",
        )
    period = float(found.x)
    u = max(_u_period(steps, count, period, float(found.fun)), _u_from_parts(steps, count, period))
    return _finding(period, u, expected, turns, u_diameter)


def _varying(readings: CalibrationReadings, turns: float) -> float:
    """Return the sum of squares of the count beside a drift; refuse too few turns and a constant count."""
    number = len(readings.lines)
    if turns < FEWEST_TURNS or number < FEWEST_A_TURN * turns:
        raise ReadingsError(
            f"{readings.source}: {number} readings over {turns:.1f} turns are too few; take {FEWEST_TURNS:g} or more "
            f"turns with {FEWEST_A_TURN} readings each",
            code="too_few",
        )
    steps, count = readings["steps"], readings["count"]
    varies = _residual(np.column_stack(_drift(steps)), count)
    if varies <= number * (ROUNDING * float(np.abs(count).max())) ** 2:
        raise ReadingsError(
            f"{readings.source}: the count does not vary with the turn; put a shaft in and press on it",
            code="constant",
        )
    return varies


def calibrate_rotation_marks(
    readings: CalibrationReadings, expected: float, u_diameter: float = SLIP_RANGE
) -> ProcedureResult:
    """Return steps per turn from positions of an index mark over several turns.

    Parameters
    ----------
    readings : CalibrationReadings
        Column mark_steps.
    expected : float
        Steps per turn by the diameters.
    u_diameter : float
        Relative spread of the diameter of shafts of this size.

    Returns
    -------
    ProcedureResult
        Section "rotation" of the calibration file, slip and remarks.

    Raises
    ------
    ReadingsError
        There are too few marks (code "too_few"), or a mark was missed or seen twice; the error names its line.

    Examples
    --------
    >>> from midspan.calibrate.readings_table import readings_of
    >>> marks = readings_of("typed", mark_steps=[12.0, 815.0, 1618.0, 2422.0, 3225.0])
    >>> round(calibrate_rotation_marks(marks, 800.0).section["steps_per_turn"], 2)
    803.3
    """
    marks = readings["mark_steps"]
    if len(marks) < FEWEST_MARKS:
        raise ReadingsError(
            f"{readings.source}: {len(marks)} marks are too few; turn until {FEWEST_MARKS} or more have passed",
            code="too_few",
        )
    turn = np.diff(marks)
    missed = np.flatnonzero(np.abs(turn / expected - 1) > REACH)
    if len(missed):
        i = int(missed[0])
        raise ReadingsError(
            f"{readings.place(i + 1)}: {turn[i]:g} steps since the previous mark, expected {expected:g}; a mark was "
            "missed or seen twice: correct it"
        )
    slope, covariance = np.polyfit(np.arange(len(marks)), marks, 1, cov=True)
    u = math.hypot(math.sqrt(covariance[0, 0]), 1 / math.sqrt(12) / (len(marks) - 1))
    return _finding(float(slope[0]), u, expected, len(marks) - 1.0, u_diameter)


def _finding(period: float, u: float, expected: float, turns: float, u_diameter: float) -> ProcedureResult:
    """Return the result for a period and its standard uncertainty, both in steps."""
    slip = period / expected - 1
    section = {"steps_per_turn": period, "u_relative": math.hypot(u / period, u_diameter)}
    figures = {"slip_pct": 100 * slip, "u_slip_pct": 100 * u / expected, "turns": turns}
    off = f"the shaft turns {100 * slip:+.1f} % off what the diameters say: are they right? Does a roller skid?"
    remarks = chosen((abs(slip) > MUCH_SLIP, "slip", off))
    return ProcedureResult("rotation", section, figures, {"readings_steps": (u, turns)}, remarks)


def _columns(steps: Array, period: float) -> Array:
    """Return the design matrix of drift and waves for a period, shape (readings, terms)."""
    angle = 2 * np.pi * steps / period
    waves = [wave(order * angle) for order in ORDERS for wave in (np.cos, np.sin)]
    return np.column_stack([*_drift(steps), *waves])


def _drift(steps: Array) -> tuple[Array, Array]:
    """Return the columns for a mean and a slow change, as made by creep and a drifting zero."""
    return np.ones_like(steps), (steps - steps.mean()) / np.ptp(steps)


def _residual(columns: Array, count: Array) -> float:
    """Return the residual sum of squares of the count."""
    values = np.linalg.lstsq(columns, count, rcond=None)[0]
    return float(((count - columns @ values) ** 2).sum())


def _left_over(steps: Array, count: Array, period: float) -> float:
    """Return the residual sum of squares of the count for a period."""
    return _residual(_columns(steps, period), count)


def _u_period(steps: Array, count: Array, period: float, least: float) -> float:
    """Return the standard uncertainty of the period from the curvature of the sum of squares S: u^2 = 2 s^2 / S''."""
    width = period**2 / np.ptp(steps) * 0.02
    sides = sum(_left_over(steps, count, period + sign * width) for sign in (-1, 1))
    curvature = (sides - 2 * least) / width**2
    degrees = len(steps) - 3 - 2 * len(ORDERS)
    # Almost without noise only rounding is left, and its curvature may have any sign.
    return math.sqrt(2 * least / degrees / curvature) if curvature > 0 else width


def _u_from_parts(steps: Array, count: Array, period: float) -> float:
    """Return the standard uncertainty of the period, from the phase in each third of the run.

    Slip is not white noise, so the scatter of single readings would understate it.
    """
    edges = np.linspace(steps.min(), steps.max(), 4)
    phases = []
    for low, high in pairwise(edges.tolist()):
        part = (steps >= low) & (steps <= high)
        _, _, c, s, *_ = np.linalg.lstsq(_columns(steps[part], period), count[part], rcond=None)[0]
        phases.append(math.atan2(s, c))
    first, middle, last = np.unwrap(phases)
    # A linear change of the phase is part of the period; only its bend is an error.
    bend_rad = abs(first - 2 * middle + last) / math.sqrt(6)
    return bend_rad / (2 * math.pi) * period * period / float(np.ptp(steps)) * math.sqrt(4.5)
