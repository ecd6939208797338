"""The budget of the spine: every share against the change that its cause really makes.

JCGM 100:2008 (GUM), 5.1.3: a share is the standard uncertainty of a cause times the derivative of the result by
it. Each derivative is checked by evaluating the same readings under a calibration changed a little.
"""

import math

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from midspan.measurement.spine_budget import CAUSES
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
