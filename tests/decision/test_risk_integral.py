"""The integral behind the risks: against adaptive quadrature and the bivariate normal distribution of scipy."""

import math
from itertools import pairwise

import numpy as np
import pytest
from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands, DecisionRule
from midspan.decision.risk import NODE, Risks, conformance_probability, risks, sentence, spine_risks
from scipy.integrate import quad
from scipy.stats import gamma, multivariate_normal, norm, uniform

GOOD = [(-1.0, 1.5), (2.5, math.inf)]
ACCEPTED = [(-0.8, 1.2), (2.9, math.inf)]
KEPT = [(-1.1, 1.7), (2.3, math.inf)]


def by_quadrature(process, u, good, measured_in):
    """Return the share with true and measured value in some intervals each, by adaptive quadrature."""
    least, most = process.ppf([1e-15, 1 - 1e-15])
    total = 0.0
    for low, high in good:
        low, high = max(low, least), min(high, most)
        # A measured value turns from in to out over some u around each end.
        ends = [end for pair in measured_in for end in pair if math.isfinite(end)]
        points = {low, high, *process.ppf([0.001, 0.1, 0.5, 0.9, 0.999])}
        points |= {end + k * u for end in ends for k in (-6, -2, 0, 2, 6)}
        cuts = sorted(point for point in points if low <= point <= high)

        def density(x):
            inside = sum(norm.cdf(b, x, u) - norm.cdf(a, x, u) for a, b in measured_in)
            return process.pdf(x) * inside

        total += sum(quad(density, a, b, epsabs=1e-14, epsrel=1e-12)[0] for a, b in pairwise(cuts))
    return total


PROCESSES = [
    (norm(0.3, 1.0), 0.25), (norm(0.3, 1.0), 1e-3), (norm(0.3, 1.0), 2.0), (norm(1.4, 0.02), 0.3),
    (gamma(4.0, scale=0.4), 0.2), (uniform(-2.0, 6.0), 0.3),
]  # fmt: skip
EVERYWHERE = [(-math.inf, math.inf)]
OUTSIDE_GOOD = [(-math.inf, -1.0), (1.5, 2.5)]
OUTSIDE_KEPT = [(-math.inf, -1.1), (1.7, 2.3)]


@pytest.mark.slow
@pytest.mark.parametrize(("process", "u"), PROCESSES)
def test_every_share_is_that_of_adaptive_quadrature(process, u):
    found = risks(process, u, GOOD, ACCEPTED, KEPT)
    expected = {
        "conforming": by_quadrature(process, u, GOOD, EVERYWHERE),
        "accepted": by_quadrature(process, u, EVERYWHERE, ACCEPTED),
        "consumer": by_quadrature(process, u, OUTSIDE_GOOD, ACCEPTED),
        "producer": by_quadrature(process, u, GOOD, OUTSIDE_KEPT),
        "rejected": by_quadrature(process, u, EVERYWHERE, OUTSIDE_KEPT),
    }
    for name, share in expected.items():
        assert getattr(found, name) == pytest.approx(share, abs=1e-11), name
    assert found.doubtful == pytest.approx(1 - expected["accepted"] - expected["rejected"], abs=1e-11)


@pytest.mark.parametrize("ratio", [0.01, 0.1, 0.5, 1.0, 4.0])
def test_rectangles_of_the_bivariate_normal_distribution(ratio):
    # JCGM 106:2012, A.4 and 9.5: true and measured value together are normal, correlated by their common part.
    process = norm(0.0, 1.0)
    both = multivariate_normal([0.0, 0.0], [[1.0, 1.0], [1.0, 1.0 + ratio**2]])

    def rectangle(true, measured):
        return both.cdf([true[1], measured[1]], lower_limit=[true[0], measured[0]])

    found = risks(process, ratio, [(-1.2, 2.0)], [(-1.0, 1.8)], [(-1.0, 1.8)])
    accepted_good = rectangle((-1.2, 2.0), (-1.0, 1.8))
    accepted = norm(0.0, math.hypot(1.0, ratio)).cdf(1.8) - norm(0.0, math.hypot(1.0, ratio)).cdf(-1.0)
    assert found.accepted == pytest.approx(accepted, abs=1e-12)
    assert found.consumer == pytest.approx(accepted - accepted_good, abs=1e-9)
    assert found.producer == pytest.approx(norm.cdf(2.0) - norm.cdf(-1.2) - accepted_good, abs=1e-9)


