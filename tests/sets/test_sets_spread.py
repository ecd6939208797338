"""Uncertainty of differences within a set: against simulated gauges with drawn errors, and scipy's own ranges."""

import math
from dataclasses import replace

import numpy as np
import pytest
import synthetic
from midspan.measurement.result import evaluate
from midspan.sets.difference_uncertainty import (
    OF_EACH_SHAFT,
    MemberResult,
    covariance,
    own_u,
    range_by_noise,
    u_difference,
    u_from_mean,
)
from midspan.sets.review import alike, at_target_mm, review
from midspan.sets.stock import StockShaft
from midspan.store.stored_result import CAUSES, plain
from results import told
from scipy.stats import binom, studentized_range
from synthetic import Shaft, drawn_gauge, paper_calibration, raw_run

CALIBRATION = paper_calibration()
LEAD_MM = CALIBRATION.travel.mm_per_step * CALIBRATION.travel.steps_per_screw_turn


def dozen_on(gauge, rng, number, apart_mm):
    """Return the true spines of shafts touched within a distance of each other, and their results with the lead."""
    shafts = [Shaft(spine_thou=rng.uniform(490, 510), spread_thou=rng.uniform(0.5, 5), number=i) for i in range(number)]
    runs = []
    for shaft in shafts:
        touched = 2000 + round(rng.uniform(0, apart_mm) / CALIBRATION.travel.mm_per_step)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(synthetic, "CONTACT_STEPS", touched)
            runs.append(raw_run(shaft, replace(gauge, drift_n=0.0), rng))
    found = [MemberResult(result.u_spine_thou, result, LEAD_MM) for result in evaluate(runs, CALIBRATION)]
    return np.array([shaft.spine_thou for shaft in shafts]), found


@pytest.fixture(scope="module", params=[0.2, LEAD_MM], ids=["one diameter", "any diameter"])
def pairs(request):
    """Error of the difference of two shafts on one gauge, its u, and u if nothing were shared."""
    rng = np.random.default_rng(31)
    rows = []
    for _ in range(200):
        gauge = drawn_gauge(rng)
        true, found = dozen_on(gauge, rng, 2, request.param)
        known = covariance(found)
        error = (found[1].result.spine_thou - found[0].result.spine_thou) - (true[1] - true[0])
        rows.append((error, u_difference(known, 0, 1), math.sqrt(np.trace(known))))
    return request.param, *np.array(rows).T


@pytest.mark.slow
def test_the_stated_uncertainty_of_a_difference_covers_it(pairs):
    apart_mm, error, u, alone = pairs
    inside = int((np.abs(error) < 1.96 * u).sum())
    assert binom.ppf(1e-3, len(error), 0.95) <= inside
    assert 0.8 < np.sqrt(np.mean((error / u) ** 2)) < 1.15  # nor is it much too large
    assert np.median(alone / u) > (20 if apart_mm < 1 else 2)


def test_nothing_is_shared_between_calibrations_or_by_results_that_tell_no_causes():
    rng = np.random.default_rng(5)
    _, found = dozen_on(drawn_gauge(rng), rng, 2, 0.1)
    shared = covariance(found)
    assert shared[0, 1] > 0.8 * shared[0, 0]
    first, second = found
    later = replace(second, result=replace(second.result, calibration="paper-later"))
    another = replace(second, result=replace(second.result, gauge="another"))
    bare = MemberResult(0.3, told(gauge=first.result.gauge, calibration=first.result.calibration))
    for other in (later, another, bare):
        assert covariance([first, other])[0, 1] == 0.0
    without_lead = covariance([replace(member, lead_mm=None) for member in found])
    assert 0 < without_lead[0, 1] < shared[0, 1]


def test_results_of_the_version_before_share_the_causes_that_they_name():
    rng = np.random.default_rng(5)
    _, found = dozen_on(drawn_gauge(rng), rng, 2, 0.1)
    named = {"u_causes": found[0].result.u_causes[:12], "sensitivities": found[0].result.sensitivities[:12]}
    whole = plain(found[0].result) | named
    older = MemberResult(0.3, told(**whole), found[0].lead_mm)
    force = found[0].result.u_causes[4] * found[0].result.sensitivities[4]
    assert covariance([older, older])[0, 1] > force**2
    assert covariance([older, found[1]])[0, 1] > 0.9 * force**2


