"""A nut that changes flank on the way to the full depth, on the real device code; a sound nut shows no step."""

from dataclasses import replace

import numpy as np
import pytest
from in_memory import measured
from midspan.archive.raw_run import Phase
from midspan.measurement.conversion import mean_point
from midspan.measurement.nut_step import nut_steps
from midspan.measurement.result import evaluate

# Beside the counterweight's 4.9 N: a carriage that is 5 N too heavy. The drag of 2 N turns it over at 3 N.
HEAVY = {"lift_n": -5.0, "drag_n": 2.0}


def step_of(run, result, calibration):
    """Return height, mm, its u, and force at the step of a run."""
    forces = (np.array([value]) for value in (result.light_load_n, result.load_n, result.travel_mm))
    point = mean_point(*forces, calibration)
    found = nut_steps([run], point.flexibility, np.array([result.rest_scatter_n]), calibration)
    return float(found.height_mm[0]), float(found.u_mm[0]), float(found.load_n[0])


@pytest.mark.parametrize("spine", [300.0, 500.0, 1000.0])
def test_play_that_turns_over_is_found_with_its_size_and_place(spine):
    *_, calibration, run, result = measured({"spine_thou": spine}, HEAVY | {"backlash_mm": 0.03})
    height, u, load = step_of(run, result, calibration)
    assert height == pytest.approx(0.03, abs=0.006)
    assert 0 < u < 0.006
    assert load == pytest.approx(3.0, abs=0.8)
    assert len(result.faults) == 1
    assert f"{height:.3f} mm" in result.faults[0]


@pytest.mark.parametrize(
    "gauge",
    [
        {"backlash_mm": 0.03},  # held by the counterweight
        {"backlash_mm": 0.03, "lift_n": -15.0},  # pressed down harder than any shaft pushes up
        {"backlash_mm": 0.0, "lift_n": -5.0},  # turned over, but without play
        {"backlash_mm": 0.03, "screw_periodic_mm": 0.004, "noise_count": 90.0},
        # All that bends the way to the full depth smoothly: friction at the ends, walls that give, creep, a warm cell.
        {
            "friction": 0.3,
            "sink_mm_at_standard": 0.02,
            "rim_radius_mm": 2.0,
            "warmup_n": 0.03,
            "shaft_creep": 5e-4,
            "microstep_mm": 0.001,
        },
    ],
)
def test_a_nut_that_stays_on_its_flank_is_no_fault(gauge):
    for seed, spine in enumerate((260.0, 500.0, 900.0)):
        *_, result = measured({"spine_thou": spine}, gauge | {"screw_periodic_deg": 70.0 * seed})
        assert result.faults == ()


def test_a_spike_neither_hides_the_step_nor_makes_one():
    for gauge, faults in ((HEAVY | {"backlash_mm": 0.03}, 1), ({}, 0)):
        *_, calibration, run, _ = measured({}, gauge)
        way = run.phase_slice(Phase.DEEPEN)
        counts = run.counts.copy()
        counts[way.start + 20] += 200_000
        counts[way.start + 40] = counts[way.start + 39]
        (result,) = evaluate([replace(run, counts=counts)], calibration)
        assert len(result.faults) == faults


def test_nothing_is_told_where_the_readings_cannot_tell():
    *_, calibration, run, result = measured({}, HEAVY | {"backlash_mm": 0.03})
    unknown = replace(run, firmware="0.9"), calibration.model_copy(update={"filter": None})
    (older,) = evaluate([unknown[0]], unknown[1])
    assert older.faults == ()
    height, u, _ = step_of(unknown[0], result, unknown[1])
    assert (height, u) == (0.0, np.inf)


def test_it_is_found_within_the_bounds_of_a_filter_that_was_never_calibrated():
    for gauge, faults in ((HEAVY | {"backlash_mm": 0.03}, 1), ({}, 0)):
        *_, calibration, run, _ = measured({}, gauge)
        (result,) = evaluate([run], calibration.model_copy(update={"filter": None}))
        assert len(result.faults) == faults


@pytest.mark.parametrize("kind", ["none", "average2", "average8", "sinc3"])
def test_a_filter_that_was_never_calibrated_makes_no_step_of_its_own(kind):
    """The bounds that stand in for it are those of usual converters; some of these lie outside."""
    for spine in (300.0, 700.0):
        *_, calibration, run, _ = measured({"spine_thou": spine}, {"filter": kind})
        (result,) = evaluate([run], calibration.model_copy(update={"filter": None}))
        assert result.faults == ()
