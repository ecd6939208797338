"""The conversion at two depths against the bending law integrated step by step, and its slopes against differences.

The second truth is synthetic.py: Runge-Kutta for reactions normal to the shaft, Simpson's rule for vertical ones.
Slopes are central differences of that truth (JCGM 100:2008, 5.1.3), not derivatives taken by the code.
"""

from dataclasses import replace

import numpy as np
import pytest
from midspan.base.units import OLDER, STANDARD
from midspan.measurement import conversion
from midspan.measurement.calibrated_columns import DEPTHS, ZEROS, calibrated, columns
from midspan.measurement.depth_consistency import joined
from midspan.measurement.harmonic_fit import fit_turns
from midspan.measurement.harmonics import basis
from scipy.optimize import brentq
from synthetic import LOAD_N, SPAN_MM, Gauge, Shaft, paper_calibration, ratio_for, raw_run

VERTICAL = 0.3  # the middle of the range below
CAL = paper_calibration(
    frame={"give_mm_per_n": 0.02},
    span={"span_mm": 650.0, "vertical_share": (0.1, 0.5)},
)
THOU_MM = 0.0254


def state(flexibility, vertical=VERTICAL):
    """Return both forces in N and the travel in mm of a shaft with this L^2 / EI in 1/N, by the second truth."""
    low, high = 0.9, 8.5
    ratios = [float(ratio_for(force * flexibility, vertical)) for force in (low, high)]
    return {"low": low, "high": high, "travel": 650.0 * (ratios[1] - ratios[0]) + 0.02 * (high - low)}


def flexibility_of(low, high, travel, give=0.02, span=650.0, vertical=VERTICAL):
    """Return L^2 / EI in 1/N by the second truth, as the root of the travel left over."""
    bend = (travel - give * (high - low)) / span

    def left(y):
        return ratio_for(high * y, vertical) - ratio_for(low * y, vertical) - bend

    return brentq(left, 1e-3, 0.45, xtol=1e-15, rtol=1e-14)


def standard_thou(span=650.0, vertical=VERTICAL, to=STANDARD, **inputs):
    """Return the deflection in thou under a convention, by the second truth."""
    y = flexibility_of(span=span, vertical=vertical, **inputs)
    shear = [1 + 3.5e-3 * (SPAN_MM / length) ** 2 for length in (to.span_mm, span)]
    bending = float(ratio_for(to.load_n * (to.span_mm / span) ** 2 * y, 0.0)) * to.span_mm / THOU_MM
    return bending * shear[0] / shear[1]


def surface_mm(low, high, travel, head=20.0, give=0.02, span=650.0, vertical=VERTICAL):
    """Return the height of the surface above the head's home in mm, by the second truth."""
    y = flexibility_of(low, high, travel, give, span, vertical)
    return -(head - give * low - span * float(ratio_for(low * y, vertical)))


def slope(function, inputs, name, step):
    low, high = (function(**{**inputs, name: inputs[name] + part}) for part in (-step, step))
    return (high - low) / (2 * step)


@pytest.mark.slow
@pytest.mark.parametrize("flexibility", [0.05, 0.2, 0.35])
def test_value_and_every_slope_at_the_mean_forces(flexibility):
    inputs = state(flexibility)
    arrays = (np.array([value]) for value in inputs.values())
    point = conversion.mean_point(*arrays, CAL)
    assert point.flexibility[0] == pytest.approx(flexibility, rel=1e-9)
    assert point.deflection_thou[0] == pytest.approx(standard_thou(**inputs), rel=1e-9)
    full = {**inputs, "give": 0.02, "span": 650.0}
    by_newton = {name: slope(standard_thou, full, name, 1e-3) for name in ("low", "high")}
    assert point.by_low[0] == pytest.approx(by_newton["low"], rel=1e-5)
    assert point.by_high[0] == pytest.approx(by_newton["high"], rel=1e-5)
    assert point.by_travel[0] == pytest.approx(slope(standard_thou, full, "travel", 1e-3), rel=1e-5)
    assert point.by_give[0] == pytest.approx(slope(standard_thou, full, "give", 1e-5), rel=1e-5)
    assert point.by_span[0] == pytest.approx(slope(standard_thou, full, "span", 1e-2), rel=1e-5)
    assert point.surface_by_low[0] == pytest.approx(slope(surface_mm, full, "low", 1e-3), rel=1e-5)
    assert point.surface_by_high[0] == pytest.approx(slope(surface_mm, full, "high", 1e-3), rel=1e-5)