def test_all_of_a_process_is_counted():
    # Nothing is lost at the far ends, however narrow the measurement.
    for process, u in PROCESSES:
        found = risks(process, u, EVERYWHERE, EVERYWHERE, EVERYWHERE)
        assert found.conforming == pytest.approx(1.0, abs=1e-13)
        assert found.accepted == pytest.approx(1.0, abs=1e-13)
        assert (found.consumer, found.doubtful) == (0.0, 0.0)


def test_half_as_many_nodes_give_the_same(monkeypatch):
    # The steps are fine enough: with half the nodes in each the shares stay to twelve digits.
    fine = [risks(process, u, GOOD, ACCEPTED, KEPT) for process, u in PROCESSES]
    node, weight = np.polynomial.legendre.leggauss(len(NODE) // 2)
    monkeypatch.setattr("midspan.decision.risk.NODE", node)
    monkeypatch.setattr("midspan.decision.risk.WEIGHT", weight)
    for each, (process, u) in zip(fine, PROCESSES, strict=True):
        coarse = risks(process, u, GOOD, ACCEPTED, KEPT)
        for name in ("conforming", "accepted", "doubtful", "consumer", "producer"):
            assert getattr(coarse, name) == pytest.approx(getattr(each, name), abs=1e-12), name


def test_one_item_between_two_limits():
    # JCGM 106:2012, equation 7: difference of two values of the normal distribution.
    assert conformance_probability(0.3, 0.5, -0.2, 1.0) == pytest.approx(norm.cdf(1.4) - norm.cdf(-1.0), rel=1e-14)
    assert conformance_probability(0.3, 0.5, low=-0.2) == pytest.approx(norm.cdf(1.0), rel=1e-14)
    assert conformance_probability(0.3, 0.5) == 1.0


# The spine


def bands(*ends):
    return Bands.model_validate({"bin": [{"name": str(i), "spine_thou": list(pair)} for i, pair in enumerate(ends)]})


RULES = {
    # How far a value is accepted inside a limit and rejected beyond it, in multiples of U (JCGM 106:2012, clause 8).
    "guarded both ways": (0.6, 0.6), "guarded acceptance": (0.6, -0.6), "guarded rejection": (-0.6, 0.6),
    "simple": (0.0, 0.0),
}  # fmt: skip


@pytest.mark.parametrize("kind", RULES)
def test_the_limits_of_a_rule_move_by_its_margins_in_multiples_of_u(kind):
    guard = {} if kind == "simple" else {"guard": 0.6}
    rule = DecisionRule(kind=kind, coverage_factor=1.5, **guard)
    inside, beyond = (margin * 1.5 * 0.8 for margin in RULES[kind])
    found = spine_risks(bands((490, 500), (510, 520)), rule, 502.0, 6.0, 0.8)
    good = [(490, 500), (510, 520)]
    expected = risks(
        norm(502.0, 6.0), 0.8, good,
        [(low + inside, high - inside) for low, high in good], [(low - beyond, high + beyond) for low, high in good],
    )  # fmt: skip
    for name in ("conforming", "accepted", "doubtful", "consumer", "producer"):
        assert getattr(found, name) == pytest.approx(getattr(expected, name), abs=1e-12), name
    assert found.rejected == pytest.approx(1 - found.accepted - found.doubtful)


def test_guards_that_meet_across_a_gap_make_one_interval():
    # A gap of 1 thou and guards of 2 from either side: all between 488 and 513 is accepted, the gap with it.
    rule = DecisionRule(kind="guarded rejection", coverage_factor=2.0)
    found = spine_risks(bands((490, 500), (501, 511)), rule, 500.5, 4.0, 1.0)
    both = norm(500.5, math.hypot(4.0, 1.0))
    assert found.accepted == pytest.approx(both.cdf(513) - both.cdf(488), abs=1e-12)
    true = norm(500.5, 4.0)
    assert found.conforming == pytest.approx(true.cdf(500) - true.cdf(490) + true.cdf(511) - true.cdf(501), abs=1e-12)


@pytest.mark.parametrize(("gap", "parts"), [(4.0, 1), (4.5, 2)])
def test_guards_that_just_touch_leave_nothing_between(gap, parts):
    rule = DecisionRule(kind="guarded rejection", coverage_factor=2.0)
    found = spine_risks(bands((490, 500), (500 + gap, 511)), rule, 501.0, 4.0, 1.0)
    both = norm(501.0, math.hypot(4.0, 1.0))
    between = (both.cdf(502.5) - both.cdf(502.0)) * (parts - 1)
    assert found.accepted == pytest.approx(both.cdf(513) - both.cdf(488) - between, abs=1e-12)


def test_a_band_as_narrow_as_both_guards_accepts_nothing_and_the_other_goes_on():
    rule = DecisionRule(kind="guarded acceptance", coverage_factor=2.0)
    found = spine_risks(bands((490, 494), (500, 510)), rule, 500.0, 5.0, 1.0)
    both = norm(500.0, math.hypot(5.0, 1.0))
    assert found.accepted == pytest.approx(both.cdf(508) - both.cdf(502), abs=1e-12)


@pytest.mark.parametrize("place", range(3))
@pytest.mark.parametrize("value", [0.0, -0.5])
def test_a_process_or_a_measurement_without_width_is_refused(place, value):
    numbers = [500.0, 3.0, 0.5]
    spine_risks(bands((495, 505)), DecisionRule(), *numbers)
    numbers[place] = value
    with pytest.raises(ConfigurationError):
        spine_risks(bands((495, 505)), DecisionRule(), *numbers)


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.85, "850"), (0.0123, "12"), (0.0095, "10"), (0.00949, "9"), (0.0004, "0.4"), (0.00005, "0.05"),
     (0.000049, None), (-1e-15, None)],
)  # fmt: skip
def test_shafts_of_a_thousand_are_said_to_one_digit_where_there_are_few(share, said):
    cost = Risks(conforming=0.9, accepted=0.9, doubtful=0.0, consumer=share, producer=0.3)
    words = sentence(cost, DecisionRule(kind="simple")).replace(";", "").replace(",", "").split()
    assert [word for word in words if word.replace(".", "").isdigit()] == [
        "1000", "900", *([said] if said else []), "100", "300"
    ]  # fmt: skip


def test_only_a_rule_that_leaves_doubt_speaks_of_shafts_measured_again():
    cost = Risks(conforming=0.9, accepted=0.85, doubtful=0.1, consumer=0.002, producer=0.003)
    doubting, deciding = (sentence(cost, rule) for rule in (DecisionRule(), DecisionRule(kind="simple")))
    assert doubting.startswith(deciding)
    assert "100" in doubting.removeprefix(deciding)


def test_each_gap_that_guards_bridge_is_bridged_by_itself():
    # Of four bands the second and third meet; the first and the last stay apart.
    ends = ((460, 470), (490, 500), (502, 512), (540, 550))
    rule = DecisionRule(kind="guarded rejection", coverage_factor=2.0)
    found = spine_risks(bands(*ends), rule, 505.0, 25.0, 1.0)
    both = norm(505.0, math.hypot(25.0, 1.0))
    accepted = [(458, 472), (488, 514), (538, 552)]
    assert found.accepted == pytest.approx(sum(both.cdf(high) - both.cdf(low) for low, high in accepted), abs=1e-12)