@pytest.mark.parametrize("number", [2, 3, 6, 12, 24])
@pytest.mark.parametrize("probability", [0.5, 0.95, 0.99])
def test_the_range_of_noise_is_the_studentized_range(number, probability):
    expected = 0.3 * studentized_range.ppf(probability, number, np.inf)
    assert range_by_noise(np.full(number, 0.3), probability) == pytest.approx(expected, rel=2e-4)


def test_the_range_of_unequal_noise_is_that_of_trials():
    u = np.array([0.1, 0.1, 0.5, 0.2, 0.05])
    trials = np.ptp(np.random.default_rng(2).normal(0, u, (200_000, 5)), axis=1)
    assert range_by_noise(u) == pytest.approx(np.quantile(trials, 0.95), rel=0.01)
    assert range_by_noise(np.zeros(4)) == 0.0


def test_what_is_common_to_all_shafts_moves_none_from_the_mean():
    own = np.diag([0.01, 0.04, 0.09])
    assert u_from_mean(own + 5.0) == pytest.approx(u_from_mean(own))
    assert own_u(np.eye(7) * 0.25 + 3.0) == pytest.approx(np.full(7, 0.5))


def on_paper(*spines, u=0.02):
    """Return shafts and results that share nothing."""
    shafts = [StockShaft(i, "", i, None, spine, u, None, None, None) for i, spine in enumerate(spines, 1)]
    return shafts, [MemberResult(u, told())] * len(spines)


@pytest.mark.slow
def test_equal_shafts_are_not_told_apart():
    rng = np.random.default_rng(9)
    called = sum(review(*on_paper(*rng.normal(500, 0.1, 12), u=0.1)).is_told_apart for _ in range(200))
    assert binom.ppf(1e-3, 200, 0.05) <= called <= binom.ppf(1 - 1e-3, 200, 0.05)
    shafts, results = on_paper(500.00, 500.03)
    assert alike(*shafts, results)
    assert not alike(*shafts, results, asked_k=1.0)


def test_the_shaft_that_spoils_a_set_is_named_or_none_is():
    found = review(*on_paper(500.0, 500.2, 500.1, 503.0, 500.3))
    assert (found.spoiler.shaft, found.spoiler.range_without_thou) == (4, pytest.approx(0.3))
    assert review(*on_paper(497.0, 500.2, 500.1, 500.3)).spoiler.shaft == 1
    assert review(*on_paper(500.0, 500.5, 501.0, 501.5, 502.0, 502.5)).spoiler is None  # evenly spaced
    assert review(*on_paper(500.0, 500.01, 500.02, 500.09, u=0.05)).spoiler is None  # not clear of its uncertainty
    assert review(*on_paper(500.0, 503.0)).spoiler is None  # of two, neither is the odd one


def test_the_rule_of_common_practice_is_scaled_as_it_says():
    # Common practice, no published source: 7 thou, one ring of 61 mm on the 122 cm face at 70 m (122 cm has ten rings
    # to either side of its middle: 1220 / 20).
    assert at_target_mm(7.0, 70.0) == 1220 / 20
    assert at_target_mm(0.7, 18.0) == pytest.approx(6.1 * 18 / 70)


def test_each_cause_of_uncertainty_is_of_each_shaft_or_shared_by_all():
    """Hold each cause to one kind: a cause in neither list would cancel and part shafts that are equal."""
    shared = {
        "force scale", "force linearity", "travel scale", "frame give", "span", "support reactions", "shear",
        "head off midspan", "press tilt", "temperature",
        "dial error", "dial force", "mass", "air buoyancy", "gravity", "give of supports",
        "edge radius", "tip beside the hook",
    }  # fmt: skip
    names = {name for causes in CAUSES.values() for name, _ in causes}
    assert not shared & OF_EACH_SHAFT
    assert names == shared | OF_EACH_SHAFT
