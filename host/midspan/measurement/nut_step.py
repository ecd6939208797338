"""Find a nut that changes flank: while the head deepens, it stays behind by the nut's play.

The shaft pushes the head up, the harder the deeper. If the pull on the carriage lies between what it pushes at the
light and at the full depth, the load turns the nut over on the way, and the travel between the depths is too long by
the play: 10 um make a shaft of spine 500 softer by 0.43 thou, always, and nothing else in a result shows it.

The readings on that way do. The travel less what bends shaft and frame is the height of the surface, which stays, as
the shaft does not turn. It drifts smoothly with all that is only nearly right: compliance, friction at the supports,
the period of the screw, the delay of the converter's filter. A nut that turns over adds a step, smeared out over as
long as the filter remembers. Smooth terms, with what is known of them, and a step at each of many places in turn are
fitted to it by least squares.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from midspan.archive.raw_run import Phase, RawRun
from midspan.measurement import elastica
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import BOXCAR, Filters, filters_of, is_filtered
from midspan.measurement.harmonics import Array, Mask, median_of_valid

REMEMBERED = 8  # conversions after which a filter that was never calibrated has forgotten a change of the speed
BEFORE = 8  # readings before the way, for the position in the middle of its first readings
FEWEST = 16  # readings on the way; fewer do not tell a step from a curve
BINS = 32  # means of neighbours that the fit sees: a step is smeared out over four readings anyway
CLEAR = 4.5  # standard uncertainties; the highest of many places is compared
LEAST_MM = 0.005  # height of a step that counts
OUTLIER = 8.0  # standard deviations from the median of five neighbours; a spike or a repeated word lies further
LARGEST_GROUP = 4.0  # P L^2 / EI; a spike must not bend a shaft beyond the elastica's range
# What is known of the smooth terms, standard deviations. The screw's error may be without correction.
SCREW_MM = 0.004
CUBIC_MM = 0.003
DELAY_S = 3e-4
WIDTH_S2 = 1.5e-5  # half of the square of a filter's width; positions between ticks are off by as much while braking
PART_OF_STEP = 0.4  # what a speed that beats with the sampling leaves unknown of a position, microsteps


@dataclass(frozen=True)
class NutSteps:
    """Step of the head on its way to the full depth, for S shafts.

    Parameters
    ----------
    height_mm : ndarray
        Height of the most significant step, mm, positive where the head stayed behind, 0 where the readings cannot
        tell, shape (S,).
    u_mm : ndarray
        Its standard uncertainty, mm, infinite where the readings cannot tell, shape (S,).
    load_n : ndarray
        Force at the step, N, shape (S,).
    """

    height_mm: Array
    u_mm: Array
    load_n: Array

    @property
    def seen(self) -> Mask:
        """True where the step is beyond what a sound gauge shows, shape (S,)."""
        result: Mask = (self.height_mm > LEAST_MM) & (self.height_mm > CLEAR * self.u_mm)
        return result


@dataclass(frozen=True)
class _Way:
    """Readings on the way from the light to the full depth of S runs, each of shape (S, N).

    Times are in s from the first reading kept, positions in mm, forces in N.
    """

    time: Array
    head: Array
    force: Array
    used: Mask


@dataclass(frozen=True)
class _Means:
    """Means of neighbouring readings on the way, each of shape (S, BINS); `number` are the readings in each.

    `a` and `b` are beginning and end of the time that the readings were taken over, s; `first` and `last` the positions
    of the head then, `head` its mean, and `height` that of the surface, mm; `force` is in N.
    """

    number: Array
    a: Array
    b: Array
    first: Array
    last: Array
    head: Array
    force: Array
    height: Array


def nut_steps(runs: Sequence[RawRun], flexibility: Array, rest_scatter_n: Array, cal: Calibration) -> NutSteps:
    """Return the step of the head on the way to the full depth of S runs.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts.
    flexibility : ndarray
        L^2 / EI of each shaft as found from both depths, 1/N, shape (S,).
    rest_scatter_n : ndarray
        Standard deviation of a reading without contact, N, shape (S,).
    cal : Calibration
        Scales of the gauge.

    Returns
    -------
    NutSteps
        Heights with uncertainties; nothing is told of a run with few readings on the way, or whose converter's filter
        is not undone.

    References
    ----------
    C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), chapter 25: prior knowledge as added rows (from
    memory).
    """
    steps = NutSteps(np.zeros(len(runs)), np.full(len(runs), np.inf), np.zeros(len(runs)))
    told = [i for i, run in enumerate(runs) if _tells(run, cal)]
    if told:
        picked = [runs[i] for i in told]
        filters = filters_of(picked, cal)
        way = _way(picked, filters, cal)
        means, sd = _means(way, filters, flexibility[told], rest_scatter_n[told], cal)
        found = _fitted(means, sd, filters, cal)
        for whole, part in zip((steps.height_mm, steps.u_mm, steps.load_n), found, strict=True):
            whole[told] = part
    return steps


def nut_faults(
    runs: Sequence[RawRun], flexibility: Array, rest_scatter_n: Array, cal: Calibration
) -> list[tuple[str, ...]]:
    """Return for each run the reason to check the nut, an empty tuple if there is none.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts.
    flexibility : ndarray
        L^2 / EI of each shaft as found from both depths, 1/N, shape (S,).
    rest_scatter_n : ndarray
        Standard deviation of a reading without contact, N, shape (S,).
    cal : Calibration
        Scales of the gauge.

    Returns
    -------
    list of tuple of str
        At most a sentence for each run.
    """
    steps = nut_steps(runs, flexibility, rest_scatter_n, cal)
    rows = zip(steps.seen.tolist(), steps.height_mm.tolist(), steps.load_n.tolist(), strict=True)
    return [
        (f"the head stayed {height:.3f} mm behind at {load:.1f} N: the load turns the nut over, check what pulls it",)
        if seen
        else ()
        for seen, height, load in rows
    ]


def _tells(run: RawRun, cal: Calibration) -> bool:
    """Return True for a run with enough readings on the way and a filter that is known."""
    part = run.phase_slice(Phase.DEEPEN)
    return part is not None and part.stop - part.start >= FEWEST and is_filtered(run, cal)


def _way(runs: list[RawRun], filters: Filters, cal: Calibration) -> _Way:
    """Return the readings of runs on the way to the full depth, side by side, those at rest before it included."""
    places = [run.places() for run in runs]
    begin = np.array([place[Phase.DEEPEN].start for place in places])[:, None]
    end = np.array([place[Phase.DEEPEN].stop for place in places])[:, None]
    start = np.maximum(begin - BEFORE, 0)
    index = start + np.arange(int((end - start).max()))
    kept = np.minimum(index, end - 1) - start
    offset = np.cumsum(np.append(0, (end - start)[:-1]))[:, None]
    parts = [slice(*ends) for ends in zip(start[:, 0].tolist(), end[:, 0].tolist(), strict=True)]
    ticks, head, counts, turned = (
        np.concatenate([getattr(run, name)[part] for run, part in zip(runs, parts, strict=True)]).take(kept + offset)
        for name in ("tick_us", "press_steps", "counts", "rotate_steps")
    )
    at_rest = [run.counts[place[Phase.ZERO_BEFORE]] for run, place in zip(runs, places, strict=True)]
    zero = np.array([counts.sum() / len(counts) for counts in at_rest])
    # Beyond the end the head rests, as it does, while time goes on.
    time = 1e-6 * (ticks - ticks[:, :1]) + 1e-6 * filters.interval_us[:, None] * (index - start - kept)
    inside = (index >= begin) & (index < end)
    stands = np.where(turned == turned[:, -1:], time, np.inf).min(axis=1, keepdims=True)
    used = inside & (time - _since(filters)[0] >= stands)
    steady_mm, on = _steady(time, cal.travel_mm(head), inside, cal)
    if cal.filter is None:  # a delay that is not known does no harm while the speed is the same
        since = 1e-6 * REMEMBERED * filters.interval_us[:, None]
        begun, over = (np.where(on, time, far) for far in (np.inf, -np.inf))
        used &= (time >= begun.min(axis=1, keepdims=True) + since) & (time <= over.max(axis=1, keepdims=True))
    return _Way(time, steady_mm, cal.force_n(counts - zero[:, None]), used)


def _since(filters: Filters) -> tuple[Array, Array]:
    """Return the times from beginning and end of what a word is taken over to its tick, s, each of shape (S, 1)."""
    delay, half = 1e-6 * filters.delay_us[:, None], 1e-6 * BOXCAR / 2 * filters.width_us[:, None]
    return delay + half, delay - half


def _steady(time: Array, head: Array, inside: Mask, cal: Calibration) -> tuple[Array, Mask]:
    """Return positions with the line of the constant speed in place of those at which the head had it, and which.

    The board tells whole microsteps; a line through them tells the part of a step.
    """
    apart, way = np.diff(time, axis=1), np.diff(head, axis=1)
    speed = median_of_valid(way / apart, inside[:, 1:])[:, None]
    even = (np.abs(way - speed * apart) < 2 * cal.travel.mm_per_step) & inside[:, 1:]
    on = np.zeros_like(inside)
    on[:, 1:-1] = even[:, 1:] & even[:, :-1]
    number = np.maximum(on.sum(axis=1, keepdims=True), 1)
    at, place = (np.where(on, values, 0).sum(axis=1, keepdims=True) / number for values in (time, head))
    t, x = (np.where(on, values - mean, 0.0) for values, mean in ((time, at), (head, place)))
    slope = (t * x).sum(axis=1, keepdims=True) / np.maximum((t * t).sum(axis=1, keepdims=True), 1e-12)
    on &= number > BEFORE
    return np.where(on, place + slope * (time - at), head), on


def _means(way: _Way, filters: Filters, flexibility: Array, scatter_n: Array, cal: Calibration) -> tuple[_Means, Array]:
    """Return means of neighbouring readings, and the standard deviation of the height at a reading, mm, (S,)."""
    begin, end = _since(filters)
    a, b = way.time - begin, way.time - end
    (area_a, first), (area_b, last) = (_travelled(way, times) for times in (a, b))
    head = (area_b - area_a) / np.maximum(b - a, 1e-9)
    force = np.where(way.used, way.force, 0.0)
    group = np.clip(force * flexibility[:, None], 0.0, LARGEST_GROUP)
    bend = cal.span.span_mm * elastica.deflection_ratio(group, cal.span.vertical, cal.rim)
    height = head - cal.give_mm_per_n * force - bend
    at = way.used.argmax(axis=1)[:, None]
    ends = np.take_along_axis(head, at, axis=1), np.take_along_axis(force, at, axis=1)
    soft = (head[:, -1] - ends[0][:, 0]) / np.maximum(way.force[:, -1] - ends[1][:, 0], 0.1)
    sd = np.hypot(scatter_n * np.abs(soft), PART_OF_STEP / 2 * cal.travel.mm_per_step)
    kept = _without_spikes(height, way.used, sd)
    columns = (np.ones_like(a), a, b, first, last, head, force, height - np.take_along_axis(height, at, axis=1))
    sums = np.zeros((len(columns), len(a), a.shape[1] + 1))
    for column, sum_of in zip(columns, sums[..., 1:], strict=True):
        np.copyto(sum_of, column, where=kept)
        np.cumsum(sum_of, axis=1, out=sum_of)
    edges = np.rint(at + (way.used.sum(axis=1)[:, None]) * np.linspace(0.0, 1.0, BINS + 1)).astype(int)
    binned = np.diff(np.take_along_axis(sums, edges[None], axis=2), axis=2)
    number = binned[0]
    return _Means(number, *(binned[1:] / np.maximum(number, 1))), sd


def _travelled(way: _Way, times: Array) -> tuple[Array, Array]:
    """Return the time integral of the head's position up to some times, mm s, and the position then, mm."""
    time, head = way.time, way.head
    late = 2 * (time.max() + 1.0) * np.arange(len(time))[:, None]  # rows end to end: one search finds all
    apart = np.diff(time, axis=1, append=time[:, -1:] + 1.0)
    slope = np.diff(head, axis=1, append=head[:, -1:]) / apart
    area = np.zeros_like(time)
    area[:, 1:] = np.cumsum((head[:, 1:] + head[:, :-1]) / 2 * apart[:, :-1], axis=1)
    row = time.shape[1] * np.arange(len(time))[:, None]
    i = np.clip(np.searchsorted((time + late).ravel(), times + late) - 1, row, row + time.shape[1] - 1)
    past = times - time.take(i)
    there, climb = head.take(i), slope.take(i)
    return area.take(i) + past * (there + climb * past / 2), there + climb * past


