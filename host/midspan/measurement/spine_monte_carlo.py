"""The spine of one shaft by Monte Carlo: every input of its budget drawn, and converted by the exact elastica.

A second way to the uncertainty, without the budget's sensitivities: it shows what the linear model and the normal
distribution leave out (JCGM 101:2008). Needs the stored result only.
"""

import math

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import deflection_ratio, flexibility_between
from midspan.measurement.result import ShaftResult
from midspan.uncertainty.budget import PROBABILITY
from midspan.uncertainty.monte_carlo import Array, Draws, Summary, summary

TRIALS = 100_000
AT_ONCE = 100_000  # a limit on memory, not on trials


def spine_trials(result: ShaftResult, trials: int = TRIALS, seed: int = 1, probability: float = PROBABILITY) -> Summary:
    """Distribution of the mean spine in thou over so many trials; the same seed gives the same numbers."""
    rng = np.random.default_rng(seed)
    numbers = [min(AT_ONCE, trials - done) for done in range(0, trials, AT_ONCE)]
    return summary(np.concatenate([_spines(result, Draws(rng, number)) for number in numbers]), probability)


def _spines(result: ShaftResult, draws: Draws) -> Array:
    """Spines in thou [trials]. What the budget knows by its bounds is drawn as rectangular, all else as normal."""
    parts = {part.name: part for part in result.budget.contributions}

    def normal(name: str) -> Array:
        return draws.normal(parts[name].u_input, parts[name].dof)

    def rectangular(name: str) -> Array:
        return draws.rectangular(math.sqrt(3) * parts[name].u_input)

    scale, bent, before, after = (
        normal(name) for name in ("force scale", "force linearity", "zero before", "zero after")
    )
    forces = []
    for force, share in zip((result.light_load_n, result.load_n), result.zero_shares, strict=True):
        zero = (1 - share) * before + share * after + rectangular("zero drift")
        forces.append(force * (1 + scale) + bent * (force / STANDARD.load_n) ** 2 + zero)
    travel = result.travel_mm * (1 + normal("travel scale")) + _screw_factor(result) * normal("screw error")
    give, span = result.give_mm_per_n + normal("frame give"), result.span_mm + normal("span")
    low, high = _at_ends(result, forces[0], forces[1], travel - give * (forces[1] - forces[0]), span)
    mixed = (low + high) / 2 + draws.rectangular(0.5) * (high - low)
    return result.spine_thou - _of_estimates(result) + mixed + normal("scatter of the readings") + rectangular("shear")


def _of_estimates(result: ShaftResult) -> float:
    """Spine of the mean forces: the mean over the turn lies beside it, by the square of what is uneven."""
    light, full = np.array(result.light_load_n), np.array(result.load_n)
    bend = result.travel_mm - result.give_mm_per_n * (full - light)
    return float(np.mean(_at_ends(result, light, full, bend, np.array(result.span_mm))))


def _screw_factor(result: ShaftResult) -> float:
    """Millimetres of travel between the depths per millimetre of screw error, as the budget has it."""
    parts = {part.name: part for part in result.budget.contributions}
    per_mm = parts["travel scale"].sensitivity / result.travel_mm
    return parts["screw error"].sensitivity / per_mm


def _at_ends(result: ShaftResult, low_n: Array, high_n: Array, bend_mm: Array, span_mm: Array) -> tuple[Array, Array]:
    """Standard deflections in thou at both ends of the range of the supports."""
    group = STANDARD.load_n * (STANDARD.span_mm / span_mm) ** 2
    one, other = (
        STANDARD.span_mm / MM_PER_THOU
        * deflection_ratio(group * flexibility_between((low_n, high_n), bend_mm / span_mm, support), support)
        for support in result.vertical_share
    )  # fmt: skip
    return one, other
