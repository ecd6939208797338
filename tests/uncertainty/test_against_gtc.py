"""Uncertainties against the GUM Tree Calculator (GTC, Measurement Standards Laboratory of New Zealand).

GTC carries values, uncertainties and degrees of freedom through any formula by automatic differentiation. The formulas
here are the small-deflection ones of handbooks, written down again: what Midspan works out by the elastica must agree
with them for a stiff shaft, and where no shaft is in it, to the last digits.
"""

import json
import math
from copy import deepcopy

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.polynomial import fit_polynomial
from midspan.calibrate.fit_tests import combined, read_back
from midspan.calibrate.reference_bar import RoundBar
from midspan.hand_bench.bench import EXAMPLE, HandBench
from midspan.hand_bench.conversion import CAUSES as HAND_CAUSES
from midspan.hand_bench.conversion import sag_for, shares
from midspan.hand_bench.gravity import normal_gravity
from midspan.hand_bench.masses import Air, Mass
from midspan.measurement.result import evaluate
from midspan.measurement.spine_budget import CAUSES
from midspan.uncertainty.budget import Budget, Contribution
from places import DATA
from synthetic import Gauge, Shaft, paper_calibration, raw_run

EXAMPLES = json.loads((DATA / "calibration_examples.json").read_text())
LOAD_N, SPAN_MM, THOU_MM = 0.880 * 9.80665, 711.2, 0.0254
STIFF_THOU = 100.0  # large-deflection terms of all sensitivities below two parts in a thousand


def known(value, u, dof=math.inf):
    return GTC.ureal(float(value), float(u), dof)


@given(st.lists(st.tuples(st.floats(1e-3, 1e3), st.floats(-10, 10), st.integers(2, 200)), min_size=1, max_size=12))
def test_any_budget(parts):
    budget = Budget(tuple(Contribution("cause", u, by, "1", dof) for u, by, dof in parts))
    expected = sum(by * known(1.0, u, dof) for u, by, dof in parts)
    assert budget.u == pytest.approx(GTC.uncertainty(expected), rel=1e-9)
    if budget.u > 0:
        assert budget.dof == pytest.approx(GTC.dof(expected), rel=1e-6)
        assert combined(*((abs(by) * u, dof) for u, by, dof in parts))[0] == pytest.approx(budget.u, rel=1e-12)


def test_the_end_gauge_of_the_gum_from_its_formula():
    # JCGM 100:2008, H.1: l = ls + d - ls (d_alpha theta + alpha_s d_theta), in nm and K. u 31.7 nm, 16.7 degrees of
    # freedom; the budget's sensitivities are those of equation H.4.
    ls, d = known(50_000_623, 25, 18), known(215, 5.8, 24) + known(0, 3.9, 5) + known(0, 6.7, 8)
    alpha, theta = known(11.5e-6, 1.2e-6), known(-0.1, 0.41)
    d_alpha, d_theta = known(0, 0.58e-6, 50), known(0, 0.029, 2)
    length = ls + d - ls * (d_alpha * theta + alpha * d_theta)
    budget = Budget(
        (
            Contribution("standard", 25.0, 1.0, "nm", 18),
            Contribution("readings", 5.8, 1.0, "nm", 24),
            Contribution("comparator, random", 3.9, 1.0, "nm", 5),
            Contribution("comparator, systematic", 6.7, 1.0, "nm", 8),
            Contribution("expansion", 0.58e-6, 50_000_623 * 0.1, "1/K", 50),
            Contribution("temperature", 0.029, -50_000_623 * 11.5e-6, "K", 2),
        )
    )
    assert round(length.x) == 50_000_838
    assert budget.u == pytest.approx(GTC.uncertainty(length), rel=1e-9)
    assert budget.dof == pytest.approx(GTC.dof(length), rel=1e-9)


def test_the_thermometer_of_the_gum():
    published = EXAMPLES["thermometer"]
    t = np.array(published["temperature_c"]) - published["t0_c"]
    fit, expected = fit_polynomial(t, published["correction_c"], 1), GTC.type_a.line_fit(t, published["correction_c"])
    for mine, theirs in zip(zip(fit.coefficients, fit.u, strict=True), expected.a_b, strict=True):
        assert mine == pytest.approx((theirs.x, theirs.u), rel=1e-10)
    assert fit.covariance[0, 1] / fit.u.prod() == pytest.approx(GTC.get_correlation(*expected.a_b), rel=1e-9)
    assert fit.degrees_of_freedom == GTC.dof(expected.a_b[0])


def test_reading_back_a_temperature():
    # Half the interval over t is u(x) to first order: GTC's, from the line's covariance and the scatter of a reading.
    published = EXAMPLES["pressure_temperature"]
    fit = fit_polynomial(published["temperature"], published["pressure"], 1)
    _, low, high = read_back(fit, published["new_pressure"], (0.0, 100.0))
    line = GTC.type_a.line_fit(published["temperature"], published["pressure"])
    x = line.x_from_y([published["new_pressure"]])
    t = GTC.reporting.k_factor(GTC.dof(x))
    assert (high - low) / 2 == pytest.approx(t * GTC.uncertainty(x), rel=2e-3)


