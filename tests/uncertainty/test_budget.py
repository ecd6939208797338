"""Budgets and coverage factors against the examples of the GUM (JCGM 100:2008) and of the NIST handbook."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.uncertainty.budget import Budget, Contribution, Coverage, coverage_factor

# The combination


CAUSE_LISTS = st.lists(st.tuples(st.floats(0, 1e3), st.floats(-1e3, 1e3)), min_size=1, max_size=12)


def budget_of(shares):
    return Budget(tuple(Contribution(f"cause {i}", u, c, "1") for i, (u, c) in enumerate(shares)))


@pytest.mark.slow
@given(CAUSE_LISTS)
def test_combined_is_the_root_of_the_sum_of_squares(shares):
    # GUM equation 10.
    expected = math.sqrt(sum((u * c) ** 2 for u, c in shares))
    assert budget_of(shares).u == pytest.approx(expected, rel=1e-12)


@given(CAUSE_LISTS)
def test_the_order_of_the_causes_does_not_matter(shares):
    assert budget_of(shares).u == budget_of(shares[::-1]).u


@given(CAUSE_LISTS)
def test_the_portions_add_up(shares):
    budget = budget_of(shares)
    assert sum(budget.portion(part) for part in budget.contributions) == pytest.approx(float(budget.u > 0))


DOF_LISTS = st.lists(
    st.tuples(st.floats(1e-3, 1e3), st.floats(1, 1e3) | st.just(math.inf)), min_size=1, max_size=8
)  # fmt: skip


def dof_budget(parts, unit=1.0):
    return Budget(tuple(Contribution(f"cause {i}", u * unit, 1.0, "1", dof) for i, (u, dof) in enumerate(parts)))


@given(DOF_LISTS, st.sampled_from([1e-12, 25.4, 1e9]))
def test_other_units_change_neither_degrees_of_freedom_nor_k(parts, unit):
    here, there = dof_budget(parts), dof_budget(parts, unit)
    assert there.dof == pytest.approx(here.dof, rel=1e-9)
    assert there.u == pytest.approx(unit * here.u)


@given(DOF_LISTS)
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(parts):
    # JCGM 100:2008, G.4.2, note 1.
    dof = dof_budget(parts).dof
    assert min(part[1] for part in parts) * (1 - 1e-9) <= dof
    assert dof <= sum(part[1] for part in parts) * (1 + 1e-9)


@given(st.floats(1, 1e4), st.floats(1, 10), st.floats(0.5, 0.99))
def test_k_falls_with_more_degrees_of_freedom_and_rises_with_the_probability(dof, more, probability):
    assert coverage_factor(dof * more, probability) <= coverage_factor(dof, probability)
    assert coverage_factor(math.inf, probability) < coverage_factor(dof, probability)
    assert coverage_factor(dof, probability) < coverage_factor(dof, (1 + probability) / 2)


# Published budgets


@pytest.mark.parametrize(
    ("dof", "percent", "k"),
    [(1, 95, 12.71), (2, 95, 4.30), (4, 95, 2.78), (10, 95, 2.23), (50, 95, 2.01), (math.inf, 95, 1.960),
     (5, 99, 4.03), (20, 95.45, 2.13), (100, 68.27, 1.005), (16, 99, 2.92)],
)  # fmt: skip
def test_coverage_factors_of_the_gum(dof, percent, k):
    # JCGM 100:2008, table G.2 (from memory).
    assert coverage_factor(dof, percent / 100) == pytest.approx(k, abs=0.005)


def test_the_end_gauge_of_the_gum():
    # JCGM 100:2008, H.1, table H.1 and H.1.6, in nm: standard, difference (repeatability, random and systematic of the
    # comparator), expansion and temperature differences. U99 from memory; u is rounded to 32 nm before it.
    budget = Budget(
        (
            Contribution("length of the standard", 25.0, 1.0, "nm", 18),
            Contribution("repeated observations", 5.8, 1.0, "nm", 24),
            Contribution("comparator, random", 3.9, 1.0, "nm", 5),
            Contribution("comparator, systematic", 6.7, 1.0, "nm", 8),
            Contribution("expansion", 0.58e-6, -0.1 * 50_000_623 / 1.0, "1/K", 50),
            Contribution("temperature", 0.029, -11.5e-6 * 50_000_623, "K", 2),
        )
    )
    assert round(budget.of("expansion"), 1) == 2.9
    assert round(budget.of("temperature"), 1) == pytest.approx(16.6, abs=0.11)
    assert round(budget.u) == 32
    assert budget.dof == pytest.approx(16.7, abs=0.15)
    assert round(budget.k(), 2) == 2.12
    assert round(budget.k(Coverage(0.99)), 2) == 2.92
    assert round(budget.k(Coverage(0.99)) * round(budget.u)) == 93


def test_the_probe_budget_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 2.6.3.4: day and run effects and the correction for the probe, in ohm cm,
    # printed as 0.0729, 0.0362, 0.0197 and 0.0162 and recomputed from the study's readings to more digits.
    budget = Budget(
        (
            Contribution("repeatability", 0.0728667, 0.0, "ohm cm", 300),
            Contribution("days", 0.0361682, math.sqrt(5 / 6), "ohm cm", 50),
            Contribution("runs", 0.0196452, 1.0, "ohm cm", 5),
            Contribution("correction for the probe", 0.0161786, math.sqrt(1 / 10), "ohm cm", 5),
        )
    )
    assert round(budget.u, 4) == 0.0388
    assert math.floor(budget.dof) == 42
    assert round(budget.k(), 3) == 2.018
    assert round(budget.expanded(), 3) == 0.078


def test_the_impedance_of_the_gum_by_uncorrelated_parts():
    # JCGM 100:2008, H.2: V, I and phi observed together five times; R = V/I cos phi, X = V/I sin phi, Z = V/I. The
    # budget knows independent causes only: correlated inputs enter as the principal parts of their covariance.
    # Correlations of the results, table H.4, from memory.
    voltage = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    current = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000
    phase = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    v, i, phi = voltage.mean(), current.mean(), phase.mean()
    z, turned = v / i, (math.cos(phi), math.sin(phi))
    gradients = {
        "R": np.array([turned[0] / i, -z * turned[0] / i, -z * turned[1]]),
        "X": np.array([turned[1] / i, -z * turned[1] / i, z * turned[0]]),
        "Z": np.array([1 / i, -z / i, 0.0]),
    }
    spread = np.diag([v, i, phi])
    relative = np.cov([voltage / v, current / i, phase / phi]) / 5
    variance, direction = np.linalg.eigh(relative)
    parts = list(zip(np.sqrt(variance), direction.T, strict=True))
    shares = {name: [float(gradient @ spread @ way) for _, way in parts] for name, gradient in gradients.items()}
    budgets = {
        name: Budget(tuple(Contribution("part", u, by, "1", 4) for (u, _), by in zip(parts, share, strict=True)))
        for name, share in shares.items()
    }
    assert [round(value, 3) for value in (z * turned[0], z * turned[1], z)] == [127.732, 219.847, 254.260]
    assert [round(budgets[name].u, 3) for name in "RXZ"] == pytest.approx([0.071, 0.295, 0.236], abs=0.0011)
    for first, second, published in (("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)):
        covariance = sum(u**2 * by * to for (u, _), by, to in zip(parts, shares[first], shares[second], strict=True))
        assert covariance / (budgets[first].u * budgets[second].u) == pytest.approx(published, abs=0.001)


def test_the_thermometer_of_the_gum_away_from_its_mean():
    # JCGM 100:2008, H.3.5: with t0 at the mean temperature, 24.0085 C, intercept (u 0.0011 C) and slope (u 0.00067)
    # are not correlated; the correction at 30 C has u 0.0041 C and 9 degrees of freedom.
    at_mean, slope = 0.00105455, 0.00066794  # recomputed from table H.6 to more digits
    assert (round(at_mean, 4), round(slope, 5)) == (0.0011, 0.00067)
    budget = Budget(
        (Contribution("intercept", at_mean, 1.0, "C", 9), Contribution("slope", slope, 30 - 24.0085, "1", 9))
    )
    assert round(budget.u, 4) == 0.0041


def test_a_cause_that_is_not_there_has_no_share():
    budget = budget_of([(0.5, -4.0)])
    assert budget.of("cause 0") == 2.0
    assert budget.of("moon") == 0.0
    assert budget.expanded(2.0) == 4.0
