"""Tolerance intervals and capability: the handbook's worked examples, exact factors, and simulated stocks."""

import json
import math

import numpy as np
import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.study.population import capability, one_sided_factor, stock_study, two_sided_factor
from places import DATA
from scipy import integrate, optimize, stats

STUDIES = json.loads((DATA / "studies.json").read_text())
FINITE = st.floats(-1e3, 1e3)


def test_tolerance_factors_of_the_handbook():
    published = STUDIES["tolerance"]
    given_as = published["number"], published["share"], published["confidence"]
    assert two_sided_factor(*given_as) == pytest.approx(published["two_sided"], abs=5e-7)
    assert one_sided_factor(*given_as) == pytest.approx(published["one_sided"], abs=5e-7)


def exact_factor(number, share, confidence):
    """Return k with which an interval holds the share at the confidence, integrated over the mean's own error.

    Definition of ISO 16269-6: P(normal share within mean +- k s >= share) = confidence.
    """

    def reach(error):  # half width around a mean that is off by so many sigma
        return math.sqrt(stats.ncx2.ppf(share, 1, error**2)) if error else stats.norm.ppf((1 + share) / 2)

    def held(k):
        def at(error):
            chi2 = (number - 1) * (reach(error) / k) ** 2
            return 2 * stats.norm.pdf(error, scale=1 / math.sqrt(number)) * stats.chi2.sf(chi2, number - 1)

        return integrate.quad(at, 0, 8 / math.sqrt(number))[0] - confidence

    return optimize.brentq(held, 0.5, 50)


@pytest.mark.slow
@pytest.mark.parametrize("number", [5, 12, 36, 100])
@pytest.mark.parametrize(("share", "confidence"), [(0.9, 0.95), (0.95, 0.95), (0.99, 0.9)])
def test_the_two_sided_factor_is_within_two_percent_of_the_exact_one(number, share, confidence):
    assert two_sided_factor(number, share, confidence) == pytest.approx(
        exact_factor(number, share, confidence), rel=0.02
    )


@pytest.mark.slow
@pytest.mark.parametrize("limits", [(None, None), (None, 510.0), (490.0, None), (490.0, 510.0)])
def test_intervals_hold_their_share_as_often_as_they_say(limits):
    rng = np.random.default_rng(5)
    held = []
    for _ in range(1000):
        study = stock_study(rng.normal(500.0, 3.0, 24).tolist(), *limits)
        low, high = study.interval
        held.append(stats.norm.cdf(high, 500, 3) - stats.norm.cdf(low, 500, 3) >= 0.95)
    assert np.mean(held) == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 1000))


def test_capability_of_the_handbook():
    published = STUDIES["capability"]
    cp, cpk = capability(*(published[name] for name in ("mean", "sd", "low", "high")))
    assert (cp, round(cpk, 4)) == (published["cp"], published["cpk"])
    assert capability(published["mean"], published["sd"], None, published["high"]) == (None, cpk)
    (without_high, low_alone) = capability(published["mean"], published["sd"], published["low"], None)
    assert (without_high, round(low_alone, 4)) == (None, published["cpk_of_low_alone"])
    assert capability(published["mean"], published["sd"], None, None) == (None, None)


def test_the_share_outside_is_that_of_a_normal_stock():
    rng = np.random.default_rng(3)
    study = stock_study(rng.normal(500.0, 3.0, 500).tolist(), 494.0, 503.0)
    assert study.outside == pytest.approx(stats.norm.cdf(-2) + stats.norm.sf(1), abs=0.03)


@given(st.lists(st.integers(-(10**6), 10**6), min_size=5, max_size=40, unique=True), st.floats(0.01, 100), FINITE)
def test_another_unit_and_origin_change_no_verdict(values, unit, origin):
    plain = stock_study(values, -1e5, 2e5)
    other = stock_study([unit * value + origin for value in values], -1e5 * unit + origin, 2e5 * unit + origin)
    assert (other.cp, other.cpk, other.outside) == pytest.approx((plain.cp, plain.cpk, plain.outside), rel=1e-6)
    assert other.interval == pytest.approx([unit * end + origin for end in plain.interval], rel=1e-6, abs=1e-3 * unit)


@given(st.integers(5, 200), st.floats(0.5, 0.99), st.floats(0.5, 0.99))
def test_more_readings_less_share_or_less_confidence_narrow_the_interval(number, share, confidence):
    for factor in (two_sided_factor, one_sided_factor):
        assert factor(number + 10, share, 0.95) < factor(number, share, 0.95)
        assert factor(number, share * 0.99, confidence) < factor(number, share, confidence)
        assert factor(number, 0.9, confidence * 0.99) < factor(number, 0.9, confidence)


def test_two_bundles_are_told_from_one():
    rng = np.random.default_rng(2)
    first, other = rng.normal(495.0, 1.0, 40), rng.normal(505.0, 1.0, 40)
    assert stock_study([*first, *other]).mixed
    seldom = [stock_study(rng.normal(500.0, 2.0, 40).tolist()).mixed for _ in range(200)]
    assert np.mean(seldom) < 0.04


@pytest.mark.parametrize(
    ("values", "limits", "error", "code"),
    [
        ([500.0] * 4, (None, None), ReadingsError, "too_few"),
        ([500.0] * 9, (None, None), ReadingsError, "no_scatter"),
        ([500.0, 501.0, 502.0, 503.0, 504.0], (505.0, 495.0), ConfigurationError, ""),
    ],
)
def test_what_cannot_be_studied_is_refused(values, limits, error, code):
    with pytest.raises(error) as caught:
        stock_study(values, *limits)
    assert caught.value.code == code


def test_the_command_prints_table_and_verdict_and_draws(tmp_path, snapshot):
    values = np.random.default_rng(1).normal(500.0, 2.0, 30)
    (tmp_path / "stock.csv").write_text("value\n" + "\n".join(f"{value:.2f}" for value in values) + "\n")
    given_as = ("study", "stock", "--csv", "stock.csv", "--low", 493, "--high", 505)
    done = midspan(*given_as, "--picture", "stock.png", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout == snapshot
    assert (tmp_path / "stock.png").stat().st_size > 10_000
    found = json.loads(midspan(*given_as, "--json", folder=tmp_path).stdout)
    assert found["number"] == 30
    assert found["cpk"] < 1.33
    assert "--batch" in complaint(midspan("study", "stock", folder=tmp_path))