def _without_spikes(height: Array, used: Mask, sd: Array) -> Mask:
    """Return the readings to use less those far from the median of five neighbours; a smeared step stays."""
    away = np.where(used, np.abs(height - _median_of_five(height)), 0.0)
    for end in (1, 2):  # there the neighbours are not all on the way
        away = np.where(np.roll(used, end, axis=1) & np.roll(used, -end, axis=1), away, 0.0)
    result: Mask = used & (away <= OUTLIER * sd[:, None])
    return result


def _median_of_five(rows: Array) -> Array:
    """Return the median of each value and of two neighbours on either side; rows go on at their other end."""
    a, b, c, d = (np.roll(rows, places, axis=1) for places in (-2, -1, 1, 2))
    # Neither the least nor the greatest of four can be the median of five.
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    result: Array = np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), rows))
    return result


def _fitted(means: _Means, sd: Array, filters: Filters, cal: Calibration) -> tuple[Array, ...]:
    """Return height of the most significant step, its standard uncertainty, and the force there, each (S,)."""
    smooth, information = _smooth(means, filters, cal)
    weight = np.sqrt(means.number) / sd[:, None]
    smooth = smooth * weight[..., None]
    steps = _step_columns(means) * weight[..., None]
    target = means.height * weight
    across = np.swapaxes(smooth, 1, 2)
    normal = across @ smooth + information[..., None] * np.eye(smooth.shape[-1])
    sides = across @ np.concatenate([steps, target[..., None]], axis=2)
    solved = np.linalg.solve(normal, sides)
    sharp = np.maximum((steps * steps).sum(axis=1) - (sides[..., :-1] * solved[..., :-1]).sum(axis=1), 1e-9)
    pull = ((target[:, None, :] @ steps) - np.swapaxes(solved[..., -1:], 1, 2) @ sides[..., :-1])[:, 0]
    height = pull / sharp
    # A nut that is held shows no step, a nut that turns over a step of this sign only.
    best = np.argmax(height * np.abs(pull), axis=1)[:, None]
    height, sharp, load = (np.take_along_axis(values, best, axis=1)[:, 0] for values in (height, sharp, means.force))
    rest = (target * target).sum(axis=1) - (sides[..., -1] * solved[..., -1]).sum(axis=1) - height**2 * sharp
    spare = np.maximum((means.number > 0).sum(axis=1) - smooth.shape[-1] - 2, 1)
    u = np.sqrt(np.maximum(rest / spare, 1.0) / sharp)
    return height, np.hypot(u, PART_OF_STEP * cal.travel.mm_per_step), load


