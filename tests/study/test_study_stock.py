"""Tolerance intervals and capability: the handbook's worked examples, exact factors, and simulated stocks."""

import json
import math

import numpy as np
import pytest
from commands_rig import complaint, midspan
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConfigurationError, ReadingsError
from midspan.study.population import CAPABLE, capability_bound, one_sided_factor, stock_study, two_sided_factor
from places import DATA
from scipy import integrate, optimize, stats

STUDIES = json.loads((DATA / "studies.json").read_text())
BOUNDS = json.loads((DATA / "capability_bounds.json").read_text())
FINITE = st.floats(-1e3, 1e3)


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


def a_sample(number, mean, sd):
    """Return values of exactly this mean and standard deviation, evenly spread."""
    pattern = np.arange(number) - (number - 1) / 2
    return mean + sd * pattern / pattern.std(ddof=1)


def answer(folder, values, *options):
    """Return what `midspan study stock --json` says of these values."""
    (folder / "stock.csv").write_text("value\n" + "\n".join(repr(float(value)) for value in values) + "\n")
    done = midspan("study", "stock", "--csv", "stock.csv", "--json", *options, folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_capability_of_the_handbook(tmp_path):
    published = STUDIES["capability"]
    values = a_sample(12, published["mean"], published["sd"])
    low, high = ("--low", published["low"]), ("--high", published["high"])
    both, above, below = (answer(tmp_path, values, *limits) for limits in ((*low, *high), high, low))
    assert (round(both["cp"], 9), round(both["cpk"], 4)) == (published["cp"], published["cpk"])
    assert (above["cp"], above["cpk"]) == (None, pytest.approx(both["cpk"]))
    assert (below["cp"], round(below["cpk"], 4)) == (None, published["cpk_of_low_alone"])
    without = answer(tmp_path, values)
    assert (without["cp"], without["cpk"], without["cpk_bounds"], without["suits"]) == (None, None, None, None)


def test_tolerance_intervals_of_the_handbook(tmp_path):
    published = STUDIES["tolerance"]
    values = a_sample(published["number"], 0.0, 1.0)
    asked = ("--share", published["share"], "--confidence", published["confidence"])
    low, high = answer(tmp_path, values, *asked)["interval"]
    assert (-low, high) == pytest.approx([published["two_sided"]] * 2, abs=5e-7)
    nothing, high = answer(tmp_path, values, *asked, "--high", 9)["interval"]
    assert (nothing, high) == (None, pytest.approx(published["one_sided"], abs=5e-7))


def test_capability_of_a_hundred_parts(tmp_path):
    published = BOUNDS["total_of_100"]
    values = a_sample(published["number"], published["mean"], published["sd"])
    told = answer(tmp_path, values, "--low", published["low"], "--high", published["high"], "--confidence", 0.95)
    for name in ("cp", "cpk"):
        assert told[name] == pytest.approx(published[name], abs=published["within"])


@pytest.mark.parametrize(("cpk", "number", "bound"), BOUNDS["one_sided"]["lower"])
def test_the_bound_of_a_capability_is_exact(cpk, number, bound, tmp_path):
    told = answer(tmp_path, a_sample(number, 0.0, 1.0), "--high", 3 * cpk)
    assert told["cpk_bounds"][0] == pytest.approx(bound, abs=1e-9)


def test_the_bound_is_the_inverse_of_the_handbooks_factor():
    # 7.2.6.3: with 43 values and 99 % confidence, k1 standard deviations hold 90 %.
    published = STUDIES["tolerance"]
    bound = capability_bound(published["one_sided"] / 3, published["number"], 1 - published["confidence"])
    assert 3 * bound == pytest.approx(stats.norm.ppf(published["share"]), abs=2e-6)


@pytest.mark.slow
@pytest.mark.parametrize("number", [8, 30])
def test_a_stock_on_the_edge_is_seldom_judged_wrongly(number):
    # With a true Cpk of 1.00 the figure is 1.33 or more in 15 % of samples of 8: judged by it, one in seven suits.
    rng = np.random.default_rng(17)

    def judged(half):
        studies = [stock_study(rng.normal(0.0, 1.0, number), -half, half) for _ in range(1500)]
        return [np.mean([study.suits is verdict for study in studies]) for verdict in (True, False)]

    assert judged(3.0)[0] < 0.01
    assert max(judged(3 * CAPABLE - 1e-9)) < 0.05 + 3 * 0.0056  # one-sided at 5 %, three sigma of 1500 samples


def test_an_open_stock_says_how_many_shafts_would_tell():
    study = stock_study(a_sample(8, 0.0, 1.0), high=3 * 1.6)
    assert study.suits is None
    wanted = study.shafts_wanted
    assert capability_bound(1.6, wanted - 1, 0.05) < CAPABLE <= capability_bound(1.6, wanted, 0.05)
    assert stock_study(a_sample(wanted, 0.0, 1.0), high=3 * 1.6).suits is True
    assert stock_study(a_sample(8, 0.0, 1.0), high=1.0).shafts_wanted is None


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
