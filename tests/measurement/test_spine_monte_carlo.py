"""The spine by Monte Carlo against its own budget: two ways to one uncertainty, the elastica in both."""

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from midspan.measurement.spine_monte_carlo import spine_trials
from midspan.uncertainty.monte_carlo import agreement
from synthetic import Gauge, Shaft, paper_calibration, raw_run


def result_of(spine_thou=500.0, **sections):
    run = raw_run(Shaft(spine_thou=spine_thou), Gauge(), np.random.default_rng(1))
    (result,) = evaluate([run], paper_calibration(**sections))
    return result


@pytest.mark.parametrize("spine_thou", [150.0, 500.0, 1000.0, 1500.0])
def test_trials_validate_the_budget(spine_thou):
    result = result_of(spine_thou)
    found = spine_trials(result)
    assert found.mean == pytest.approx(result.spine_thou, abs=0.02 * result.u_spine_thou)
    assert found.u == pytest.approx(result.u_spine_thou, rel=0.01)
    assert agreement(result.spine_thou, result.budget.expanded(), found).holds


CAUSES_ALONE = [
    {"force": {"u_scale": 2e-3, "u_linearity_n": 0.0}},
    {"force": {"u_scale": 0.0, "u_linearity_n": 0.01}},
    {"travel": {"u_scale": 2e-3, "u_screw_mm": 0.0}},
    {"travel": {"u_scale": 0.0, "u_screw_mm": 0.005}},
    {"frame": {"u_give_mm_per_n": 1e-3}},
    {"span": {"u_span_mm": 0.5, "vertical_share": (0.5, 0.5)}},
    {"span": {"u_span_mm": 0.0, "vertical_share": (0.0, 1.0)}},
    {"span": {"u_span_mm": 0.0, "rim_mm": 4.0, "u_rim_mm": 1.5}},
    {"span": {"u_span_mm": 0.0, "u_axial_friction": 0.02}},
    {"span": {"u_span_mm": 0.0, "sink_mm_per_n": 2e-3, "u_sink_mm_per_n": 1e-3}},
    {"span": {"u_span_mm": 0.0, "expansion_per_k": 2e-4}},
]
NONE_OF_THEM = {
    "force": {"u_scale": 0.0, "u_linearity_n": 0.0},
    "travel": {"u_scale": 0.0, "u_screw_mm": 0.0},
    "frame": {"u_give_mm_per_n": 0.0},
    "span": {"u_span_mm": 0.0, "vertical_share": (0.5, 0.5)},
}


@pytest.mark.parametrize("each", CAUSES_ALONE)
def test_every_cause_alone_goes_through_the_elastica_as_through_its_sensitivity(each):
    result = result_of(900.0, **{**NONE_OF_THEM, **each})
    assert result.u_spine_thou > 5 * result.budget.of("scatter of the readings")
    assert spine_trials(result).u == pytest.approx(result.u_spine_thou, rel=0.015)


def test_where_the_supports_decide_the_interval_is_narrower_than_that_of_a_normal_distribution():
    result = result_of(1500.0, span={"vertical_share": (0.0, 1.0)})
    assert result.budget.of("support reactions") > 0.8 * result.u_spine_thou
    found = spine_trials(result)
    assert 1.6 < (found.symmetric[1] - found.symmetric[0]) / (2 * found.u) < 1.9


def test_a_calibration_of_few_readings_widens_both_ways_alike():
    result = result_of(frame={"u_give_mm_per_n": 1e-3, "dof_give": 4})
    found, expanded = spine_trials(result), result.budget.expanded()
    assert result.budget.k() > 2.3
    assert found.symmetric[1] - result.spine_thou == pytest.approx(expanded, rel=0.08)


def test_the_same_seed_gives_the_same_numbers_and_another_others():
    result = result_of()
    assert spine_trials(result, 1000, seed=3) == spine_trials(result, 1000, seed=3)
    assert spine_trials(result, 1000, seed=3) != spine_trials(result, 1000, seed=4)
    assert spine_trials(result, 150_000).trials == 150_000


def test_causes_known_by_their_bounds_alone_have_the_spread_of_a_rectangle():
    # Shear on another span, and the way of a drifting zero: half width over the root of three (JCGM 101, 6.4.2).
    for gauge, cause in ((Gauge(span_mm=500.0), "shear"), (Gauge(drift_n=0.5), "zero drift")):
        sections = NONE_OF_THEM | {"span": {**NONE_OF_THEM["span"], "span_mm": gauge.span_mm}}
        run = raw_run(Shaft(spine_thou=900.0), gauge, np.random.default_rng(1))
        (result,) = evaluate([run], paper_calibration(**sections))
        assert result.budget.of(cause) > 0.8 * result.u_spine_thou
        assert spine_trials(result).u == pytest.approx(result.u_spine_thou, rel=0.015)
