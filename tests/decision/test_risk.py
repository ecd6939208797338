"""Risks of decision rules against published integrals and tables.

The source is named at each check; "from memory" where it was not at hand.
"""

import json
import math
import re

import numpy as np
import pytest
from commands_rig import midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands, DecisionRule
from midspan.decision.risk import SpineProcess, conformance_probability, risks, sentence, settled_by_repeat, spine_risks
from scipy.optimize import brentq
from scipy.stats import gamma, norm

BANDS = Bands.model_validate({"bin": [{"name": "500", "spine_thou": [495.0, 505.0]}]})


def binary(process, u, good, accepted):
    """Return the risks of a rule that accepts or rejects."""
    return risks(process, u, good=[good], accepted=[accepted], kept=[accepted])


# A single item


@pytest.mark.parametrize(("z", "percent"), [(0.84, 80), (1.28, 90), (1.64, 95), (2.33, 99), (3.09, 99.9)])
def test_conformance_probability_at_one_limit(z, percent):
    # JCGM 106:2012, table 1 (from memory).
    assert 100 * conformance_probability(-z, 1.0, high=0.0) == pytest.approx(percent, abs=0.15)


def test_the_zener_diode():
    # JCGM 106:2012, 7.3 (from memory): breakdown voltage -5.47 V, u 0.05 V, upper limit -5.40 V.
    assert round(conformance_probability(-5.47, 0.05, high=-5.40), 2) == 0.92


@pytest.mark.parametrize(("mean", "percent_out"), [(10.0, 1.242), (10.5, 10.574), (12.0, 99.379)])
def test_specific_risk_of_an_item_within_two_limits(mean, percent_out):
    # sandialabs/suncal, test_risk.py: limits 9 and 11, standard deviation 0.4.
    assert 100 * (1 - conformance_probability(mean, 0.4, 9, 11)) == pytest.approx(percent_out, abs=0.0006)


@pytest.mark.parametrize(
    ("guard", "most_percent"), [(3.0, 1e-4), (1.5, 0.16), (1.0, 2.5), (0.83, 5.0), (0.0, 50.0), (-1.0, 97.8)]
)
def test_specific_risk_at_the_acceptance_limits_of_ilac_g8(guard, most_percent):
    # ILAC-G8:09/2019, table 1 (from memory), guard band in multiples of U = 2 u.
    risk = 100 * (1 - conformance_probability(-guard * 2.0, 1.0, high=0.0))
    assert (0.0 if guard == 3.0 else 0.5 * most_percent) < risk <= most_percent


# A process


@pytest.mark.parametrize(
    ("limit", "ratio", "guard", "accepted_bad", "rejected_good"),
    [(2, 4, 1, 0.008, 0.015), (2.5, 4, 1, 0.0025, None), (2.5, 1, 1, 0.005, None), (2, 2, 0.91, 0.008, 0.066)],
)
def test_deaver(limit, ratio, guard, accepted_bad, rejected_good):
    # D. Deaver, Maintaining your confidence (in a world of declining test uncertainty ratios), NCSL 1993: limits in
    # standard deviations of the process, ratio of its sigma to that of the measurement.
    cost = binary(norm(0, 1), 1 / ratio, (-limit, limit), (-guard * limit, guard * limit))
    assert cost.consumer == pytest.approx(accepted_bad, abs=0.0005 if accepted_bad > 0.003 else 0.0001)
    if rejected_good is not None:
        assert cost.producer == pytest.approx(rejected_good, abs=0.0005)


@pytest.mark.parametrize(
    ("in_tolerance", "percent", "percent_of_accepted"),
    [(0.6, 4.83860326, 8.26008199), (0.7, 3.92234109, 5.72322042), (0.8, 2.85583037, 3.63227145),
     (0.9, 1.59995312, 1.7988043), (0.95, 0.87100925, 0.92389664), (0.99, 0.19991684, 0.20243866)],
)  # fmt: skip
def test_table_of_rp_19(in_tolerance, percent, percent_of_accepted):
    # NCSLI RP-19, as quoted in sandialabs/suncal test_risk.py: sigma ratio 4, by share of the process in tolerance.
    limit = norm.ppf((1 + in_tolerance) / 2)
    cost = binary(norm(0, 1), 0.25, (-limit, limit), (-limit, limit))
    assert cost.conforming == pytest.approx(in_tolerance, abs=1e-12)
    assert 100 * cost.consumer == pytest.approx(percent, abs=2e-6)
    assert 100 * cost.consumer / cost.accepted == pytest.approx(percent_of_accepted, abs=2e-6)


