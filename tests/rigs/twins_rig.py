"""Invented stocks of shafts with their truth, and a gauge's coefficients of them without any of the host's code.

The gauge repeats as the demonstration's does: 0.0011 thou in spine, 0.0026 thou and 0.000044 mm in the parts of
evenness and bow, at spine 500. Shafts are put in at any clock angle and either end first. The stocks differ in how
alike their shafts are; that matched shafts of one lot lie within half a thou of spine is common practice, no source.
"""

import math

import numpy as np

SPINE_SD, UNEVEN_SD, BOW_SD = 0.0011, 0.0026, 4.4e-5


def matched(rng, n):
    """Return shafts of one size, matched within half a thou (standard deviation)."""
    return rng.normal(500, 0.5, n), abs(rng.normal(1.1, 0.6, n)), abs(rng.normal(0.05, 0.03, n)), _any_angle(rng, n)


def mixed(rng, n):
    """Return shafts of three sizes."""
    spine = rng.choice([340, 400, 500], n) + rng.normal(0, 3, n)
    return spine, abs(rng.normal(1.1, 0.6, n)), abs(rng.normal(0.05, 0.03, n)), _any_angle(rng, n)


def lots(rng, n):
    """Return lots of two hundred that are narrow in everything, the angle between bow and stiff side included."""
    lot, many = rng.integers(0, max(1, n // 200), n), max(1, n // 200)
    spine = rng.normal(500, 4, many)[lot] + rng.normal(0, 0.3, n)
    uneven = rng.uniform(0.3, 2, many)[lot] + abs(rng.normal(0, 0.2, n))
    bow = abs(rng.normal(0.03, 0.03, many)[lot] + rng.normal(0, 0.01, n))
    return spine, uneven, bow, rng.uniform(0, 6, many)[lot] + rng.normal(0, 0.3, n)


def bound(rng, n):
    """Return shafts with one common cause: soft shafts are uneven and bowed, and the bow lies by the stiff side."""
    cause = rng.normal(0, 1, n)
    uneven, bow = abs(1 + 0.4 * cause + rng.normal(0, 0.1, n)), abs(0.05 + 0.02 * cause + rng.normal(0, 0.005, n))
    return 500 + cause + rng.normal(0, 0.1, n), uneven, bow, rng.normal(0, 0.15, n)


def even(rng, n):
    """Return shafts that are mostly even and straight, with the bow along the stiff side or across it."""
    between = rng.choice([0, math.pi], n) + rng.normal(0, 0.2, n)
    return rng.normal(500, 1, n), rng.exponential(0.5, n), rng.exponential(0.03, n), between


def _any_angle(rng, n):
    """Return angles between 0 and a full turn."""
    return rng.uniform(0, 2 * math.pi, n)


def coefficients(stock, rng, noise=1.0):
    """Return curve and surface, shape (shafts, 7), of shafts put in at any angle.

    `noise` multiplies the gauge's scatter.
    """
    spine, uneven, bow, between = stock
    n, scale = len(spine), noise * spine / 500
    turn, end = rng.uniform(0, 2 * math.pi, n), rng.choice([-1, 1], n)

    def scatter(sd):
        return (rng.normal(0, sd, n) + 1j * rng.normal(0, sd, n)) * scale

    twice = uneven * np.exp(1j * end * (between + 2 * turn)) + scatter(UNEVEN_SD)
    once = bow * np.exp(1j * end * turn) + scatter(BOW_SD)
    curve, surface = np.zeros((n, 7)), np.zeros((n, 7))
    curve[:, 0] = spine + rng.normal(0, SPINE_SD, n) * scale
    curve[:, 3], curve[:, 4], surface[:, 1], surface[:, 2] = twice.real, twice.imag, once.real, once.imag
    return curve, surface