@pytest.mark.parametrize(("u_density", "u_air"), [(140.0, 0.0), (0.0, 0.05)])
def test_the_force_of_a_mass_in_air(u_density, u_air):
    # One of the two uncertain at a time: their product, which Midspan keeps, is of second order.
    gravity = normal_gravity(47.0, 400.0)
    force = Mass("steel", 880.0, 0.05, 7950.0, u_density).force_n(gravity, Air(1.15, u_air))
    mass, density, air = known(0.880, 5e-5), known(7950.0, u_density), known(1.15, u_air)
    expected = mass * (1 - 1.2 / 8000) / (1 - 1.2 / density) * (1 - air / density) * gravity
    assert force.newtons == pytest.approx(expected.x, rel=1e-12)
    assert force.u_mass_n == pytest.approx(GTC.rp.u_component(expected, mass), rel=1e-12)
    buoyancy = math.hypot(GTC.rp.u_component(expected, density), GTC.rp.u_component(expected, air))
    assert force.u_buoyancy_n == pytest.approx(buoyancy, rel=1e-9)


@pytest.mark.parametrize("inner_mm", [0.0, 6.0])
def test_a_reference_bar_or_tube(inner_mm):
    found = RoundBar("steel", 8.0, 0.004, 205.0, 2.0, inner_mm, 0.01 if inner_mm else 0.0).expected()
    outer, modulus, inner = known(8.0, 0.004), known(205.0e3, 2.0e3), known(inner_mm, 0.01 if inner_mm else 0.0)
    expected = LOAD_N * SPAN_MM**3 / (48 * modulus * math.pi * (outer**4 - inner**4) / 64) / THOU_MM
    assert found.spine_thou == pytest.approx(expected.x, rel=1e-3)
    assert found.u_spine_thou == pytest.approx(GTC.uncertainty(expected), rel=2e-3)


def test_the_gauge_on_a_stiff_shaft():
    # Deflection between two depths over force between them, referred to 880 g on 28 in.
    calibration = paper_calibration(force={"dof_scale": 6.0}, travel={"dof_scale": 12.0}, span={"dof_span": 4.0})
    shaft = Shaft(spine_thou=STIFF_THOU, spread_thou=0.0, bow_mm=0.0)
    run = raw_run(shaft, Gauge(noise_n=4e-5), np.random.default_rng(1))
    (result,) = evaluate([run], calibration)
    per_count, per_step = known(1.0, calibration.force.u_scale, 6.0), known(1.0, calibration.travel.u_scale, 12.0)
    give = known(calibration.frame.give_mm_per_n, calibration.frame.u_give_mm_per_n)
    span = known(calibration.span.span_mm, calibration.span.u_span_mm, 4.0)
    force_n = 0.9 * LOAD_N * per_count
    head_mm = (0.9 * STIFF_THOU * THOU_MM + give.x * 0.9 * LOAD_N) * per_step
    expected = (head_mm - give * force_n) / force_n * LOAD_N * (SPAN_MM / span) ** 3 / THOU_MM
    place = {name: i for i, (name, _) in enumerate(CAUSES)}
    causes = {"force scale": per_count, "travel scale": per_step, "frame give": give, "span": span}
    for name, quantity in causes.items():
        mine = abs(result.u_causes[place[name]] * result.sensitivities[place[name]])
        assert mine == pytest.approx(abs(GTC.rp.u_component(expected, quantity)), rel=5e-3), name


def test_the_hand_bench_on_a_stiff_shaft():
    content = deepcopy(EXAMPLE)
    content["frame"] = {"give_mm_per_n": 0.002, "u_give_mm_per_n": 2e-4}
    content["span"]["span_mm"] = 650.0
    bench = HandBench.model_validate(content)
    sunk = sag_for(bench, STIFF_THOU)
    u_inputs, sensitivities = shares(bench, sunk, 0.1)
    dial, force = known(sunk, bench.indicator.u_error_mm), known(0.0, bench.indicator.u_force_change_n)
    mass, gravity = known(0.880, 5e-4), known(9.80665, bench.place.u_gravity_m_s2)
    span, give = known(650.0, bench.span.u_span_mm), known(0.002, 2e-4)
    sink, warmer = known(bench.shafts.sink_mm_per_n, bench.shafts.u_sink_mm_per_n), known(0.0, 5 / math.sqrt(3))
    load = mass * gravity * bench.load_n / (0.880 * 9.80665) + force
    sag, long = dial - (give + sink) * load, span * (1 + bench.span.expansion_per_k * warmer)
    expected = sag * LOAD_N / load * (SPAN_MM / long) ** 3 / THOU_MM
    place = {name: i for i, (name, _) in enumerate(HAND_CAUSES)}
    assert expected.x == pytest.approx(STIFF_THOU, rel=1e-3)
    causes = {"dial error": dial, "dial force": force, "mass": mass, "gravity": gravity, "span": span,
              "give of supports": give, "sinking": sink, "temperature": warmer}  # fmt: skip
    for name, quantity in causes.items():
        mine = abs(u_inputs[place[name]] * sensitivities[place[name]])
        assert mine == pytest.approx(abs(GTC.rp.u_component(expected, quantity)), rel=2e-3), name