def test_slopes_of_a_stiff_shaft_are_those_of_the_handbook_line():
    # delta = (W / K) (28 in / L)^3 with K = (F2 - F1) / (z2 - z1 - c (F2 - F1)): handbook beams, small deflections.
    low, high = 0.9, 8.5
    bend = 1.5
    point = conversion.mean_point(np.array([low]), np.array([high]), np.array([bend + 0.02 * (high - low)]), CAL)
    shear = 3.5e-3 * (SPAN_MM / 650.0) ** 2  # of the bending; on the standard span it is 3.5e-3
    thou = LOAD_N * bend / (high - low) * (SPAN_MM / 650.0) ** 3 / THOU_MM * (1 + 3.5e-3) / (1 + shear)
    assert point.deflection_thou[0] == pytest.approx(thou, rel=5e-4)
    per_mm = thou / bend
    # The difference of the forces takes the give with it: c per newton of the travel.
    per_newton = thou / (high - low) + per_mm * 0.02
    assert point.by_travel[0] == pytest.approx(per_mm, rel=2e-3)
    assert point.by_low[0] == pytest.approx(per_newton, rel=2e-3)
    assert point.by_high[0] == pytest.approx(-per_newton, rel=2e-3)
    assert point.by_give[0] == pytest.approx(-per_mm * (high - low), rel=2e-3)
    assert point.by_span[0] == pytest.approx((-3 + 2 * shear) * thou / 650.0, rel=2e-3)
    # The surface is head less give and deflection at the light depth; the deflection grows with force over slope.
    stiffness = (high - low) / bend
    assert point.surface_by_low[0] == pytest.approx(
        0.02 + 1 / stiffness + low / stiffness * (1 / (high - low) + 0.02 / bend), rel=2e-3
    )
    assert point.surface_by_high[0] == pytest.approx(-low / stiffness * (1 / (high - low) + 0.02 / bend), rel=2e-3)


# Around the shaft


def fitted(shaft, gauge=None, calibration=CAL, seed=1):
    """Return fit, forces and mean point of one run as the evaluation makes them."""
    run = raw_run(shaft, gauge or truth(), np.random.default_rng(seed))
    forces = calibrated([run], columns([run], ZEROS), columns([run], DEPTHS), calibration)
    fit, *_ = joined(fit_turns(forces.turns, forces.nominal_steps, forces.u_relative_nominal), forces)
    mean = (fit.coefficients_n[:, 0, 0], fit.coefficients_n[:, 1, 0], forces.head_mm[:, 1] - forces.head_mm[:, 0])
    return fit, forces, conversion.mean_point(*mean, calibration)


def truth(**changes):
    return Gauge(**{"span_mm": 650.0, "give_mm_per_n": 0.02, "noise_n": 4e-5, "vertical": VERTICAL} | changes)


UNEVEN = Shaft(spine_thou=600.0, spread_thou=8.0, stiff_side_deg=70.0, bow_mm=0.15, bow_deg=250.0)


def test_the_surface_is_the_bow_and_the_out_of_roundness_of_the_shaft():
    fit, forces, point = fitted(UNEVEN, truth(oval_mm=(0.02, -0.03), height_mm=0.4))
    surface = conversion.around(fit, forces, point, CAL).surface_mm[0]
    first = np.radians(250.0)
    expected = [0.4 - 2000 * 0.0025, 0.15 * np.cos(first), 0.15 * np.sin(first), 0.02, -0.03, 0.0, 0.0]
    assert surface == pytest.approx(expected, abs=2e-4)


