"""The budget of the spine: every share against the change that its cause really makes.

JCGM 100:2008 (GUM), 5.1.3: a share is the standard uncertainty of a cause times the derivative of the result by
it. Each derivative is checked by evaluating the same readings under a calibration changed a little.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.measurement.result import evaluate
from midspan.measurement.spine_budget import CAUSES
from midspan.uncertainty.budget import Budget, Contribution, Coverage, coverage_factor
from synthetic import Gauge, Shaft, paper_calibration, raw_run

SPINES = (150.0, 500.0, 1000.0, 1500.0)
CAL = paper_calibration()


def readings(spine_thou=500.0, **gauge):
    """A run with little noise, so that differences are the conversion's own."""
    gauge = Gauge(noise_n=4e-5, **gauge)
    return raw_run(Shaft(spine_thou=spine_thou), gauge, np.random.default_rng(1))


def result_of(run, calibration=CAL):
    (outcome,) = evaluate([run], calibration)
    return outcome


def cause(result, name):
    """Standard uncertainty of one cause in its own unit, and its sensitivity in thou per unit."""
    place = [known for known, _ in CAUSES].index(name)
    return result.u_causes[place], result.sensitivities[place]


def change(run, **sections):
    """Change of the spine in thou when the calibration changes, per unit, by central difference."""
    ((section, (key, step)),) = sections.items()
    value = getattr(getattr(CAL, section), key)
    low, high = (paper_calibration(**{section: {key: value + part}}) for part in (-step, step))
    return (result_of(run, high).spine_thou - result_of(run, low).spine_thou) / (2 * step)


@pytest.mark.parametrize("spine_thou", SPINES)
def test_sensitivity_to_the_scales_and_lengths(spine_thou):
    run = readings(spine_thou)
    result = result_of(run)
    per_count, per_step = CAL.force.newton_per_count, CAL.travel.mm_per_step
    found = {
        "force scale": per_count * change(run, force=("newton_per_count", per_count * 1e-4)),
        "travel scale": per_step * change(run, travel=("mm_per_step", per_step * 1e-4)),
        "frame give": change(run, frame=("give_mm_per_n", 1e-5)),
        "span": change(run, span=("span_mm", 0.01)),
    }
    for name, expected in found.items():
        assert cause(result, name)[1] == pytest.approx(expected, rel=3e-3), name


@pytest.mark.parametrize("spine_thou", SPINES)
def test_signs_are_those_of_the_handbook(spine_thou):
    # spine ~ travel / force x (28 in / L)^3: more travel softer; more force, longer span or more give stiffer.
    result = result_of(readings(spine_thou))
    assert cause(result, "travel scale")[1] == pytest.approx(spine_thou, rel=0.2)
    assert cause(result, "force scale")[1] == pytest.approx(-spine_thou, rel=0.2)
    assert cause(result, "span")[1] == pytest.approx(-3 * spine_thou / CAL.span.span_mm, rel=0.1)
    # A newton of the standard load takes the give of one newton: 8.63 N x 1 mm/N / 0.0254 mm.
    assert cause(result, "frame give")[1] == pytest.approx(-8.629852 / 0.0254, rel=0.1)


@pytest.mark.parametrize("spine_thou", [150.0, 500.0, 1000.0])
def test_sensitivity_to_a_zero(spine_thou):
    # A zero before that reads 1000 counts too much; the line to the zero after carries a part to each depth.
    run = readings(spine_thou)
    result = result_of(run)
    for name, phase in (("zero before", 0), ("zero after", -1)):
        counts = run.counts.copy()
        number = run.segments[phase][1]
        counts[:number] += 1000 * (phase == 0)
        counts[len(counts) - number :] += 1000 * (phase == -1)
        moved = type(run)(**{name: getattr(run, name) for name in run.__slots__} | {"counts": counts})
        per_newton = (result_of(moved).spine_thou - result.spine_thou) / (1000 * CAL.force.newton_per_count)
        # The share counts what the zero adds to the force, the change above what it takes away: only size matters.
        assert abs(cause(result, name)[1]) == pytest.approx(abs(per_newton), rel=0.03)


@pytest.mark.parametrize("spine_thou", [150.0, 500.0, 1000.0, 1500.0])
def test_a_bent_cell_line_moves_the_spine_by_its_share(spine_thou):
    # 0.01 N too much at the standard load, growing with the square of the force.
    straight, bent = result_of(readings(spine_thou)), result_of(readings(spine_thou, linearity_n=0.01))
    share = 0.01 * cause(straight, "force linearity")[1]
    assert bent.spine_thou - straight.spine_thou == pytest.approx(share, rel=0.12)


