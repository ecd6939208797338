"""A maker's batch of invented shafts, and what gauges say of them, without any of the host's code.

Numbers of the batch are common practice, no source: carbon shafts of one size, spine 500 with a standard deviation of 3
thou, evenness some thou, bow some hundredths of a millimetre, a little ovality. A mounting lays the shaft in at any
angle, either end first, and some millimetres elsewhere, so that spine, evenness and bow come out a little other. A
gauge adds the noise of its readings and, by its calibration, an error common to all its shafts and one of its supports
for each mounting. `EXAMPLE` states what the evaluation states of such a shaft under the example calibration
(`tests/sets/test_recognise.py` holds it against full evaluations).
"""

from dataclasses import dataclass

import numpy as np
from midspan.sets.fingerprint import Uncertain, fingerprints, repeats_of

SPINE, SPINE_SD = 500.0, 3.0
# Of mountings: relative for the spine, thou for the curve, mm for the surface.
LAID_ELSEWHERE = (2e-5, 0.01, 3e-4)
OF_READINGS = (0.003, 0.003, 4e-5)


@dataclass(frozen=True)
class Stated:
    """Standard uncertainties that results state, of spine and of each part of curve and surface by order."""

    spine_thou: float = 0.31
    curve_thou: tuple[float, float, float] = (0.031, 0.015, 0.010)
    surface_mm: tuple[float, float, float] = (4.5e-4, 1.9e-4, 1.2e-4)


EXAMPLE = Stated()


def drawn_batch(rng, n):
    """Return spine (n,), and complex waves of curve and surface (n, 3) of orders 1 to 3 in thou and mm."""
    spine = rng.normal(SPINE, SPINE_SD, n)
    curve, surface = np.zeros((2, n, 3), complex)
    curve[:, 1] = _any_way(rng, abs(rng.normal(1.1, 0.6, n)))
    surface[:, 0] = _any_way(rng, abs(rng.normal(0.05, 0.03, n)))
    surface[:, 1] = _any_way(rng, abs(rng.normal(0, 0.005, n)))
    return spine, curve, surface


def _any_way(rng, amplitude):
    """Return waves of these amplitudes at any angle."""
    return amplitude * np.exp(2j * np.pi * rng.random(len(amplitude)))


def _scatter(rng, shape, sd):
    """Return complex numbers whose parts scatter by a standard deviation."""
    return rng.normal(0, sd, shape) + 1j * rng.normal(0, sd, shape)


def drawn_errors(rng, n, stated=EXAMPLE):
    """Return what n gauges have wrong alike on all their shafts: the relative error of spine."""
    return rng.normal(0, stated.spine_thou / SPINE, n)


def measured(batch, rng, error=0.0, stated=EXAMPLE, supports=False, moved=LAID_ELSEWHERE):
    """Return fingerprints as a gauge with this error, or a gauge each, measures them; `supports` adds what these do."""
    spine, curve, surface = batch
    n = len(spine)
    turn, end = rng.uniform(0, 2 * np.pi, n), rng.random(n) < 0.5
    turned = [part * np.exp(1j * np.outer(turn, [1, 2, 3])) for part in (curve, surface)]
    curve, surface = (np.where(end[:, None], part.conj(), part) for part in turned)
    spine = spine * (1 + error + rng.normal(0, moved[0], n)) + rng.normal(0, OF_READINGS[0], n)
    for part, sd in ((curve, moved[1]), (surface, moved[2])):
        part += _scatter(rng, part.shape, sd)
    curve *= np.reshape(1 + np.asarray(error), (-1, 1))
    for part, sd, own in ((curve, OF_READINGS[1], stated.curve_thou), (surface, OF_READINGS[2], stated.surface_mm)):
        part += _scatter(rng, part.shape, sd)
        if supports:
            part += _scatter(rng, part.shape, np.array(own))
    return fingerprints(_columns(curve, spine), _columns(surface, np.zeros(n)), as_stated(n, stated))


def as_stated(n, stated=EXAMPLE):
    """Return the uncertainties of n results."""
    each = np.full(n, 1.0)
    curve, surface = (
        np.tile([mean, *np.repeat(parts, 2)], (n, 1))
        for mean, parts in ((OF_READINGS[0], stated.curve_thou), (OF_READINGS[2], stated.surface_mm))
    )
    spread, runout = each * 2 * stated.curve_thou[1], each * 2 * stated.surface_mm[0]
    return Uncertain(curve, surface, each * stated.spine_thou, spread, runout)


def _columns(waves, mean):
    """Return harmonic coefficients (n, 7)."""
    parts = np.stack([waves.real, waves.imag], axis=2).reshape(len(waves), -1)
    return np.column_stack([mean, parts])


def mounted_again(batch, rng, times=50, shafts=20):
    """Return how well mountings repeat, from some shafts of a batch laid in again and again."""
    some = [tuple(part[[i] * times] for part in batch) for i in range(shafts)]
    return repeats_of([measured(each, rng).traits for each in some])


def part_of(batch, first, end):
    """Return some shafts of a batch."""
    return tuple(part[first:end] for part in batch)
