"""Turn raw runs into calibrated arrays: force, travel and rotate steps of many shafts side by side.

Only readings that the device marked as good are used. A cell's zero drifts slowly, so the zero of a loaded reading is
taken from a straight line in time between the unloaded readings before and after; a zero in the middle of the cycle
breaks that line in two. The angle of a reading is that in the middle of its conversions (converter_filter.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from midspan.archive.raw_run import Phase, RawRun
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import Filtering, filtering, filters_of, is_filtered, middle_steps
from midspan.measurement.harmonic_fit import FEWEST_OF_DEPTH
from midspan.measurement.harmonics import MAD_TO_SIGMA, REJECT_SIGMAS, Array, Mask, Turns, median_of_valid

DEPTHS: tuple[Phase, ...] = (Phase.LIGHT, Phase.FULL, Phase.LIGHT_AGAIN)
LIGHT, FULL, AGAIN = range(len(DEPTHS))  # their places in arrays
ZEROS: tuple[Phase, ...] = (Phase.ZERO_BEFORE, Phase.ZERO_AFTER)
MIDDLE = 2  # column of a zero in the middle of the cycle, after those of ZEROS
SETTLING, SATURATED, OUT_OF_STEP = 1, 2, 4  # status bits of protocol/readings.avsc
UNFIT = SETTLING | SATURATED | OUT_OF_STEP
NEEDED = (*DEPTHS, *ZEROS)
FEWEST_OF_ZERO = 5
CUT_SHORT = "the cycle was cut short"
CLOCK_STOOD = "the times of its readings stand still or run backwards"
PAD = 64  # padding depends on a shaft's own length only, so that its sums are the same in any batch


@dataclass(frozen=True)
class CalibratedReadings:
    """Calibrated readings of S shafts at the three depths, with the quantities found while calibrating them.

    Parameters
    ----------
    turns : Turns
        Rotate steps from the angle origin and forces, N, at the three depths.
    head_mm : ndarray
        Position of the head below home, not corrected for the compliance of the frame, mm, shape (S, 3).
    steps_to_start : ndarray
        Rotate steps from the first reading (or index mark) to the angle origin, shape (S,).
    nominal_steps : ndarray
        Rotate steps per turn before the fit, shape (S,).
    u_relative_nominal : ndarray
        Relative standard uncertainty of `nominal_steps`, shape (S,).
    zero_drift_n : ndarray
        Change of the zero during the cycle, N, shape (S,).
    zero_change_n : ndarray
        Largest change between neighbouring zeros, N, 0 or more, shape (S,).
    u_zero_n : ndarray
        Standard uncertainty of the zero before, after and, if there was one, in the middle, from its scatter, N, shape
        (S, 2) or (S, 3).
    dof_zero : ndarray
        Degrees of freedom of that scatter, same shape.
    zero_share : ndarray
        Weight of the zero after in the zero of each depth, shape (S, 3).
    middle_share : ndarray
        Weight of the zero in the middle, 0 without one, shape (S, 3); the rest is the zero before.
    rest_scatter_n : ndarray
        Standard deviation of a reading without contact, N, shape (S,).
    turning_share : ndarray
        Part of the time between the zeros before and after for which the shaft turns at each depth, shape (S, 3).
    filtering : Filtering, optional
        Filters of the converters and speeds of turning; None for readings that are taken as they are.
    """

    turns: Turns
    head_mm: Array
    steps_to_start: Array
    nominal_steps: Array
    u_relative_nominal: Array
    zero_drift_n: Array
    zero_change_n: Array
    u_zero_n: Array
    dof_zero: Array
    zero_share: Array
    middle_share: Array
    rest_scatter_n: Array
    turning_share: Array
    filtering: Filtering | None = None


def with_shared_noise(forces: CalibratedReadings, alike: Array) -> CalibratedReadings:
    """Return calibrated readings whose zeros are as uncertain as fewer independent readings make them.

    Parameters
    ----------
    forces : CalibratedReadings
        Calibrated readings of S shafts.
    alike : ndarray
        Number of neighbouring readings that share their noise, shape (S,).

    Returns
    -------
    CalibratedReadings
        The same with other uncertainties of the zeros.
    """
    share = alike[:, None]
    dof = np.maximum(forces.dof_zero / share, 1.0)
    return replace(forces, u_zero_n=forces.u_zero_n * np.sqrt(share), dof_zero=dof)


def why_cut_short(run: RawRun) -> tuple[str, ...]:
    """Return the reasons why a run cannot be evaluated, an empty tuple if it went through the whole cycle.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.

    Returns
    -------
    tuple of str
        A sentence or a fault code of the device for each reason.
    """
    if run.cause is not None or not run.complete:
        return (run.cause or CUT_SHORT,)
    if (run.tick_us[1:] <= run.tick_us[:-1]).any():
        return (CLOCK_STOOD,)
    present = {phase for phase, _ in run.segments}
    return tuple(f"no readings in phase {phase.name}" for phase in NEEDED if phase not in present)


def zero_phases(run: RawRun) -> tuple[Phase, ...]:
    """Return the phases in which a run was read without contact.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.

    Returns
    -------
    tuple of Phase
        The zeros before and after, and that in the middle if the run has one.
    """
    return ZEROS if run.phase_slice(Phase.ZERO_MIDDLE) is None else (*ZEROS, Phase.ZERO_MIDDLE)


def padded_length(run: RawRun, phases: tuple[Phase, ...]) -> int:
    """Return the common array length of some phases of a run, a multiple of PAD.

    Only runs of equal length are evaluated together.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.
    phases : tuple of Phase
        Phases of the run.

    Returns
    -------
    int
        Number of readings of the longest of these phases, rounded up.
    """
    longest = max(readings for phase, readings in run.segments if phase in phases)
    return -(-longest // PAD) * PAD


@dataclass
class Columns:
    """Raw columns of some phases of S runs, each of shape (S, phases, N).

    Parameters
    ----------
    phases : tuple of Phase
        The phases.
    place : ndarray of int
        Place of each reading in the runs joined end to end, 0 beyond the end of a phase.
    steps : ndarray of int
        Rotate steps.
    counts : ndarray of int
        Counts of the converter.
    tick_us : ndarray of int
        Times, us.
    press : ndarray of int
        Microsteps of the press.
    valid : ndarray of bool
        True for good readings, False beyond the end of a phase.
    """

    phases: tuple[Phase, ...]
    place: NDArray[np.int64]
    steps: NDArray[np.int64]
    counts: NDArray[np.int64]
    tick_us: NDArray[np.int64]
    press: NDArray[np.int64]
    valid: Mask

    def why_unfit(self) -> dict[int, tuple[str, ...]]:
        """Return the reasons against each row that cannot be evaluated.

        Returns
        -------
        dict
            Reasons as sentences by row number; empty if all rows can be evaluated.
        """
        found = self.valid.sum(axis=-1)
        highest = np.where(self.valid, self.press, np.iinfo(np.int64).min).max(axis=-1)
        lowest = np.where(self.valid, self.press, np.iinfo(np.int64).max).min(axis=-1)
        reasons: dict[int, tuple[str, ...]] = {}
        for j, phase in enumerate(self.phases):
            fewest = FEWEST_OF_DEPTH if phase in DEPTHS else FEWEST_OF_ZERO
            few, moved = found[:, j] < fewest, highest[:, j] > lowest[:, j]
            for i in np.flatnonzero(few | moved).tolist():
                sentence = (
                    f"only {found[i, j]} good readings in phase {phase.name}, {fewest} are needed"
                    if few[i]
                    else f"the press moved during phase {phase.name}"
                )
                reasons[i] = (*reasons.get(i, ()), sentence)
        return reasons


def columns(runs: Sequence[RawRun], phases: tuple[Phase, ...]) -> Columns:
    """Return some phases of runs that share one padded length, laid side by side.

    All runs are joined end to end, then one index picks every phase of every run: a slice for each would take longer
    than the arithmetic that follows. Runs with a reason in `why_cut_short` are not accepted.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts.
    phases : tuple of Phase
        Phases to take.

    Returns
    -------
    Columns
        Their columns, padded to the common length.
    """
    ends = np.cumsum([len(run) for run in runs])
    slices = [[found[phase] for phase in phases] for found in (run.places() for run in runs)]
    start = np.array([[part.start for part in row] for row in slices])
    length = np.array([[part.stop - part.start for part in row] for row in slices])
    offset = np.arange(padded_length(runs[0], phases))
    inside = offset < length[:, :, None]
    place = np.where(inside, (start + (ends - [len(run) for run in runs])[:, None])[:, :, None] + offset, 0)
    steps, counts, tick_us, press, status = (
        np.concatenate([getattr(run, name) for run in runs]).take(place)
        for name in ("rotate_steps", "counts", "tick_us", "press_steps", "status")
    )
    return Columns(phases, place, steps, counts, tick_us, press, inside & ((status & UNFIT) == 0))


def _masked_mean(values: Array, keep: Mask) -> Array:
    """Return the mean along the last axis of the values to keep."""
    mean: Array = np.where(keep, values, 0.0).sum(axis=-1) / keep.sum(axis=-1)
    return mean


def _zeros(zero: Columns) -> tuple[Array, Array, Array, Array, Array]:
    """Return mean count, its time in us, scatter, standard uncertainty and degrees of freedom, each (S, zeros)."""
    counts = zero.counts.astype(float)
    distance = np.abs(counts - median_of_valid(counts, zero.valid)[..., None])
    sigma = MAD_TO_SIGMA * median_of_valid(distance, zero.valid)
    keep = zero.valid & (distance <= REJECT_SIGMAS * sigma[..., None])
    mean = _masked_mean(counts, keep)
    square = _masked_mean((counts - mean[..., None]) ** 2, keep)
    number = keep.sum(axis=-1)
    dof = np.maximum(number - 1.0, 1.0)
    scatter = np.sqrt(square * number / dof)
    return mean, _masked_mean(zero.tick_us.astype(float), keep), scatter, scatter / np.sqrt(number), dof


def rotation(runs: Sequence[RawRun], calibration: Calibration) -> tuple[Array, Array, Array]:
    """Return the nominal rotate steps per turn of each run and where its angles begin.

    Index marks fix the period to two steps over all their turns. Without them the roller's nominal value is the
    starting point of the fit, and angles begin at the first reading of the zero before.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts, none of them empty.
    calibration : Calibration
        Calibration whose roller ratio is used where a run has fewer than three marks.

    Returns
    -------
    nominal : ndarray
        Rotate steps per turn, shape (S,).
    u_relative : ndarray
        Relative standard uncertainty of `nominal`, shape (S,).
    start : ndarray
        Rotate step at angle 0, shape (S,).
    """
    nominal = np.full(len(runs), calibration.rotation.steps_per_turn)
    u_relative = np.full(len(runs), calibration.rotation.u_relative)
    start = np.array([run.rotate_steps[_before_zero(run)] for run in runs], float)
    for i, run in enumerate(runs):
        if len(run.marks):
            start[i] = run.marks[0]
        covered = float(np.ptp(run.marks)) if len(run.marks) > 2 else 0.0
        if covered:
            turns = len(run.marks) - 1
            nominal[i] = covered / turns
            u_relative[i] = 2.0 / covered
    return nominal, u_relative, start


def _before_zero(run: RawRun) -> int:
    """Return the number of readings before the zero before, 0 if a run has none."""
    before = 0
    for phase, readings in run.segments:
        if phase == Phase.ZERO_BEFORE:
            return before
        before += readings
    return 0


def _zero_line(zero: Array, zero_us: Array, tick_us: Array) -> Array:
    """Return the zero at times of shape (S, ...), counts: a line between two zeros, or two pieces through three."""
    more = (slice(None), *(None,) * (tick_us.ndim - 1))

    def piece(start: int, end: int) -> Array:
        slope = (zero[:, end] - zero[:, start]) / (zero_us[:, end] - zero_us[:, start])
        line: Array = zero[:, start][more] + slope[more] * (tick_us - zero_us[:, start][more])
        return line

    if zero.shape[1] == len(ZEROS):
        return piece(0, 1)
    return np.where(tick_us < zero_us[:, MIDDLE][more], piece(0, MIDDLE), piece(MIDDLE, 1))


def _zero_shares(zero_us: Array, tick_us: Array) -> tuple[Array, Array]:
    """Return the weights of the zero after and of the zero in the middle at times of shape (S, depths)."""
    if zero_us.shape[1] == len(ZEROS):
        return (tick_us - zero_us[:, :1]) / (zero_us[:, 1:] - zero_us[:, :1]), np.zeros_like(tick_us)
    weights = np.eye(zero_us.shape[1])
    after, middle = (_zero_line(np.tile(row, (len(zero_us), 1)), zero_us, tick_us) for row in weights[1:])
    return after, middle


def _largest_change(zero: Array) -> Array:
    """Return the largest difference of neighbouring zeros, counts, shape (S,)."""
    in_order = zero if zero.shape[1] == len(ZEROS) else zero[:, [0, MIDDLE, 1]]
    result: Array = np.abs(np.diff(in_order, axis=1)).max(axis=1)
    return result


def _positions(runs: Sequence[RawRun], load: Columns, calibration: Calibration) -> tuple[Array, Filtering | None]:
    """Return rotate positions of loaded readings, steps, and how a filter acts on them; None if it is not undone."""
    if not is_filtered(runs[0], calibration):
        return load.steps.astype(float), None
    filters = filters_of(runs, calibration)
    middle = [middle_steps(run, delay_us) for run, delay_us in zip(runs, filters.delay_us.tolist(), strict=True)]
    steps = np.concatenate(middle).take(load.place)
    marked = np.array([len(run.marks) > 0 for run in runs])
    return steps, filtering(filters, load.steps, load.tick_us, load.valid, marked)


def calibrated(runs: Sequence[RawRun], zeros: Columns, load: Columns, calibration: Calibration) -> CalibratedReadings:
    """Return calibrated readings from the columns of the zeros and of the three depths of the same runs.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts, all of them alike in `zero_phases` and in `is_filtered`.
    zeros : Columns
        Their phases ZEROS, or those with a third in the middle.
    load : Columns
        Their phases DEPTHS.
    calibration : Calibration
        Scales of the gauge.

    Returns
    -------
    CalibratedReadings
        Forces, travel and angles.
    """
    zero, zero_us, scatter, u_zero, dof_zero = _zeros(zeros)
    rise = np.where(load.valid, load.counts - _zero_line(zero, zero_us, load.tick_us.astype(float)), 0.0)
    steps, turned = _positions(runs, load, calibration)
    nominal, u_nominal, start = rotation(runs, calibration)
    last = np.where(load.valid, steps, steps[:, :1, :1]).max(axis=(1, 2))
    origin = (steps[:, 0, 0] + last) / 2
    newtons = calibration.newtons_per_count(rise[:, 1].max(axis=-1))
    press = np.where(load.valid, load.press, 0).max(axis=-1).astype(float)
    after, middle = _zero_shares(zero_us, _masked_mean(load.tick_us.astype(float), load.valid))
    lasts_us = np.where(load.valid, load.tick_us, 0).max(axis=-1) - np.where(
        load.valid, load.tick_us, np.iinfo(np.int64).max
    ).min(axis=-1)
    return CalibratedReadings(
        Turns(np.where(load.valid, steps - origin[:, None, None], 0.0), calibration.force_n(rise), load.valid),
        calibration.travel_mm(press),
        origin - start,
        nominal,
        u_nominal,
        (zero[:, 1] - zero[:, 0]) * newtons,
        _largest_change(zero) * newtons,
        u_zero * newtons[:, None],
        dof_zero,
        after,
        middle,
        np.sqrt((scatter**2).mean(axis=1)) * newtons,
        lasts_us / (zero_us[:, 1] - zero_us[:, 0])[:, None],
        turned,
    )