def test_the_curve_is_softest_across_the_stiff_side():
    fit, forces, point = fitted(UNEVEN)
    curve = conversion.around(fit, forces, point, CAL).deflection_thou[0]
    wave = -4.0 * np.exp(2j * np.radians(70.0))
    # The truth does not shear; what the middle of the shear's range takes away on this span: 0.07 %.
    assert curve[:3] == pytest.approx([600.0 * (1 - 3.5e-3 * ((SPAN_MM / 650.0) ** 2 - 1)), 0.0, 0.0], abs=0.1)
    assert curve[3:5] == pytest.approx([wave.real, wave.imag], abs=0.03)
    assert np.abs(curve[5:]).max() < 1e-3  # nothing of the third order stands above the noise


def test_a_third_order_counts_where_either_loaded_depth_shows_it():
    fit, forces, point = fitted(UNEVEN)
    for depth in (0, 1):
        coefficients = fit.coefficients_n.copy()
        coefficients[0, depth, 5:] = 0.01, 0.02
        turn = conversion.around(replace(fit, coefficients_n=coefficients), forces, point, CAL)
        expected = np.hypot(0.01, 0.02) * abs((point.by_low, point.by_high)[depth][0])
        assert np.hypot(*turn.deflection_thou[0, 5:]) == pytest.approx(expected, rel=0.02)
    coefficients = fit.coefficients_n.copy()
    coefficients[0, 2, 5:] = 0.01, 0.02  # the second visit to the light depth has no say in the conversion
    turn = conversion.around(replace(fit, coefficients_n=coefficients), forces, point, CAL)
    assert np.hypot(*turn.deflection_thou[0, 5:]) < 1e-3


@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_the_third_order_needs_the_amplitude_that_noise_reaches_once_in_a_thousand(factor):
    # Squared amplitude over its variance is chi-square of two degrees of freedom: 13.8 at one in a thousand.
    fit, forces, point = fitted(UNEVEN)
    coefficients = fit.coefficients_n.copy()
    coefficients[0, :, 5:] = 0.0
    variance = (fit.covariance[0, 1, 5, 5] + fit.covariance[0, 1, 6, 6]) / 2
    coefficients[0, 1, 6] = factor * np.sqrt(13.8155 * variance)
    turn = conversion.around(replace(fit, coefficients_n=coefficients), forces, point, CAL)
    shown = np.hypot(*turn.deflection_thou[0, 5:]) / abs(point.by_high[0] * coefficients[0, 1, 6])
    assert shown == pytest.approx(float(factor > 1), abs=0.05)


def jacobian(fit, forces, point, calibration, name):
    """Return the change of a curve per N of each coefficient of both depths, and per unit of relative period."""

    def curve(coefficients, period):
        moved = replace(fit, coefficients_n=coefficients, steps_per_turn=fit.steps_per_turn * (1 + period))
        return getattr(conversion.around(moved, forces, point, calibration), name)[0]

    rows = []
    for depth in (0, 1):
        for column in range(7):
            step = np.zeros_like(fit.coefficients_n)
            step[0, depth, column] = 1e-5
            rows.append((curve(fit.coefficients_n + step, 0) - curve(fit.coefficients_n - step, 0)) / 2e-5)
    along = fit.period_gradient * 1e-5
    period = (curve(fit.coefficients_n + along, 1e-5) - curve(fit.coefficients_n - along, -1e-5)) / 2e-5
    return np.array(rows).T, period


