"""Harmonic fits against the bounds of estimation theory, and against spikes, gaps and uneven angles.

Bounds: S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory (1993), examples 3.14 and 3.16;
D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591-598. Formulas from memory; the limits of every
scatter are those of chi-square for the number of simulated shafts, at one chance in ten thousand.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConversionError
from midspan.measurement.curve import RAYLEIGH_95
from midspan.measurement.harmonic_fit import NOT_AROUND, fit_turns
from midspan.measurement.harmonics import Turns, basis, derivative_columns, median_of_valid
from scipy.stats import binom, chi2, rice

SHAFTS = 1500
READINGS = 320  # two turns
PERIOD = 800.0
SIGMA_N = 0.004


def assert_scatter(errors, expected_sd):
    """Check that errors have mean zero and the standard deviation of theory, within chance."""
    number = len(errors)
    low, high = np.sqrt(chi2.ppf([5e-5, 1 - 5e-5], number - 1) / (number - 1))
    assert low < np.std(errors, ddof=1) / expected_sd < high
    assert abs(np.mean(errors)) < 4 * expected_sd / np.sqrt(number)


def angles():
    """Return steps around the origin, evenly over two whole turns, and the angle at each."""
    steps = (np.arange(READINGS) - (READINGS - 1) / 2) * (2 * PERIOD / READINGS)
    return steps, 2 * np.pi * steps / PERIOD


def simulated(coefficients, shafts=SHAFTS, seed=1, sigma=SIGMA_N):
    """Return turns of many shafts at one depth with the same truth; only the noise differs."""
    steps, angle = angles()
    columns = np.stack([np.ones_like(angle)] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)])
    noise = np.random.default_rng(seed).normal(0, sigma, (shafts, 1, READINGS))
    force = np.asarray(coefficients) @ columns + noise
    return Turns(np.tile(steps, (shafts, 1, 1)), force, np.ones(force.shape, bool))


def fitted(turns, u_relative=1e-9, nominal=PERIOD):
    """Return the fit of turns whose steps per turn are known beforehand with this uncertainty."""
    shafts = len(turns.steps)
    return fit_turns(turns, np.full(shafts, nominal), np.full(shafts, u_relative))


AMPLITUDE_N, PHASE = 0.5, 0.7
SIGNAL = [8.0, 0.0, 0.0, AMPLITUDE_N * np.cos(PHASE), AMPLITUDE_N * np.sin(PHASE), 0.0, 0.0]


# Against estimation theory


@pytest.mark.slow
def test_scatter_reaches_the_cramer_rao_bound_at_a_known_period():
    coefficients = fitted(simulated(SIGNAL)).coefficients_n[:, 0]
    quadrature = SIGMA_N * np.sqrt(2 / READINGS)
    assert_scatter(coefficients[:, 0] - 8.0, SIGMA_N / np.sqrt(READINGS))
    for column in range(1, 7):
        assert_scatter(coefficients[:, column] - SIGNAL[column], quadrature)
    assert_scatter(np.hypot(coefficients[:, 3], coefficients[:, 4]) - AMPLITUDE_N, quadrature)
    assert_scatter(np.arctan2(coefficients[:, 4], coefficients[:, 3]) - PHASE, quadrature / AMPLITUDE_N)


def joint_bound():
    """Return the Cramer-Rao bound of ln(period) with the seven coefficients unknown too."""
    _, angle = angles()
    columns = [np.ones_like(angle)] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)]
    by_log_period = 2 * AMPLITUDE_N * angle * np.sin(2 * angle - PHASE)
    sensitivity = np.stack([*columns, by_log_period])
    return SIGMA_N * np.sqrt(np.linalg.inv(sensitivity @ sensitivity.T)[7, 7])


def test_an_unknown_period_is_found_as_well_as_theory_allows():
    # One sinusoid alone (Rife and Boorstyn): var(f) >= 12 / ((2 pi)^2 eta N (N^2 - 1)) per sample squared with
    # eta = A^2 / 2 s^2. The other orders are unknown here as well and take a fifth of that information.
    eta = AMPLITUDE_N**2 / (2 * SIGMA_N**2)
    sd_frequency = np.sqrt(12 / ((2 * np.pi) ** 2 * eta * READINGS * (READINGS**2 - 1)))
    frequency = 2 * 2 / READINGS  # order 2, two turns
    bound = joint_bound()
    assert 1.0 < bound / (sd_frequency / frequency) < 1.12
    fit = fitted(simulated(SIGNAL), u_relative=0.01, nominal=PERIOD * 1.004)
    assert_scatter(np.log(fit.steps_per_turn / PERIOD), bound)
    assert fit.u_relative_period == pytest.approx(bound, rel=0.25)
    assert fit.u_relative_period.mean() == pytest.approx(bound, rel=0.01)


def test_a_phase_counted_from_the_middle_keeps_its_bound_at_an_unknown_period():
    coefficients = fitted(simulated(SIGNAL), u_relative=0.01, nominal=PERIOD * 1.004).coefficients_n[:, 0]
    phase = np.arctan2(coefficients[:, 4], coefficients[:, 3])
    assert_scatter(phase - PHASE, SIGMA_N * np.sqrt(2 / READINGS) / AMPLITUDE_N)


def test_stated_uncertainties_are_the_scatter_found():
    fit = fitted(simulated([8.0, 0.1, -0.2, 0.3, 0.1, 0.0, 0.02]), u_relative=0.01)
    shared = fit.period_gradient[:, 0] * fit.u_relative_period[:, None]
    variance = np.diagonal(fit.covariance[:, 0], axis1=1, axis2=2) + shared**2
    error = fit.coefficients_n[:, 0] - [8.0, 0.1, -0.2, 0.3, 0.1, 0.0, 0.02]
    for column in range(7):
        assert_scatter(error[:, column] / np.sqrt(variance[:, column]), 1.0)
    assert_scatter(np.log(fit.steps_per_turn / PERIOD) / fit.u_relative_period, 1.0)
    assert fit.scatter_n.mean() == pytest.approx(SIGMA_N, rel=0.005)
    assert fit.converged.all()


@pytest.mark.parametrize("in_sigmas", [0.0, 1.0, 2.0, 4.0])
def test_a_small_amplitude_is_biased_upward_as_rice_says(in_sigmas):
    # The amplitude of two quadratures with noise follows Rice's distribution (Rayleigh's at none).
    quadrature = SIGMA_N * np.sqrt(2 / READINGS)
    signal = [8.0, 0.0, 0.0, in_sigmas * quadrature, 0.0, 0.0, 0.0]
    coefficients = fitted(simulated(signal, seed=3)).coefficients_n[:, 0]
    amplitude = np.hypot(coefficients[:, 3], coefficients[:, 4])
    theory = rice(in_sigmas, scale=quadrature)
    assert abs(amplitude.mean() - theory.mean()) < 4 * theory.std() / np.sqrt(SHAFTS)
    assert amplitude.std() == pytest.approx(theory.std(), rel=0.08)


def test_the_noise_floor_is_passed_once_in_twenty():
    # 95 % point of Rayleigh's distribution: s sqrt(2/N) 2.4477.
    assert pytest.approx(np.sqrt(chi2.ppf(0.95, 2)), rel=1e-12) == RAYLEIGH_95
    coefficients = fitted(simulated([8.0, 0, 0, 0, 0, 0, 0], seed=4)).coefficients_n[:, 0]
    amplitude = np.hypot(coefficients[:, 3], coefficients[:, 4])
    passed = int((amplitude > SIGMA_N * np.sqrt(2 / READINGS) * RAYLEIGH_95).sum())
    low, high = binom.ppf([5e-5, 1 - 5e-5], SHAFTS, 0.05)
    assert low <= passed <= high


def test_without_a_signal_the_period_stays_near_what_was_known():
    fit = fitted(simulated([8.0, 0, 0, 0, 0, 0, 0], seed=5), u_relative=0.01)
    assert np.abs(np.log(fit.steps_per_turn / PERIOD)).max() < 0.02
    assert fit.u_relative_period.min() > 0.008


def test_angles_that_go_round_unevenly_cost_only_what_least_squares_costs():
    # One and three quarter turns: the answer must be numpy's own least squares at the same angles.
    steps, _ = angles()
    turns = simulated([8.0, 0.1, -0.2, 0.3, 0.1, 0.0, 0.02], shafts=3)
    steps = steps * 1.75 / 2
    turns = replace(turns, steps=np.tile(steps, (3, 1, 1)))
    fit = fitted(turns)
    angle = 2 * np.pi * steps / PERIOD
    design = np.stack([np.ones_like(angle)] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)], axis=1)
    expected = np.linalg.lstsq(design, turns.force_n[:, 0].T)[0].T
    assert fit.coefficients_n[:, 0] == pytest.approx(expected, abs=1e-6)


# What may not move a fit


def hit(turns, share, sizes_n, seed):
    """Return turns with a share of readings moved by large errors of either sign, and their number for each shaft."""
    rng = np.random.default_rng(seed)
    spiked = turns.force_n.copy()
    where = rng.random(spiked.shape) < share
    spiked[where] += rng.choice([-1.0, 1.0], where.sum()) * rng.uniform(*sizes_n, where.sum())
    return replace(turns, force_n=spiked), where.sum(axis=(1, 2))


@pytest.mark.parametrize("share", [0.003, 0.02, 0.05])
@pytest.mark.parametrize("sizes_n", [(0.05, 0.5), (0.05, 20.0), (5.0, 20.0)])
def test_spikes_are_left_out_and_move_nothing(share, sizes_n):
    clean = simulated(SIGNAL, shafts=200, seed=6)
    spiked, number = hit(clean, share, sizes_n, seed=7)
    before, after = fitted(clean, u_relative=0.01), fitted(spiked, u_relative=0.01)
    moved = (after.coefficients_n - before.coefficients_n)[:, 0]
    # Losing a share of the readings may cost its share of the information and no more.
    u = np.sqrt(np.diagonal(before.covariance[:, 0], axis1=1, axis2=2))
    assert np.abs(moved / u).max() < 6 * np.sqrt(2 * share)
    assert (after.left_out[:, 0] == number).all()
    assert after.scatter_n.mean() == pytest.approx(SIGMA_N, rel=0.02)


def test_clean_readings_are_all_used():
    fit = fitted(simulated(SIGNAL), u_relative=0.01)
    # Five sigma: one in 1.7 million of a normal distribution.
    assert fit.left_out.sum() <= 3
    assert (fit.used + fit.left_out == READINGS).all()


def test_dropped_readings_cost_only_their_share():
    turns = simulated(SIGNAL, shafts=200, seed=8)
    valid = np.random.default_rng(9).random(turns.valid.shape) > 0.3
    fit = fitted(replace(turns, valid=valid), u_relative=0.01)
    assert (fit.used == valid.sum(axis=-1)).all()
    moved = fit.coefficients_n - fitted(turns, u_relative=0.01).coefficients_n
    u = np.sqrt(np.diagonal(fit.covariance, axis1=2, axis2=3))
    assert np.abs(moved / u).max() < 4


def test_what_is_not_valid_has_no_say():
    turns = simulated(SIGNAL, shafts=5)
    valid = np.random.default_rng(9).random(turns.valid.shape) > 0.3
    rubbish = np.where(valid, turns.force_n, 1e6)
    quiet, loud = (fitted(replace(turns, valid=valid, force_n=f)) for f in (turns.force_n, rubbish))
    assert np.array_equal(quiet.coefficients_n, loud.coefficients_n)


def test_the_same_bits_alone_and_in_company():
    turns, _ = hit(simulated(SIGNAL, shafts=40), 0.01, (0.05, 5.0), seed=2)
    together = fitted(turns, u_relative=0.01)
    for i in (0, 17, 39):
        single = Turns(turns.steps[i : i + 1], turns.force_n[i : i + 1], turns.valid[i : i + 1])
        alone = fitted(single, u_relative=0.01)
        for name in ("coefficients_n", "covariance", "scatter_n", "steps_per_turn", "u_relative_period"):
            assert np.array_equal(getattr(alone, name)[0], getattr(together, name)[i]), name


@pytest.mark.parametrize("turned", [0.0, 0.3, 0.6])
def test_a_shaft_that_did_not_go_round_is_refused(turned):
    turns = simulated(SIGNAL, shafts=2)
    with pytest.raises(ConversionError) as caught:
        fitted(replace(turns, steps=turns.steps * turned / 2))
    assert str(caught.value) == NOT_AROUND


@pytest.mark.parametrize("per_turn", [3, 4, 5, 6])
def test_angles_too_few_to_carry_the_harmonics_are_refused(per_turn):
    turns = simulated(SIGNAL, shafts=2)
    steps = np.arange(READINGS) % per_turn * (PERIOD / per_turn)
    with pytest.raises(ConversionError) as caught:
        fitted(replace(turns, steps=np.tile(steps, (2, 1, 1))))
    assert str(caught.value) == NOT_AROUND


# The parts


@given(st.floats(-50.0, 50.0))
def test_columns_are_the_sines_and_cosines(angle):
    expected = [1.0] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)]
    assert basis(np.array([angle])).ravel() == pytest.approx(expected, abs=1e-13)


@given(st.lists(st.floats(-5, 5), min_size=7, max_size=7), st.floats(-4, 4))
def test_derivative_is_the_slope(coefficients, angle):
    either_side = np.array(coefficients) @ basis(np.array([angle - 1e-5, angle + 1e-5]))
    slope = derivative_columns(np.array(coefficients)) @ basis(np.array([angle]))
    assert np.diff(either_side)[0] / 2e-5 == pytest.approx(slope[0], abs=1e-7)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=30), st.integers(0, 20))
def test_median_of_the_valid(values, more):
    padded = np.array([*values, *[0.0] * more])
    valid = np.arange(len(padded)) < len(values)
    lower_middle = sorted(values)[(len(values) - 1) // 2]
    assert median_of_valid(padded[None], valid[None])[0] == lower_middle
