"""How much of the readings' information reaches the result: variance against the Cramer-Rao bound.

The bound comes from the paper gauge's own forward model: the derivatives of every expected reading by every
unknown (spine; both parts of spread, bow and ovality; surface height, period, hysteresis, both zeros, and a
slope of creep at each depth, which no one can tell from a drift of the zero), the Fisher information of white
noise, its inverse, carried to the reported quantity (S. M. Kay, Fundamentals of Statistical Signal Processing:
Estimation Theory, 1993, sections 3.7 to 3.9).

An efficiency above 1 is no mistake: the bound allows for creep, which the fit of the harmonics does not. Without it
the bound's variance is lower by 4 % for the spread and 6 % for the stiff side.
"""

from dataclasses import replace

import numpy as np
from midspan.measurement.result import evaluate
from synthetic import COUNTS_PER_N, Gauge, Shaft, paper_calibration, raw_run

from bench.figure import at_least, plainly

NOISE_G = (0.02, 0.042, 0.2)
TRIALS = 4000
TRUE = Shaft(spine_thou=500.0, spread_thou=4.0, stiff_side_deg=35.0, bow_mm=0.08, bow_deg=200.0)


class _Silent:
    """A generator of zeros for noise, to get expected readings."""

    def normal(self, _mean, _sigma, size):
        return np.zeros(size)

    def random(self, size):
        return np.ones(size)


def _expected(values):
    """Return expected readings in N of (spine; spread, bow, ovality: cos, sin; height, slip, hysteresis, zeros)."""
    spine, c2, s2, c1, s1, oval_c, oval_s, height, slip, hysteresis, zero0, zero1, *creep = values
    shaft = replace(
        TRUE,
        spine_thou=spine,
        spread_thou=float(np.hypot(c2, s2)),
        stiff_side_deg=float(np.degrees(np.arctan2(s2, c2)) / 2 % 180),
        bow_mm=float(np.hypot(c1, s1)),
        bow_deg=float(np.degrees(np.arctan2(s1, c1))),
        hysteresis=hysteresis,
    )
    gauge = Gauge(
        slip=slip, height_mm=height, oval_mm=(oval_c, oval_s), counts_per_n=COUNTS_PER_N * 1e4
    )  # fine counts: rounding must not show
    run = raw_run(shaft, gauge, _Silent(), depth_thou=TRUE.spine_thou)
    force = (run.counts - 84_000) / gauge.counts_per_n
    first = run.segments[0][1]
    for (_, number), slope in zip(run.segments[1:4], creep, strict=True):
        force[first : first + number] += slope * np.linspace(-1, 1, number)
        first += number
    return force + np.linspace(zero0, zero1, len(force))


def bounds(sigma_n):
    """Return standard deviations that no unbiased estimator can beat: spine, spread (thou), stiff side (degrees)."""
    double = np.radians(2 * TRUE.stiff_side_deg)
    bow = np.radians(TRUE.bow_deg)
    spread, bow_mm = TRUE.spread_thou, TRUE.bow_mm
    waves = (spread * np.cos(double), spread * np.sin(double), bow_mm * np.cos(bow), bow_mm * np.sin(bow), 0.0, 0.0)
    at = np.array([TRUE.spine_thou, *waves, 0.0, 0.003, *np.zeros(6)])
    steps = np.array([0.5, 0.1, 0.1, 0.01, 0.01, 0.01, 0.01, 0.01, 1e-5, *np.full(6, 1e-3)])
    jacobian = np.stack(
        [(_expected(at + step) - _expected(at - step)) / (2 * step.sum()) for step in np.diag(steps)], axis=1
    )
    covariance = np.linalg.inv(jacobian.T @ jacobian) * sigma_n**2
    along = np.array([np.cos(double), np.sin(double)])
    across = np.array([-np.sin(double), np.cos(double)])
    block = covariance[1:3, 1:3]
    side = np.degrees(np.sqrt(across @ block @ across) / TRUE.spread_thou / 2)
    return np.sqrt(covariance[0, 0]), np.sqrt(along @ block @ along), side


def figures(_):
    """Return the efficiency, the squared ratio of bound and scatter, of three quantities at three noise levels."""
    calibration = paper_calibration()  # it knows, as the bound does, that the shaft slips alike at all depths
    rows = []
    for seed, noise_g in enumerate(NOISE_G):
        sigma_n = noise_g * 9.80665e-3
        random = np.random.default_rng(seed)
        runs = [raw_run(TRUE, Gauge(noise_n=sigma_n), random) for _ in range(TRIALS)]
        found = np.array([(r.spine_thou, r.spread_thou, r.stiff_side_deg) for r in evaluate(runs, calibration)])
        for name, limit, values in zip(("mean spine", "spread", "stiff side"), bounds(sigma_n), found.T, strict=True):
            ratio = float((limit / values.std(ddof=1)) ** 2)
            rows.append(at_least(f"efficiency of {name}, noise {noise_g} g", ratio, "", 0.9))
        rows.append(plainly(f"repeatability of mean spine, noise {noise_g} g", float(found[:, 0].std(ddof=1)), "thou"))
    rows.append(plainly("standard error of an efficiency at this number of trials", float(np.sqrt(2 / TRIALS)), ""))
    return rows
