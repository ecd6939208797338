"""The plain way to the same results: fastavro per record, numpy.linalg.lstsq per shaft and depth.

What a careful person would write, with the same robust rule, the same shared period and the same joining of the
depths, but neither uncertainty nor verdict. It is the yardstick for throughput and, since it shares no fitting
code with the library, a check of its results.
"""

import fastavro
import numpy as np
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import deflection_ratio, flexibility_between

UNFIT = 7
LIGHT, FULL, AGAIN, ZERO_BEFORE, ZERO_AFTER = 2, 4, 6, 0, 8


def results(path, cal):
    """Return (shaft, spine, spread, stiff side, runout, hysteresis) of every run of an archive, in order."""
    with path.open("rb") as file:
        for record in fastavro.reader(file):
            yield _one(record, cal)


def _one(record, cal):
    counts, steps, press, tick, status = _columns(record)
    place, first = {}, 0
    for segment in record["segments"]:
        place[segment["phase"]] = slice(first, first + segment["readings"])
        first += segment["readings"]
    zeros = [_zero(counts[place[p]], tick[place[p]], status[place[p]]) for p in (ZERO_BEFORE, ZERO_AFTER)]
    slope = (zeros[1][0] - zeros[0][0]) / (zeros[1][1] - zeros[0][1])
    depths = []
    for phase in (LIGHT, FULL, AGAIN):
        good = (status[place[phase]] & UNFIT) == 0
        zero = zeros[0][0] + slope * (tick[place[phase]] - zeros[0][1])
        force = cal.force_n(counts[place[phase]] - zero)
        depths.append((steps[place[phase]][good].astype(float), force[good], press[place[phase]][good][-1]))
    return (record["shaft"], *_convert(depths, steps[0], record.get("temperature_centi"), cal))


def _columns(record):
    tick = np.cumsum(np.array(record["lateness_us"]) + record["interval_us"]) - record["interval_us"]
    status = np.zeros(len(tick), int)
    for entry in record["unusual"]:
        status[entry["reading"]] = entry["status"]
    counts, steps, press = (np.cumsum(record[name]) for name in ("counts", "rotate_steps", "press_steps"))
    return counts, steps, press, tick, status


def _zero(counts, tick, status):
    good = (status & UNFIT) == 0
    counts, tick = counts[good], tick[good]
    away = np.abs(counts - np.median(counts))
    near = away <= 5 * 1.4826 * np.median(away)
    return counts[near].mean(), tick[near].mean()


def _design(angle):
    return np.column_stack([np.ones_like(angle), *(f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin))])


def _fit(depths, cal):
    """Return coefficients of each depth and steps per turn: Gauss-Newton on the period, least squares on the rest."""
    log_nominal = log_period = np.log(cal.rotation.steps_per_turn)
    origin = (depths[0][0][0] + max(d[0].max() for d in depths)) / 2
    keep = [np.ones(len(d[0]), bool) for d in depths]
    while True:
        pull = (log_nominal - log_period) / cal.rotation.u_relative**2
        weight = cal.rotation.u_relative**-2
        fits, next_keep, reach, noise = [], [], 0.0, []
        for (steps, force, _), kept in zip(depths, keep, strict=True):
            angle = 2 * np.pi * np.exp(-log_period) * (steps - origin)
            design = _design(angle)
            coefficients = np.linalg.lstsq(design[kept], force[kept], rcond=None)[0]
            residual = force - design @ coefficients
            derivative = np.zeros(7)
            order = np.array([1, 2, 3])
            derivative[1::2], derivative[2::2] = coefficients[2::2] * order, -coefficients[1::2] * order
            tangent = -angle * (design @ derivative)
            shared = np.linalg.lstsq(design[kept], tangent[kept], rcond=None)[0]
            free = (tangent - design @ shared)[kept]
            variance = residual[kept] @ residual[kept] / (kept.sum() - 7)
            pull += free @ residual[kept] / variance
            weight += free @ free / variance
            away = np.abs(residual)
            next_keep.append(away <= 5 * 1.4826 * np.median(away))
            fits.append((coefficients, shared))
            noise.append(np.linalg.inv(design[kept].T @ design[kept]) * variance)
            reach = max(reach, np.abs(angle).max())
        step = pull / weight
        log_period += step
        same = all((a == b).all() for a, b in zip(keep, next_keep, strict=True))
        keep = next_keep
        if same and abs(step) * reach < 5e-3:
            means = [c - s * step for c, s in fits]
            return _joined(means, noise, [-s for _, s in fits], np.exp(log_period), weight, origin)