def _smooth(means: _Means, filters: Filters, cal: Calibration) -> tuple[Array, Array]:
    """Return the smooth terms, shape (S, BINS, terms), and what is known of each, as information (S, terms)."""
    took = np.maximum(means.b - means.a, 1e-6)
    speed = (means.last - means.first) / took
    bent = 1.5 * (means.first + means.last - 2 * means.head) / (took / 2) ** 2
    share = means.force / np.maximum(means.force.max(axis=1, keepdims=True), 0.1)
    turn = 2 * np.pi * means.head / (cal.travel.mm_per_step * cal.travel.steps_per_screw_turn)
    columns = [np.ones_like(share), share, share**2, share**3, np.cos(turn), np.sin(turn), speed, bent]
    free, same = np.full(len(share), np.inf), np.ones(len(share))
    screw = max(SCREW_MM, cal.travel.u_screw_mm) * same
    delay = np.hypot(DELAY_S, 1e-6 * filters.u_delay_us)
    width = np.hypot(WIDTH_S2, 1e-12 * filters.width_us * filters.u_width_us)
    known = np.stack([free, free, free, CUBIC_MM * same, screw, screw, delay, width], axis=-1)
    return np.stack(columns, axis=-1), known**-2 + 1e-9


def _step_columns(means: _Means) -> Array:
    """Return the share of each bin that lies after each place where a step is tried, shape (S, BINS, BINS)."""
    took = np.maximum(means.b - means.a, 1e-6)
    moment = (means.a + means.b) / 2
    since = (means.b[..., None] - moment[:, None, :]) / took[..., None]
    return np.clip(since, 0.0, 1.0) * (means.number > 0)[:, None, :]
