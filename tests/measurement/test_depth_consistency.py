"""What the depths of one shaft tell about each other, against a general least squares of the same knowledge."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from midspan.measurement.depth_consistency import joined, u_visits_n
from midspan.measurement.harmonics import HarmonicFit
from scipy.optimize import least_squares
from scipy.stats import chi2

LIGHT, FULL, AGAIN = range(3)
# Steps from the angle origin to the middle of each depth's two turns, in turns: the first and the last lie far out.
MIDDLE_TURNS = (-2.1, 0.0, 2.1)


def made(phases, amplitudes=(0.02, 0.2, 0.02), sigma=(1e-4, 2e-4, 1e-4), u_period=0.01, means=(0.9, 8.6, 0.88)):
    """Return a fit of one shaft with a bow of these phases in rad, this noise of each quadrature and no other pattern.

    A longer period by the share e makes every angle smaller by e, so a wave cos(a - p) seen about a middle of m rad
    comes back with its phase p lower by m e.
    """
    coefficients, gradient = np.zeros((1, 3, 7)), np.zeros((1, 3, 7))
    covariance = np.zeros((1, 3, 7, 7))
    for depth, (phase, amplitude) in enumerate(zip(phases, amplitudes, strict=True)):
        coefficients[0, depth, :3] = means[depth], amplitude * math.cos(phase), amplitude * math.sin(phase)
        middle = 2 * np.pi * MIDDLE_TURNS[depth]
        gradient[0, depth, 1:3] = middle * amplitude * math.sin(phase), -middle * amplitude * math.cos(phase)
        covariance[0, depth] = np.eye(7) * sigma[depth] ** 2
        covariance[0, depth, 0, 0] /= 2
    return HarmonicFit(
        coefficients, covariance, np.ones((1, 3)), np.full((1, 3), 320), np.zeros((1, 3), int),
        np.array([800.0]), np.array([u_period]), gradient, np.array([True]),
    )  # fmt: skip


def forces(zero_share=(0.2, 0.5, 0.8), u_zero=(0.0, 0.0), drift=0.0):
    return SimpleNamespace(
        zero_share=np.array([zero_share]), u_zero_n=np.array([u_zero]), zero_change_n=np.array([abs(drift)])
    )


def joint(phases, weights, u_period):
    """Return the relative change of the period by scipy's least squares, its standard uncertainty and chi-square."""
    middle = 2 * np.pi * np.array(MIDDLE_TURNS)

    def residuals(unknown):
        phase, change = unknown
        return [*(np.sqrt(weights) * (np.array(phases) - middle * change - phase)), change / u_period]

    found = least_squares(residuals, [np.mean(phases), 0.0], x_scale=[1.0, 1e-4], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return found.x[1], math.sqrt(np.linalg.inv(found.jac.T @ found.jac)[1, 1]), 2 * found.cost


@pytest.mark.parametrize("turned", [0.0, 3.0, -2.5])
def test_the_period_is_that_of_least_squares_over_the_phases(turned):
    # Phases that a period wrong by 0.0004 would show, and a little noise.
    slip = 4e-4
    phases = [
        turned + 2 * np.pi * m * slip + noise for m, noise in zip(MIDDLE_TURNS, (0.003, 0.0, -0.002), strict=True)
    ]
    fit = made(phases, u_period=2e-3)
    weights = np.array([0.02 / 1e-4, 0.2 / 2e-4, 0.02 / 1e-4]) ** 2
    change, u_change, _ = joint(phases, weights, 2e-3)
    found, *_ = joined(fit, forces())
    assert math.log(found.steps_per_turn[0] / 800.0) == pytest.approx(change, rel=1e-6)
    assert change == pytest.approx(slip, rel=0.6)
    assert found.u_relative_period[0] == pytest.approx(u_change, rel=1e-6)
    moved = fit.coefficients_n[0, FULL] + fit.period_gradient[0, FULL] * change
    assert found.coefficients_n[0, FULL] == pytest.approx(moved, abs=1e-12)


@pytest.mark.parametrize("u_period", [2e-5, 1e-3])
def test_what_was_known_of_the_period_counts_as_one_more_reading(u_period):
    phases = [0.4 + 2 * np.pi * m * 1e-5 for m in MIDDLE_TURNS]
    weights = np.array([0.02 / 1e-4, 0.2 / 2e-4, 0.02 / 1e-4]) ** 2
    change, u_change, _ = joint(phases, weights, u_period)
    found, *_ = joined(made(phases, u_period=u_period), forces())
    assert math.log(found.steps_per_turn[0] / 800.0) == pytest.approx(change, rel=1e-6)
    assert found.u_relative_period[0] == pytest.approx(u_change, rel=1e-6)


@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_phases_that_disagree_beyond_chance_leave_the_period_alone(factor):
    # The middle depth turned against both others: no period explains it. Chi-square of two degrees of freedom.
    weights = np.array([0.02 / 1e-4, 0.2 / 2e-4, 0.02 / 1e-4]) ** 2
    start = joint([0.4, 0.401, 0.4002], weights, 2e-3)[2]
    by = math.sqrt(chi2.isf(1e-3, 2) / start) * math.sqrt(factor)
    fit = made([0.4, 0.4 + 0.001 * by, 0.4 + 0.0002 * by], u_period=2e-3)
    found, *_ = joined(fit, forces())
    alone = bool(found.steps_per_turn[0] == 800.0) and bool(found.u_relative_period[0] == 2e-3)
    assert alone is (factor > 1)


@pytest.mark.parametrize("weak", [LIGHT, FULL, AGAIN])
@pytest.mark.parametrize("factor", [0.97, 1.03])
def test_a_bow_that_noise_could_make_has_no_say(weak, factor):
    amplitudes = [0.02, 0.2, 0.02]
    sigma = (1e-4, 2e-4, 1e-4)
    amplitudes[weak] = factor * math.sqrt(chi2.isf(1e-3, 2)) * sigma[weak]
    phases = [0.4, 0.4, 0.4]
    phases[weak] += 0.05
    weights = np.array([(a / s) ** 2 for a, s in zip(amplitudes, sigma, strict=True)])
    weights[weak] *= factor > 1
    change, u_change, _ = joint(phases, weights, 2e-3)
    found, *_ = joined(made(phases, amplitudes, u_period=2e-3), forces())
    assert math.log(found.steps_per_turn[0] / 800.0) == pytest.approx(change, rel=1e-5, abs=1e-12)
    assert found.u_relative_period[0] == pytest.approx(u_change, rel=1e-5)


def test_the_weight_of_a_phase_is_the_noise_across_it():
    # Cosine and sine of unlike and correlated noise: u of atan2 by GUM, from its two derivatives.
    fit = made([0.7, 0.7, 0.7], u_period=1e-2)
    block = np.array([[4e-8, 1e-8], [1e-8, 1e-8]])
    covariance = fit.covariance.copy()
    covariance[0, :, 1:3, 1:3] = block
    by = [np.array([-math.sin(0.7), math.cos(0.7)]) / amplitude for amplitude in (0.02, 0.2, 0.02)]
    weights = np.array([1 / (row @ block @ row) for row in by])
    _, u_change, _ = joint([0.7, 0.7, 0.7], weights, 1e-2)
    assert joined(replace(fit, covariance=covariance), forces())[0].u_relative_period[0] == pytest.approx(
        u_change, rel=1e-6
    )


# Both visits to the light depth


def visits(first, second, sigma=(1e-4, 1e-4), means=(0.9, 0.9)):
    """Return a fit in which both visits to the light depth show patterns of second order, without a bow."""
    fit = made((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (sigma[0], 2e-4, sigma[1]), means=(means[0], 8.6, means[1]))
    coefficients = fit.coefficients_n.copy()
    coefficients[0, LIGHT, 3:5], coefficients[0, AGAIN, 3:5] = first, second
    return replace(fit, coefficients_n=coefficients)


@pytest.mark.parametrize("sigma", [(1e-4, 1e-4), (1e-4, 3e-4), (2e-4, 1e-4)])
def test_visits_are_averaged_by_the_inverse_of_their_variances(sigma):
    fit = visits((0.0100, 0.0), (0.0101, 0.0), sigma)
    found, *_ = joined(fit, forces(zero_share=(0.5, 0.5, 0.5)))
    weight = np.array(sigma) ** -2.0
    assert found.coefficients_n[0, LIGHT, 3] == pytest.approx((weight @ [0.0100, 0.0101]) / weight.sum(), rel=1e-5)
    assert found.covariance[0, LIGHT, 4, 4] == pytest.approx(1 / weight.sum(), rel=1e-3)
    # The mean of a depth stays as it is, and so does its variance.
    assert found.coefficients_n[0, LIGHT, 0] == 0.9
    assert found.covariance[0, LIGHT, 0, 0] == fit.covariance[0, LIGHT, 0, 0]
    # Of the second visit to the light depth nothing changes.
    assert np.array_equal(found.coefficients_n[0, AGAIN], fit.coefficients_n[0, AGAIN])


def test_what_the_mean_has_in_common_with_the_pattern_is_left_to_the_first_visit_s_share():
    fit = visits((0.0100, 0.0), (0.0100, 0.0), (1e-4, 1e-4))
    covariance = fit.covariance.copy()
    covariance[0, LIGHT, 0, 3] = covariance[0, LIGHT, 3, 0] = 4e-9
    found, *_ = joined(replace(fit, covariance=covariance), forces(zero_share=(0.5, 0.5, 0.5)))
    assert found.covariance[0, LIGHT, 0, 3] == pytest.approx(2e-9, rel=1e-3)
    assert found.covariance[0, LIGHT, 3, 0] == found.covariance[0, LIGHT, 0, 3]


def test_the_period_pulls_on_the_average_as_on_its_parts():
    fit = visits((0.0100, 0.0), (0.0080, 0.0), (1e-4, 2e-4), means=(0.9, 0.72))
    gradient = fit.period_gradient.copy()
    gradient[0, LIGHT, 4], gradient[0, AGAIN, 4] = 0.3, 0.8
    found, *_ = joined(replace(fit, period_gradient=gradient), forces(zero_share=(0.5, 0.5, 0.5)))
    share = _share_of_second((1e-4, 2e-4), 0.9 / 0.72, fit)
    expected = (1 - share) * 0.3 + share * 0.8 * 0.9 / 0.72
    assert found.period_gradient[0, LIGHT, 4] == pytest.approx(expected, rel=1e-4)


def _share_of_second(sigma, scale, fit):
    """Return the weight of the second visit from the variances of six coefficients, scaled by the forces."""
    first, second = 6 * sigma[0] ** 2, 6 * (sigma[1] * scale) ** 2
    u_visits = math.sqrt(fit.covariance[0, LIGHT, 0, 0] + fit.covariance[0, AGAIN, 0, 0])
    second += (np.linalg.norm(fit.coefficients_n[0, AGAIN, 1:]) * scale * u_visits / 0.9) ** 2
    return first / (first + second)


def test_the_second_visit_is_scaled_for_the_force_it_lacks():
    fit = visits((0.0100, 0.002), (0.0080, 0.0016), (1e-4, 1e-4), means=(0.9, 0.72))
    found, *_ = joined(fit, forces(zero_share=(0.5, 0.5, 0.5)))
    assert found.coefficients_n[0, LIGHT, 3:5] == pytest.approx([0.0100, 0.002], rel=1e-9)
    share = _share_of_second((1e-4, 1e-4), 0.9 / 0.72, fit)
    variance = (1 - share) ** 2 * 1e-8 + share**2 * (1e-4 * 0.9 / 0.72) ** 2
    assert found.covariance[0, LIGHT, 5, 5] == pytest.approx(variance, rel=1e-3)


def test_a_scale_that_is_badly_known_makes_the_whole_second_pattern_uncertain():
    fit = visits((0.4, 0.1), (0.4, 0.1), (1e-4, 1e-4))
    u = 0.01
    found, *_ = joined(fit, forces(zero_share=(0.0, 0.5, 1.0), u_zero=(u, 0.0)))
    share = 6e-8 / (12e-8 + (0.4**2 + 0.1**2) * (u / 0.9) ** 2)
    assert share < 0.01
    assert found.covariance[0, LIGHT, 3, 3] == pytest.approx(
        (1 - share) ** 2 * 1e-8 + share**2 * (1e-8 + (0.4 * u / 0.9) ** 2), rel=1e-4
    )
    assert found.covariance[0, LIGHT, 3, 4] == pytest.approx(share**2 * 0.4 * 0.1 * (u / 0.9) ** 2, rel=1e-3)


@pytest.mark.parametrize("factor", [0.98, 1.02])
def test_patterns_unlike_beyond_chance_are_not_averaged(factor):
    # Chi-square of six degrees of freedom, one chance in a thousand, over the variance of the difference.
    apart = factor * math.sqrt(chi2.isf(1e-3, 6) * 2e-8)
    fit = visits((0.0, 0.0), (apart, 0.0), (1e-4, 1e-4))
    found, *_ = joined(fit, forces(zero_share=(0.5, 0.5, 0.5)))
    # The scale's own uncertainty adds a hundredth of a percent here.
    assert found.coefficients_n[0, LIGHT, 3] == pytest.approx(apart / 2 if factor < 1 else 0.0, rel=1e-3)
    assert bool(found.covariance[0, LIGHT, 4, 4] == fit.covariance[0, LIGHT, 4, 4]) is (factor > 1)


@pytest.mark.parametrize("depth", [LIGHT, AGAIN])
def test_no_force_at_all_makes_numbers_and_no_warning(depth):
    fit = visits((0.01, 0.0), (0.01, 0.0))
    coefficients = fit.coefficients_n.copy()
    coefficients[0, depth, 0] = 0.0
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        found, *_ = joined(replace(fit, coefficients_n=coefficients), forces())
    assert np.isfinite(found.coefficients_n).all()


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({}, math.hypot(1e-4, 3e-4) / math.sqrt(2)),  # the mean's variance is half a quadrature's
        # The line between the zeros reaches the visits at 0.2 and 0.9 of its way: 0.7 of either zero's error stays.
        ({"zero_share": (0.2, 0.5, 0.9), "u_zero": (0.03, 0.04)}, 0.7 * 0.05),
        # The zero's way between its readings: anywhere within half the drift, at either visit.
        ({"drift": 0.6}, math.sqrt(2) * 0.3 / math.sqrt(3)),
        ({"drift": -0.6}, math.sqrt(2) * 0.3 / math.sqrt(3)),
    ],
)
def test_uncertainty_of_the_difference_between_the_visits(parts, expected):
    fit = visits((0.0, 0.0), (0.0, 0.0), (1e-4, 3e-4))
    assert u_visits_n(fit, forces(**parts))[0] == pytest.approx(expected, rel=1e-3)
