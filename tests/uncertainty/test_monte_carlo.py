"""Monte Carlo against the examples of JCGM 101:2008.

The examples of clause 9 are typed in from memory and from quotations in public test files; each was found again
with a million trials of another program. A limit allows for the scatter of the trials here and for the rounding of
the published digits.
"""

import math

import numpy as np
import pytest
from midspan.uncertainty.monte_carlo import Draws, agreement, numerical_tolerance, summary

TRIALS = 400_000
ROOT_3 = math.sqrt(3)


@pytest.fixture
def draws():
    return Draws(np.random.default_rng(101), TRIALS)


# The examples of JCGM 101


def test_example_9_2_2_four_normal_inputs(draws):
    found = summary(sum(draws.normal(1.0) for _ in range(4)))
    assert found.mean == pytest.approx(0.0, abs=0.01)
    assert found.u == pytest.approx(2.00, abs=0.01)
    assert found.symmetric == pytest.approx((-3.92, 3.92), abs=0.03)
    assert found.shortest == pytest.approx((-3.92, 3.92), abs=0.08)


def test_example_9_2_3_four_rectangular_inputs(draws):
    found = summary(sum(draws.rectangular(ROOT_3) for _ in range(4)))
    assert found.u == pytest.approx(2.00, abs=0.01)
    exact = 2 * ROOT_3 * (2 - (3 / 5) ** 0.25)  # the analytical end that the example gives
    assert round(exact, 2) == 3.88
    assert found.symmetric == pytest.approx((-exact, exact), abs=0.02)
    # The law of propagation gives 3.92: validated for two digits of u, not for three.
    assert agreement(0.0, 1.96 * 2.0, found, digits=1).holds
    assert agreement(0.0, 1.96 * 2.0, found, digits=2).holds  # 0.04 apart, 0.05 allowed
    assert not agreement(0.0, 1.96 * 2.0, found, digits=3).holds


def test_example_9_2_4_one_rectangular_input_dominates(draws):
    found = summary(sum(draws.rectangular(ROOT_3) for _ in range(3)) + draws.rectangular(10 * ROOT_3))
    assert found.u == pytest.approx(10.1, abs=0.06)
    assert found.symmetric == pytest.approx((-17.0, 17.0), abs=0.1)
    check = agreement(0.0, 1.96 * math.sqrt(103), found)  # 19.9, and so far too wide
    assert check.low_apart == pytest.approx(19.9 - 17.0, abs=0.15)
    assert not agreement(0.0, 1.96 * math.sqrt(103), found, digits=2).holds


def test_example_9_3_a_mass_and_the_buoyancy_of_air(draws):
    # mg and kg/m3; the first-order law sees no buoyancy at all and gives 0.054.
    mass = 100_000 + draws.normal(0.050) + 1.234 + draws.normal(0.020)
    air, weight, reference = (draws.rectangular(half) for half in (0.1, 1000.0, 50.0))
    buoyancy = (1.2 + air - 1.2) * (1 / (8000 + weight) - 1 / (8000 + reference))
    found = summary(mass * (1 + buoyancy) - 100_000)
    assert found.mean == pytest.approx(1.2341, abs=0.0006)
    assert found.u == pytest.approx(0.0754, abs=0.0004)
    assert found.shortest == pytest.approx((1.0834, 1.3825), abs=0.005)
    assert not agreement(1.234, 1.96 * 0.0539, found, digits=1).holds


@pytest.mark.parametrize(
    ("x1", "mean", "u", "shortest"),
    [(0.0, 50, 50, (0, 150)), (0.010, 150, 112, (0, 367)), (0.050, 2551, 502, (1590, 3543))],
)
def test_example_9_4_comparison_loss_of_a_power_meter(draws, x1, mean, u, shortest):
    # y = x1^2 + x2^2 in millionths, x2 = 0, u = 0.005 each, not correlated.
    found = summary(1e6 * ((x1 + draws.normal(0.005)) ** 2 + draws.normal(0.005) ** 2))
    assert found.mean == pytest.approx(mean, rel=0.004)
    assert found.u == pytest.approx(u, rel=0.01)
    assert found.shortest == pytest.approx(shortest, rel=0.01, abs=2)


def test_numerical_tolerances_of_the_guide():
    # JCGM 101, 7.9.2, examples 1 and 2: u = 0.000 35 g given as 35e-5 g; u = 2 K.
    assert numerical_tolerance(0.00035, 2) == pytest.approx(0.5e-5)
    assert numerical_tolerance(2.0, 1) == pytest.approx(0.5)
    assert numerical_tolerance(0.96, 1) == pytest.approx(0.5)  # which is 1 when written with one digit


@pytest.mark.parametrize("dof", [3.0, 8.0, 40.0])
def test_few_degrees_of_freedom_have_the_tails_of_t(draws, dof):
    # JCGM 101, 6.4.9.4: variance u^2 dof / (dof - 2); the 97.5 % point is that of t (GUM, table G.2).
    found = summary(draws.normal(1.0, dof))
    point = {3.0: 3.18, 8.0: 2.31, 40.0: 2.02}[dof]
    assert found.symmetric == pytest.approx((-point, point), abs=0.04)
    if dof > 4:
        assert found.u == pytest.approx(math.sqrt(dof / (dof - 2)), rel=0.01)


def test_intervals_hold_their_share_and_the_shortest_is_shortest(draws):
    values = draws.normal(1.0) ** 2
    found = summary(values, 0.9)
    for low, high in (found.symmetric, found.shortest):
        assert np.mean((values >= low) & (values <= high)) == pytest.approx(0.9, abs=1e-5)
    assert np.ptp(found.shortest) < np.ptp(found.symmetric)
    assert np.mean(values < found.symmetric[0]) == pytest.approx(0.05, abs=1e-5)


@pytest.mark.parametrize(("trials", "ends"), [(1000, (25, 975)), (999, (25, 974)), (990, (25, 966))])
def test_the_symmetric_interval_leaves_out_as_many_values_at_either_end(trials, ends):
    # JCGM 101:2008, 7.7.2: q = pM rounded; from the value of rank (M - q) / 2, rounded up, to that of rank q above it.
    assert summary(np.arange(1.0, trials + 1.0), 0.95).symmetric == ends