def test_the_ball_bearings():
    # JCGM 106:2012, 9.5.4: error motion of mean 1 um and standard deviation 0.5 um, gamma distributed; limit 2 um,
    # u 0.25 um. Guarded acceptance at 1.67 um brings the consumer's risk down to 0.1 %.
    process, good = gamma(4, scale=0.25), (-math.inf, 2.0)
    cost = binary(process, 0.25, good, good)
    assert round(1 - cost.conforming, 3) == 0.042
    assert round(cost.consumer, 3) == 0.008
    end = brentq(lambda end: binary(process, 0.25, good, (-math.inf, end)).consumer - 0.001, 1.0, 2.0)
    assert round(end, 2) == 1.67
    # To more digits by another program, suncal 1.7.1.
    assert cost.consumer == pytest.approx(0.008019111884, abs=1e-10)
    assert 2 - end == pytest.approx(0.32817122845, abs=1e-7)


@pytest.mark.parametrize("ratio", [1.5, 2.0, 2.5, 3.0, 4.0])
def test_dobberts_guard_band_keeps_every_process_below_two_percent(ratio):
    # ANSI/NCSL Z540.3 handbook, method 6 (M. Dobbert): acceptance T (1 - M / TUR), TUR = T / U.
    share = 1 - (1.04 - math.exp(0.38 * math.log(ratio) - 0.54)) / ratio
    worst = max(
        binary(norm(0, 1), t / ratio / 2, (-t, t), (-share * t, share * t)).consumer
        for t in norm.ppf((1 + np.linspace(0.3, 0.99, 70)) / 2)
    )
    assert 0.019 < worst < 0.02


@pytest.mark.parametrize("ratio", [2.0, 4.0])
def test_managed_guard_bands_through_the_command(ratio, tmp_path):
    """ANSI/NCSL Z540.3 handbook, method 6 (M. Dobbert): with this guard band of U at most 2 % are accepted wrongly."""
    guard = 1.04 - math.exp(0.38 * math.log(ratio) - 0.54)
    band = '[[bin]]\nname = "500"\nspine_thou = [495.0, 505.0]\n'
    rule = f'[rule]\nkind = "guarded acceptance"\nguard = {guard}\ncoverage_factor = 2.0\n'
    (tmp_path / "bands.toml").write_text(rule + band, encoding="utf-8")
    u, found = 5.0 / ratio / 2, []
    for share in (0.5, 0.6, 0.7, 0.8, 0.9):
        stock = ("--process-mean", 500, "--process-sd", 5.0 / norm.ppf((1 + share) / 2))
        done = midspan("risk", "--bands", "bands.toml", *stock, "--u", u, "--u-renewed", u, "--json", folder=tmp_path)
        told = json.loads(done.stdout)[0]
        assert told["conforming"] == pytest.approx(share, abs=1e-6)
        found.append(told["consumer"])
    assert 0.017 < max(found) < 0.02


def test_a_simulated_stock_is_sorted_as_integrated():
    rng = np.random.default_rng(1)
    true = rng.normal(501.0, 3.0, 1_000_000)
    value = true + rng.normal(0.0, 0.8, true.size)
    good = (true >= 495) & (true < 505)
    cost = spine_risks(BANDS, DecisionRule(guard=0.7), 501.0, 3.0, 0.8)
    inside = (value > 495 + 0.7 * 1.6) & (value < 505 - 0.7 * 1.6)
    beyond = (value < 495 - 0.7 * 1.6) | (value > 505 + 0.7 * 1.6)
    for share, found in (
        (np.mean(inside), cost.accepted), (np.mean(~inside & ~beyond), cost.doubtful), (np.mean(beyond), cost.rejected),
        (np.mean(inside & ~good), cost.consumer), (np.mean(beyond & good), cost.producer),
        (np.mean(good), cost.conforming),
    ):  # fmt: skip
        assert found == pytest.approx(share, abs=4.5 * math.sqrt(share * (1 - share) / true.size) + 1e-9)


# Properties

processes = st.tuples(st.floats(480, 520), st.floats(0.5, 20), st.floats(0.05, 3))


@pytest.mark.slow
@given(processes, st.floats(0, 1.5), st.floats(0, 1))
def test_a_wider_guard_lets_fewer_bad_shafts_in_and_turns_more_good_ones_away(process, guard, more):
    narrow, wide = (
        spine_risks(BANDS, DecisionRule(kind="guarded acceptance", guard=g), *process) for g in (guard, guard + more)
    )
    assert wide.consumer <= narrow.consumer + 1e-12
    assert wide.producer >= narrow.producer - 1e-12
    narrow, wide = (
        spine_risks(BANDS, DecisionRule(kind="guarded rejection", guard=g), *process) for g in (guard, guard + more)
    )
    assert wide.consumer >= narrow.consumer - 1e-12
    assert wide.producer <= narrow.producer + 1e-12


