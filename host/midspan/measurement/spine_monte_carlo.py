"""The spine of one shaft by Monte Carlo: every input of its budget is drawn, and converted by the exact elastica.

This second evaluation of the uncertainty does not use the budget's sensitivities. It shows what the linear model and
the normal distribution leave out (JCGM 101:2008). It needs the stored result only.
"""

import math
from dataclasses import dataclass

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import (
    deflection_ratio,
    flexibility_between,
    ratio_by_friction,
    ratio_over_rims,
)
from midspan.measurement.result import ShaftResult
from midspan.uncertainty.budget import PROBABILITY
from midspan.uncertainty.monte_carlo import Array, Draws, Summary, summary

TRIALS = 100_000
ROUNDS = 2  # rims and friction change the deflection by 1 %; each round leaves a hundredth of the error
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
    """Return spines, thou (trials,); causes known by their bounds are drawn as rectangular, all others as normal.

    Of a head off midspan and a leaning press the distance and the angle are rectangular: their errors go with the
    square, and have one sign.
    """
    parts = {part.name: part for part in result.budget.contributions}

    def normal(name: str) -> Array:
        return draws.normal(parts[name].u_input, parts[name].dof)

    def rectangular(name: str) -> Array:
        return draws.rectangular(math.sqrt(3) * parts[name].u_input)

    def squared(name: str) -> Array:
        return math.sqrt(5) * parts[name].u_input * draws.rectangular(1.0) ** 2

    scale, bent, before, after = (
        normal(name) for name in ("force scale", "force linearity", "zero before", "zero after")
    )
    forces = []
    for force, share, rest in zip((result.light_load_n, result.load_n), *_zero_weights(result), strict=True):
        zero = rest * before + share * after + rectangular("zero drift")
        forces.append(force * (1 + scale) + bent * (force / STANDARD.load_n) ** 2 + zero)
    travel = result.travel_mm * (1 + normal("travel scale")) * (1 - squared("press tilt"))
    travel = travel + _screw_factor(result) * normal("screw error") + normal("roller runout")
    give = _give(result) + normal("frame give") + normal("sinking")
    bend = (travel - give * (forces[1] - forces[0])) / (1 - squared("head off midspan"))
    held = _Held(result.span_mm + normal("span"), result.rim_mm + normal("rim radius"), normal("axial friction"))
    low, high = _at_ends(result, (forces[0], forces[1]), bend, held)
    mixed = (low + high) / 2 + draws.rectangular(0.5) * (high - low)
    warm = normal("temperature") if result.temperature_c is not None else rectangular("temperature")
    added = [normal("scatter of the readings"), rectangular("shear"), rectangular("creep")]
    by_warmth: Array = warm * parts["temperature"].sensitivity
    return sum(added, result.spine_thou - _of_estimates(result) + mixed + by_warmth)


@dataclass(frozen=True)
class _Held:
    """Supports of each trial: span and height of the axis above the rims' centres, mm, and friction along the shaft."""

    span_mm: Array
    rim_mm: Array
    friction: Array


def _zero_weights(result: ShaftResult) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the weights of the zeros after and before at both depths; a zero in the middle counts with the drift."""
    after, before = result.zero_shares[:2], result.zero_shares[2:]
    return after, before or tuple(1 - share for share in after)


def _give(result: ShaftResult) -> float:
    """Return the compliance of frame, cell and the shaft's walls, mm per N."""
    return result.give_mm_per_n + result.sink_mm_per_n


def _of_estimates(result: ShaftResult) -> float:
    """Return the spine of the mean forces, thou; the mean over the turn differs by the square of the unevenness."""
    light, full = np.array(result.light_load_n), np.array(result.load_n)
    bend = result.travel_mm - _give(result) * (full - light)
    held = _Held(np.array(result.span_mm), np.array(result.rim_mm), np.array(0.0))
    return float(np.mean(_at_ends(result, (light, full), bend, held)))


def _screw_factor(result: ShaftResult) -> float:
    """Return millimetres of travel between the depths per millimetre of screw error, as in the budget."""
    parts = {part.name: part for part in result.budget.contributions}
    per_mm = parts["travel scale"].sensitivity / result.travel_mm
    return parts["screw error"].sensitivity / per_mm


def _at_ends(result: ShaftResult, loads_n: tuple[Array, Array], bend_mm: Array, held: _Held) -> tuple[Array, Array]:
    """Return the deflections under the reference condition, thou, for both ends of the range of the supports."""
    group = STANDARD.load_n * (STANDARD.span_mm / held.span_mm) ** 2
    lowest, highest = (
        STANDARD.span_mm / MM_PER_THOU * deflection_ratio(group * _flexibility(loads_n, bend_mm, support, held))
        for support in result.vertical_share
    )
    return lowest, highest


def _flexibility(loads_n: tuple[Array, Array], bend_mm: Array, support: float, held: _Held) -> Array:
    """Return L^2 / EI, 1/N (trials,), for supports that differ from trial to trial.

    The inverse is known for knife edges. What rims and friction change in the deflection changes so slowly with the
    flexibility that a few rounds settle it.
    """
    bend, rim = bend_mm / held.span_mm, held.rim_mm / held.span_mm
    found = flexibility_between(loads_n, bend, support)
    for _ in range(ROUNDS):
        over = [_over_supports(load * found, support, rim, held.friction) for load in loads_n]
        on_edges = [deflection_ratio(load * found, support) for load in loads_n]
        found = flexibility_between(loads_n, bend + (on_edges[1] - on_edges[0]) - (over[1] - over[0]), support)
    return found


def _over_supports(group: Array, support: float, rim: Array, friction: Array) -> Array:
    """Return deflection over span with rims and friction; the latter is small enough to be proportional."""
    result: Array = ratio_over_rims(group, support, rim) + friction * ratio_by_friction(group)
    return result
