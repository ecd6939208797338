"""Friction along the shaft that the calibration knows is taken out of the readings of a gauge that has it."""

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from synthetic import Gauge, Shaft, paper_calibration, raw_run

UNEVEN = {"spread_thou": 12.0, "bow_mm": 0.2}


def found_of(spine_thou, friction, known):
    """Return the result of a shaft on a gauge with friction, by a calibration that knows some."""
    gauge = Gauge(noise_n=0.0, rim_mm=3.0, friction=friction, slip=0.0)
    run = raw_run(Shaft(spine_thou=spine_thou, **UNEVEN), gauge, np.random.default_rng(1))
    calibration = paper_calibration(span={"rim_mm": 3.0, "axial_friction": known})
    (result,) = evaluate([run], calibration)
    return result


@pytest.mark.parametrize("spine_thou", [300.0, 500.0, 1000.0])
@pytest.mark.parametrize("friction", [0.01, -0.02, 0.05])
def test_known_friction_is_taken_out_of_spine_and_spread(spine_thou, friction):
    # The paper gauge integrates the shaft with leaning reactions. Its spine is that under normal ones.
    without, with_it = found_of(spine_thou, 0.0, 0.0), found_of(spine_thou, friction, friction)
    ignored = found_of(spine_thou, friction, 0.0)
    moved = spine_thou * 2.4 * friction * spine_thou * 0.0254 / 711.2  # to first order
    assert without.spine_thou - ignored.spine_thou == pytest.approx(moved, rel=0.15)
    assert with_it.spine_thou == pytest.approx(without.spine_thou, abs=0.03 * abs(moved))
    assert with_it.spread_thou == pytest.approx(without.spread_thou, abs=0.02)


def test_friction_that_is_known_exactly_leaves_the_uncertainty_of_the_spine_as_it_is():
    without, with_it = found_of(500.0, 0.0, 0.0), found_of(500.0, 0.01, 0.01)
    assert with_it.u_spine_thou == pytest.approx(without.u_spine_thou, rel=0.1)