@pytest.mark.parametrize("name", ["deflection_thou", "surface_mm"])
def test_covariances_around_are_those_of_the_fit_carried_by_differences(name):
    # JCGM 102: the covariance of many results is J U J^T. The period enters by the angle back to the start as well.
    calibration = paper_calibration(
        frame={"give_mm_per_n": 0.02}, span={"span_mm": 650.0, "vertical_share": (VERTICAL, VERTICAL)}
    )
    shaft = replace(UNEVEN, spread_thou=5.0)
    fit, forces, point = fitted(shaft, truth(noise_n=2e-3), calibration)
    coefficients = fit.coefficients_n.copy()
    coefficients[0, :2, 5:] = 0.004  # a third order that counts, so that its part is carried as well
    fit = replace(fit, coefficients_n=coefficients, u_relative_period=np.array([4e-4]))
    turn = conversion.around(fit, forces, point, calibration)
    by_forces, by_period = jacobian(fit, forces, point, calibration, name)
    known = np.zeros((14, 14))
    known[:7, :7], known[7:, 7:] = fit.covariance[0, 0], fit.covariance[0, 1]
    shared = by_period * fit.u_relative_period[0]
    expected = by_forces @ known @ by_forces.T + np.outer(shared, shared)
    found = (turn.u_deflection if name == "deflection_thou" else turn.u_surface)[0]
    scale = np.sqrt(np.outer(np.diagonal(expected), np.diagonal(expected)))
    # The slopes are those of the mean: they change by as much as the shaft is uneven.
    assert found / scale == pytest.approx(expected / scale, abs=0.03)


# The supports


@pytest.mark.parametrize("to", [STANDARD, OLDER])
def test_half_width_of_the_supports_is_half_of_what_both_ends_differ(to):
    fit, forces, point = fitted(replace(UNEVEN, spread_thou=0.0, bow_mm=0.0))
    turn = conversion.around(fit, forces, point, CAL)
    inputs = {"low": fit.coefficients_n[0, 0, 0], "high": fit.coefficients_n[0, 1, 0],
              "travel": forces.head_mm[0, 1] - forces.head_mm[0, 0]}  # fmt: skip
    ends = [standard_thou(vertical=end, to=to, **inputs) for end in (0.1, 0.5)]
    assert conversion.support_half_width_thou(turn, point, to)[0] == pytest.approx(abs(ends[0] - ends[1]) / 2, rel=2e-3)


def test_supports_that_are_known_have_no_half_width():
    known = paper_calibration(
        frame={"give_mm_per_n": 0.02}, span={"span_mm": 650.0, "vertical_share": (VERTICAL, VERTICAL)}
    )
    fit, forces, point = fitted(UNEVEN, calibration=known)
    turn = conversion.around(fit, forces, point, known)
    assert conversion.support_half_width_thou(turn, point, STANDARD)[0] == 0.0


@pytest.mark.parametrize("name", ["deflection_thou", "surface_mm"])
def test_supports_widen_the_harmonics_by_a_rectangle_between_both_ends(name):
    # GUM 4.3.7: half width over the root of three, common to all harmonics; the mean has its own line in the budget.
    fit, forces, point = fitted(replace(UNEVEN, spine_thou=900.0, bow_mm=0.3))
    loose = conversion.around(fit, forces, point, CAL)
    ends, pinned = [], None
    for end in (0.1, 0.5, VERTICAL):
        calibration = paper_calibration(
            frame={"give_mm_per_n": 0.02}, span={"span_mm": 650.0, "vertical_share": (end, end)}
        )
        pinned = conversion.around(fit, forces, point, calibration)
        ends.append(getattr(pinned, name)[0])
    half = (ends[0] - ends[1]) / 2
    half[0] = 0.0
    covariance = "u_deflection" if name == "deflection_thou" else "u_surface"
    more = (getattr(loose, covariance) - getattr(pinned, covariance))[0]
    expected = np.outer(half, half) / 3
    assert more == pytest.approx(expected, abs=0.02 * np.abs(expected).max())


def test_angles_move_back_to_the_start_by_the_addition_theorems():
    rng = np.random.default_rng(5)
    coefficients = rng.normal(size=(3, 7))
    matrix, turned = conversion._to_start(np.array([100.0, -37.0, 1234.0]), np.array([800.0, 790.0, 801.0]))
    assert turned == pytest.approx(2 * np.pi * np.array([100 / 800, -37 / 790, 1234 / 801]))
    angle = np.linspace(0, 6, 9)
    for row in range(3):
        there = matrix[row] @ coefficients[row] @ basis(angle)
        assert there == pytest.approx(coefficients[row] @ basis(angle - turned[row]), abs=1e-12)