@pytest.mark.slow
@given(processes)
def test_the_kinds_of_rule_stand_in_order(process):
    cost = {kind: spine_risks(BANDS, DecisionRule(kind=kind), *process) for kind in
            ("guarded both ways", "guarded acceptance", "simple", "guarded rejection")}  # fmt: skip
    by_consumer = [cost[kind].consumer for kind in ("guarded acceptance", "simple", "guarded rejection")]
    assert by_consumer == sorted(by_consumer)
    by_producer = [cost[kind].producer for kind in ("guarded rejection", "simple", "guarded acceptance")]
    assert by_producer == sorted(by_producer)
    # Doubt on both sides takes the smaller risk of either.
    assert cost["guarded both ways"].consumer == pytest.approx(cost["guarded acceptance"].consumer, abs=1e-14)
    assert cost["guarded both ways"].producer == pytest.approx(cost["guarded rejection"].producer, abs=1e-14)


@given(processes, st.sampled_from(["guarded both ways", "guarded acceptance", "simple", "guarded rejection"]))
def test_shares_are_shares_and_add_up(process, kind):
    cost = spine_risks(BANDS, DecisionRule(kind=kind), *process)
    for share in (cost.accepted, cost.doubtful, cost.rejected, cost.consumer, cost.producer, cost.conforming):
        assert -1e-12 <= share <= 1 + 1e-12
    assert cost.consumer <= min(cost.accepted, 1 - cost.conforming) + 1e-12
    assert cost.producer <= min(cost.rejected, cost.conforming) + 1e-12


@given(processes, st.floats(0.1, 10))
def test_another_unit_changes_no_risk(process, unit):
    mean, sd, u = process
    here = binary(norm(mean, sd), u, (495, 505), (496, 504))
    there = binary(norm(mean * unit, sd * unit), u * unit, (495 * unit, 505 * unit), (496 * unit, 504 * unit))
    assert (there.consumer, there.producer) == pytest.approx((here.consumer, here.producer), abs=1e-11)


def test_a_guard_wider_than_the_band_accepts_nothing():
    cost = spine_risks(BANDS, DecisionRule(kind="guarded acceptance"), 500.0, 3.0, 3.0)
    assert cost.accepted == cost.consumer == 0
    assert cost.producer == pytest.approx(cost.conforming)


def test_adjoining_bins_have_no_limit_between_them_and_overlapping_guards_count_once():
    whole = spine_risks(BANDS, DecisionRule(), 500.0, 3.0, 0.3)
    halves = Bands.model_validate(
        {"bin": [{"name": "a", "spine_thou": [495, 500]}, {"name": "b", "spine_thou": [500, 505]}]}
    )
    assert spine_risks(halves, DecisionRule(), 500.0, 3.0, 0.3) == whole
    apart = Bands.model_validate(
        {"bin": [{"name": "a", "spine_thou": [495, 499]}, {"name": "b", "spine_thou": [500, 505]}]}
    )
    cost = spine_risks(apart, DecisionRule(kind="guarded rejection"), 500.0, 3.0, 0.5)
    assert cost.accepted <= 1
    assert cost.producer == pytest.approx(whole.producer, abs=1e-3)


@pytest.mark.parametrize("kind", ["simple", "guarded both ways"])
def test_the_sentence_has_the_shares_in_a_thousand_shafts(kind):
    rule = DecisionRule(kind=kind)
    cost = spine_risks(BANDS, rule, 501.0, 3.0, 0.8)
    shares = (1.0, cost.accepted, cost.consumer, cost.rejected, cost.producer, *[cost.doubtful] * rule.leaves_doubt)
    found = [float(number) for number in re.findall(r"[\d.]+", sentence(cost, rule))]
    # One digit for small numbers, whole shafts for the others.
    assert found == pytest.approx([1000 * share for share in shares], rel=0.1)


@pytest.mark.parametrize("wrong", [(0.0, 3.0, 0.2), (500.0, -1.0, 0.2), (500.0, 3.0, 0.0), (500.0, 3.0, math.nan)])
def test_a_process_without_width_is_refused(wrong):
    with pytest.raises(ConfigurationError):
        spine_risks(BANDS, DecisionRule(), *wrong)


@pytest.mark.parametrize("renewed", [0.5, 0.35, 0.1, 0.005])
def test_a_repeat_decides_what_it_renews(renewed):
    """Draw shafts near the limits of a band, each measured twice with the same error of the calibration."""
    rng = np.random.default_rng(4)
    true = rng.normal(495.0, 3.0, 400_000)
    kept = true + rng.normal(0, math.sqrt(0.25 - renewed**2), len(true))
    first, second = (kept + rng.normal(0, renewed, len(true)) for _ in range(2))
    doubtful, again = (((abs(value - 495.0) < 1.0) | (abs(value - 505.0) < 1.0)) for value in (first, second))
    drawn = 1 - (doubtful & again).sum() / doubtful.sum()
    found = settled_by_repeat(BANDS, BANDS.rule, SpineProcess(495.0, 3.0), 0.5, renewed)
    assert found == pytest.approx(drawn, abs=4 * 0.5 / math.sqrt(doubtful.sum()))