def _joined(means, noise, gradients, period, weight, origin):
    """Return what the depths share: the phase of the bow, and the pattern at both visits to the light depth."""
    phase, slope, trust = [], [], []
    for mean, cov, gradient in zip(means, noise, gradients, strict=True):
        c, s = mean[1:3]
        square = c * c + s * s
        across = s * s * cov[1, 1] - 2 * s * c * cov[1, 2] + c * c * cov[2, 2]
        phase.append(np.arctan2(s, c))
        slope.append((c * gradient[2] - s * gradient[1]) / square)
        trust.append(square**2 / across if square > 13.8 * (cov[1, 1] + cov[2, 2]) / 2 else 0.0)
    apart = np.angle(np.exp(1j * (np.array(phase) - phase[1])))
    slope, trust = np.array(slope), np.array(trust)
    if trust.sum():
        apart, slope = apart - np.average(apart, weights=trust), slope - np.average(slope, weights=trust)
    change = -(trust * slope * apart).sum() / ((trust * slope**2).sum() + weight)
    if (trust * (apart + slope * change) ** 2).sum() + weight * change**2 < 13.8:
        means, period = [m + g * change for m, g in zip(means, gradients, strict=True)], period * np.exp(change)
    scale = means[0][0] / means[2][0]
    first, second = means[0][1:], means[2][1:] * scale
    own, other = np.diag(noise[0])[1:], np.diag(noise[2])[1:] * scale**2
    if ((first - second) ** 2 / (own + other)).sum() < 22.5:
        share = own.sum() / (own.sum() + other.sum())
        means[0] = np.concatenate([means[0][:1], (1 - share) * first + share * second])
    return means, period, origin


def _convert(depths, start, temperature_centi, cal):
    fits, period, origin = _fit(depths, cal)
    grid = np.arange(24) * (2 * np.pi / 24)
    design = _design(grid)
    design[:, 5:] = 0.0  # the yardstick's shafts have no third order that stands above the noise
    low, high = design @ fits[0], design @ fits[1]
    z_low, z_high = (float(cal.travel_mm(np.array(d[2], float))) for d in depths[:2])
    warmer = 0.0 if temperature_centi is None else temperature_centi / 100 - cal.calibration.temperature_c
    z_low, z_high = (z * (1 + cal.travel.expansion_per_k * warmer) for z in (z_low, z_high))
    span, supports = cal.span.span_mm * (1 + cal.span.expansion_per_k * warmer), cal.span.vertical
    give, rim = cal.frame.give_mm_per_n + cal.span.sink_mm_per_n, cal.span.rim_mm / cal.span.span_mm
    y = flexibility_between((low, high), (z_high - z_low - give * (high - low)) / span, supports, rim)
    group = STANDARD.load_n * (STANDARD.span_mm / span) ** 2 * y
    thou = deflection_ratio(group) * STANDARD.span_mm / MM_PER_THOU
    depth = z_low - give * low - span * deflection_ratio(low * y, supports, rim)
    wave = (thou @ np.exp(2j * grid)) * 2 / len(grid)
    bow = (-depth @ np.exp(1j * grid)) * 2 / len(grid)
    stiff = (np.angle(wave) + np.pi) / 2 + 2 * np.pi * (origin - start) / period
    hysteresis = 100 * (fits[0][0] - fits[2][0]) / fits[0][0]
    return thou.mean(), 2 * abs(wave), np.degrees(stiff) % 180, 2 * abs(bow), hysteresis
