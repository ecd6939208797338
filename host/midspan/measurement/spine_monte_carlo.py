"""The spine of one shaft by Monte Carlo: every input of its budget is drawn, and converted by the exact elastica.

This second evaluation of the uncertainty does not use the budget's sensitivities. It shows what the linear model and
the normal distribution leave out (JCGM 101:2008). It needs the stored result only.
"""

import math

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import deflection_ratio, flexibility_between
from midspan.measurement.result import ShaftResult
from midspan.uncertainty.budget import PROBABILITY
from midspan.uncertainty.monte_carlo import Array, Draws, Summary, summary

TRIALS = 100_000
AT_ONCE = 100_000  # trials in memory at a time


def spine_trials(result: ShaftResult, trials: int = TRIALS, seed: int = 1, probability: float = PROBABILITY) -> Summary:
    """Return the distribution of the mean spine over Monte Carlo trials; the same seed gives the same numbers.

    Parameters
    ----------
    result : ShaftResult
        Result whose budget is drawn.
    trials : int
        Number of trials, above 0.
    seed : int
        Seed of the random numbers.
    probability : float
        Coverage probability of the interval, 0 to 1.

    Returns
    -------
    Summary
        Mean, standard deviation and coverage interval, thou.

    References
    ----------
    JCGM 101:2008, propagation of distributions using a Monte Carlo method.
    """
    rng = np.random.default_rng(seed)
    numbers = [min(AT_ONCE, trials - done) for done in range(0, trials, AT_ONCE)]
    return summary(np.concatenate([_spines(result, Draws(rng, number)) for number in numbers]), probability)


def _spines(result: ShaftResult, draws: Draws) -> Array:
    """Return spines, thou (trials,); causes known by their bounds are drawn as rectangular, all others as normal."""
    parts = {part.name: part for part in result.budget.contributions}

    def normal(name: str) -> Array:
        return draws.normal(parts[name].u_input, parts[name].dof)

    def rectangular(name: str) -> Array:
        return draws.rectangular(math.sqrt(3) * parts[name].u_input)

    scale, bent, before, after = (
        normal(name) for name in ("force scale", "force linearity", "zero before", "zero after")
    )
    forces = []
    for force, share, rest in zip((result.light_load_n, result.load_n), *_zero_weights(result), strict=True):
        zero = rest * before + share * after + rectangular("zero drift")
        forces.append(force * (1 + scale) + bent * (force / STANDARD.load_n) ** 2 + zero)
    travel = result.travel_mm * (1 + normal("travel scale")) + _screw_factor(result) * normal("screw error")
    give, span = result.give_mm_per_n + normal("frame give"), result.span_mm + normal("span")
    low, high = _at_ends(result, forces[0], forces[1], travel - give * (forces[1] - forces[0]), span)
    mixed = (low + high) / 2 + draws.rectangular(0.5) * (high - low)
    return result.spine_thou - _of_estimates(result) + mixed + normal("scatter of the readings") + rectangular("shear")


def _zero_weights(result: ShaftResult) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the weights of the zeros after and before at both depths; a zero in the middle counts with the drift."""
    after, before = result.zero_shares[:2], result.zero_shares[2:]
    return after, before or tuple(1 - share for share in after)


def _of_estimates(result: ShaftResult) -> float:
    """Return the spine of the mean forces, thou; the mean over the turn differs by the square of the unevenness."""
    light, full = np.array(result.light_load_n), np.array(result.load_n)
    bend = result.travel_mm - result.give_mm_per_n * (full - light)
    return float(np.mean(_at_ends(result, light, full, bend, np.array(result.span_mm))))


def _screw_factor(result: ShaftResult) -> float:
    """Return millimetres of travel between the depths per millimetre of screw error, as in the budget."""
    parts = {part.name: part for part in result.budget.contributions}
    per_mm = parts["travel scale"].sensitivity / result.travel_mm
    return parts["screw error"].sensitivity / per_mm


def _at_ends(result: ShaftResult, low_n: Array, high_n: Array, bend_mm: Array, span_mm: Array) -> tuple[Array, Array]:
    """Return the standard deflections, thou, at both ends of the range of the supports."""
    group = STANDARD.load_n * (STANDARD.span_mm / span_mm) ** 2
    lowest, highest = (
        STANDARD.span_mm / MM_PER_THOU
        * deflection_ratio(group * flexibility_between((low_n, high_n), bend_mm / span_mm, support), support)
        for support in result.vertical_share
    )  # fmt: skip
    return lowest, highest