@pytest.mark.parametrize("spine_thou", [500.0, 1000.0, 1500.0])
def test_vertical_reactions_move_the_spine_by_the_bound_of_its_share(spine_thou):
    # The result is that of the middle; the share is rectangular (GUM 4.3.7) up to either condition.
    normal, vertical = (result_of(readings(spine_thou, vertical=end)) for end in (0.0, 1.0))
    bound = math.sqrt(3) * result_of(readings(spine_thou)).budget.of("support reactions")
    assert normal.spine_thou - spine_thou == pytest.approx(bound, rel=0.04)
    assert vertical.spine_thou - spine_thou == pytest.approx(-bound, rel=0.04)
    # Design figures: a slope from a tenth of the load to all of it is off by 1.5 thou at 1000, 5.2 at 1500.
    limit = {500.0: 0.2, 1000.0: 1.5, 1500.0: 5.2}[spine_thou]
    assert 0.25 * limit < bound < limit / 2


def test_shear_counts_only_on_another_span():
    assert result_of(readings()).budget.of("shear") < 1e-12
    run = readings(span_mm=660.4)
    other = result_of(run, paper_calibration(span={"span_mm": 660.4}))
    # The share of shear in bending grows as 1 / L^2 and is at most 0.1 % at 28 in (Cowper 1966; see beams.json).
    largest = 1e-3 * ((711.2 / 660.4) ** 2 - 1) * other.spine_thou
    assert other.spine_thou == pytest.approx(500.0, abs=0.02)
    assert other.budget.of("shear") == pytest.approx(largest / 2 / math.sqrt(3), rel=1e-3)


def test_the_shares_make_the_uncertainty():
    result = result_of(readings())
    assert len(result.u_causes) == len(result.sensitivities) == len(CAUSES)
    assert result.budget.u == pytest.approx(result.u_spine_thou, rel=1e-12)


def test_the_example_calibration_keeps_the_designs_aim():
    # U (k = 2) of 0.5 thou at spine 500, repeatability of 0.05 thou, with ordinary noise.
    run = raw_run(Shaft(), Gauge(), np.random.default_rng(1))
    budget = result_of(run).budget
    assert 0.3 < budget.expanded(2.0) < 0.5
    repeatable = [budget.of(name) for name in ("scatter of the readings", "zero before", "zero after", "zero drift")]
    assert math.hypot(*repeatable) < 0.05


def test_shares_of_the_design_table():
    # Spine 500, k = 2: span to 0.1 mm 0.2 thou, force scale to 0.05 % 0.25, travel to 0.03 % 0.15, 5 % of
    # 1e-5 m/N 0.34: small-deflection arithmetic. Here each expanded figure is halved to a standard uncertainty.
    cal = paper_calibration(
        span={"u_span_mm": 0.05},
        force={"u_scale": 2.5e-4},
        travel={"u_scale": 1.5e-4},
        frame={"u_give_mm_per_n": 5e-4},
    )
    budget = result_of(readings(), cal).budget
    for name, expanded in (("span", 0.2), ("force scale", 0.25), ("travel scale", 0.15), ("frame give", 0.34)):
        assert 2 * budget.of(name) == pytest.approx(expanded, rel=0.1), name


# The combination


CAUSE_LISTS = st.lists(st.tuples(st.floats(0, 1e3), st.floats(-1e3, 1e3)), min_size=1, max_size=12)


def budget_of(shares):
    return Budget(tuple(Contribution(f"cause {i}", u, c, "1") for i, (u, c) in enumerate(shares)))


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
            Contribution("difference in expansion", 0.58e-6, -0.1 * 50_000_623 / 1.0, "1/K", 50),
            Contribution("difference in temperature", 0.029, -11.5e-6 * 50_000_623, "K", 2),
        )
    )
    assert round(budget.of("difference in expansion"), 1) == 2.9
    assert round(budget.of("difference in temperature"), 1) == pytest.approx(16.6, abs=0.11)
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
    for one, other, published in (("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)):
        covariance = sum(u**2 * by * to for (u, _), by, to in zip(parts, shares[one], shares[other], strict=True))
        assert covariance / (budgets[one].u * budgets[other].u) == pytest.approx(published, abs=0.001)


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
