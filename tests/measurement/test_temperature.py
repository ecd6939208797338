"""Runs at another temperature than the calibration's, on a gauge on paper whose beam, screw and cell have warmed."""

import math
from dataclasses import replace

import numpy as np
import pytest
from midspan.measurement.result import evaluate
from midspan.measurement.warmth import of_temperature, warmth_of
from synthetic import Gauge, Shaft, drawn_gauge, paper_calibration, raw_run

# Expansion of aluminium and carbon steel, 1e-6 per K: 23.4 and 11.7 (Callister, Materials Science and Engineering,
# appendix B.6).
BEAM, SCREW = 23.4e-6, 11.7e-6
WARM = paper_calibration(
    span={"expansion_per_k": BEAM, "u_expansion_per_k": 2e-6},
    travel={"expansion_per_k": SCREW, "u_expansion_per_k": 1e-6},
    force={"u_per_k": 5e-5},
)


def run_at(temperature_c, spine_thou=500.0, said=True):
    """Return a run of a shaft at a temperature on a gauge that was calibrated at 20 °C."""
    warmer = temperature_c - 20
    gauge = Gauge(noise_n=4e-5, span_mm=711.2 * (1 + BEAM * warmer), mm_per_step=0.0025 * (1 + SCREW * warmer))
    run = raw_run(Shaft(spine_thou=spine_thou), gauge, np.random.default_rng(1))
    return replace(run, temperature_centi=round(100 * temperature_c)) if said else run


def result_of(run, calibration=WARM):
    (result,) = evaluate([run], calibration)
    return result


@pytest.mark.parametrize("spine_thou", [300.0, 500.0, 1000.0])
@pytest.mark.parametrize("temperature_c", [15.0, 25.0, 40.0])
def test_what_is_known_of_span_and_screw_is_corrected(spine_thou, temperature_c):
    result = result_of(run_at(temperature_c, spine_thou))
    assert result.temperature_c == temperature_c
    assert result.spine_thou == pytest.approx(spine_thou, abs=0.01)


def test_without_a_thermometer_the_middle_of_the_range_is_taken_and_its_width_counts():
    result = result_of(run_at(25.0, said=False))
    assert result.temperature_c is None
    # A beam 5 K longer: three times as much in the deflection; a screw 5 K longer once.
    assert 500.0 - result.spine_thou == pytest.approx(-500 * 5 * (3 * BEAM - SCREW), rel=0.02)
    part = next(part for part in result.budget.contributions if part.name == "temperature")
    assert part.u_input == pytest.approx(5 / math.sqrt(3))  # GUM 4.3.7
    assert not result.doubts


def test_beyond_the_range_a_run_is_doubted_and_less_sure():
    inside, outside = (result_of(run_at(kelvin)) for kelvin in (25.0, 9.0))
    assert not inside.doubts
    assert len(outside.doubts) == 1
    shares = [result.budget.of("temperature") for result in (inside, outside)]
    # 5 K off, and 11 of which 6 lie beyond and count twice; the thermometer's 1 K is in both.
    scale, steel, beam = 500 * 5e-5 * 1.0, 500 * 1e-6, 3 * 500 * 2e-6
    for share, kelvin in zip(shares, (5.0, 17.0), strict=True):
        known = 500 * (3 * BEAM - SCREW)
        assert share == pytest.approx(math.hypot(kelvin * math.hypot(scale, steel, beam), math.hypot(
            math.hypot(scale, steel, beam), known)), rel=0.05)  # fmt: skip


@pytest.mark.parametrize(("temperature_c", "named"), [(14.9, True), (15.0, False), (25.0, False), (25.1, True)])
def test_both_ends_of_the_range_are_inside(temperature_c, named):
    assert bool(of_temperature(WARM, temperature_c)) == named
    assert (warmth_of([temperature_c], WARM).beyond_k[0] > 0) == named


def test_an_uneven_range_is_as_likely_on_either_side_of_its_middle():
    cold = paper_calibration(calibration={"temperature_range_c": (10.0, 22.0)})
    found = warmth_of([None], cold)
    assert found.off_k[0] == -4.0
    assert found.u_off_k[0] == pytest.approx(6 / math.sqrt(3))


@pytest.mark.slow
def test_spine_spread_and_runout_vary_together_as_stated():
    """Measure a shaft on many gauges that differ as the calibration allows: JCGM 102, 6.2."""
    rng = np.random.default_rng(3)
    round_rollers = {"u_roller_mm": 0.0, "u_slip_between_depths": 0.0}
    calibration = paper_calibration(
        {}, force={"u_scale": 2e-3}, travel={"u_scale": 2e-3}, rotation=round_rollers, span={"u_axial_friction": 0.0}
    )
    shaft = Shaft(spread_thou=15.0, bow_mm=0.3)
    runs = [raw_run(shaft, drawn_gauge(rng, calibration, spikes=0.0, noise_n=4e-5), rng) for _ in range(400)]
    results = evaluate(runs, calibration)
    stated = np.reshape([result.covariance for result in results], (-1, 3, 3)).mean(axis=0)
    found = np.cov([(result.spine_thou, result.spread_thou, result.runout_mm) for result in results], rowvar=False)
    u = np.sqrt(np.diag(stated))
    assert stated == pytest.approx(stated.T)
    assert np.diag(found) / np.diag(stated) == pytest.approx(1.0, abs=0.3)
    assert found / np.outer(u, u) == pytest.approx(stated / np.outer(u, u), abs=0.25)
    assert (stated / np.outer(u, u))[0, 1] > 0.9
