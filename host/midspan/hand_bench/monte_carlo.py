"""The spine of one hand bench result by Monte Carlo: everything of the bench is drawn, and converted by the elastica.

This second evaluation of the uncertainty does not use the budget's sensitivities (JCGM 101:2008). It needs the bench
as it was when the shaft was read, which the file of typed readings keeps. A tilted dial, a load off centre and a tip
beside the hook have errors of one sign; the budget treats them as if they had both. Where they are large, the interval
of the trials lies a little to one side.
"""

from collections.abc import Mapping

import numpy as np

from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.conversion import BenchLoad, off_centre_loss, tip_loss
from midspan.hand_bench.result import HandResult
from midspan.uncertainty.budget import PROBABILITY
from midspan.uncertainty.monte_carlo import Array, Draws, Summary, summary


def hand_trials(
    result: HandResult, bench: HandBench, trials: int, seed: int = 1, probability: float = PROBABILITY
) -> Summary:
    """Return the distribution of the mean spine over Monte Carlo trials; the same seed gives the same numbers.

    Parameters
    ----------
    result : HandResult
        Result whose budget is drawn.
    bench : HandBench
        Bench as it was when the shaft was read.
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
    at_estimates = float(BenchLoad.of(bench, result.at).thou(np.array(result.deflection_mm)))
    spines = _spines(result, bench, Draws(np.random.default_rng(seed), trials))
    # The mean over the turn differs from the spine of the mean reading by the square of the unevenness.
    return summary(spines - at_estimates + result.spine_thou, probability)


def _spines(result: HandResult, bench: HandBench, draws: Draws) -> Array:
    """Return spines, thou (trials,); quantities known by bounds are drawn as rectangular, all others as normal."""
    u = {part.name: part.u_input for part in result.budget.contributions}
    sag_mm = _true_sag_mm(result, bench, u["dial error"], draws)
    mixed = _load(result, bench, u, draws).thou(sag_mm)
    lost = off_centre_loss(1.0, bench.span.span_mm) * draws.rectangular(bench.frame.off_centre_mm) ** 2
    lost += tip_loss(1.0, bench.span.span_mm) * draws.rectangular(bench.indicator.tip_beside_mm) ** 2
    lost += draws.normal(u["creep"])
    shear = draws.rectangular(np.sqrt(3) * u["shear"])
    return mixed / (1 - lost) + shear + draws.normal(u["repeatability"], result.repeat_dof)


def _load(result: HandResult, bench: HandBench, u: Mapping[str, float], draws: Draws) -> BenchLoad[Array]:
    """Return the loads and supports of all trials."""
    known, gravity, dial = BenchLoad.of(bench, result.at), bench.place.gravity(), bench.indicator
    mass = 1 + draws.normal(u["mass"]) / bench.weight.mass_g
    weight_n = bench.load_n * mass * (1 + draws.normal(u["gravity"]) / gravity.m_s2) + draws.normal(u["air buoyancy"])
    load_n = weight_n + dial.force_change_n + draws.normal(u["dial force"])
    warmer = draws.normal(u["temperature"])
    span = (known.span_mm + draws.normal(u["span"])) * (1 + bench.span.expansion_per_k * warmer)
    give = known.give_mm_per_n + draws.normal(u["give of supports"])
    give += draws.rectangular(np.sqrt(3) * u["sinking"])
    rolling = known.rolling_mm + draws.rectangular(np.sqrt(3) * u["edge radius"])
    rolling += draws.rectangular(np.sqrt(3) * u["shaft radius"])
    friction = known.friction + draws.rectangular(np.sqrt(3) * u["axial friction"])
    return BenchLoad(known.preload_n, load_n, span, give, rolling, friction)


def _true_sag_mm(result: HandResult, bench: HandBench, u_error_mm: float, draws: Draws) -> Array:
    """Return the true movement of midspan: readings are rounded to a step, and a tilted dial reads too long."""
    dial = bench.indicator
    half_step = dial.graduation * abs(dial.mm) / 2
    rounded = draws.rectangular(half_step) - draws.rectangular(half_step)
    read = result.deflection_mm + rounded + draws.normal(u_error_mm)
    sag_mm: Array = read * np.cos(draws.rectangular(np.radians(dial.tilt_deg)))
    return sag_mm
