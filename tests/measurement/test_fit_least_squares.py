"""The fit of what turns against plain least squares by numpy and scipy."""

from dataclasses import replace

import numpy as np
import pytest
from midspan.base.errors import ConversionError
from midspan.measurement.harmonic_fit import fit_turns
from midspan.measurement.harmonics import Turns
from scipy.optimize import brentq, least_squares

READINGS = (320, 320, 480)
TRUE_PERIOD = 803.0
SIGMA = (0.004, 0.006, 0.003)
TRUTH = np.array([
    [0.9, 0.02, -0.01, 0.01, 0.02, 0.0, 0.0], [8.6, 0.15, 0.1, -0.05, 0.04, 0.01, 0.0],
    [0.88, 0.02, -0.01, 0.01, 0.02, 0.0, 0.0],
])  # fmt: skip


def design(angle):
    return np.stack([np.ones_like(angle)] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)], axis=-1)


def turns(seed=1, sigma=SIGMA):
    """Return three depths of one shaft that turns on from one to the next, of unequal lengths and noise."""
    rng = np.random.default_rng(seed)
    steps, force, valid = (np.zeros((1, 3, max(READINGS))) for _ in range(3))
    position = -2400.0
    for depth, number in enumerate(READINGS):
        here = position + 5.0 * np.arange(1, number + 1)
        position = here[-1]
        steps[0, depth, :number] = here
        force[0, depth, :number] = design(2 * np.pi * here / TRUE_PERIOD) @ TRUTH[depth]
        force[0, depth, :number] += rng.normal(0, sigma[depth], number)
        valid[0, depth, :number] = 1
    return Turns(steps, force, valid.astype(bool))


def depth_of(known, depth):
    valid = known.valid[0, depth]
    return known.steps[0, depth, valid], known.force_n[0, depth, valid]


def fitted(known, period=TRUE_PERIOD, u_relative=1e-9):
    return fit_turns(known, np.array([period]), np.array([u_relative]))


def plain(known, depth, period):
    """Return coefficients, scatter and covariance of one depth at a known period, by numpy's least squares."""
    steps, force = depth_of(known, depth)
    columns = design(2 * np.pi * steps / period)
    coefficients, squares, *_ = np.linalg.lstsq(columns, force)
    scatter = np.sqrt(squares[0] / (len(force) - 7))
    return coefficients, scatter, scatter**2 * np.linalg.inv(columns.T @ columns)


def test_a_known_period_leaves_plain_least_squares():
    known = turns()
    fit = fitted(known)
    for depth, number in enumerate(READINGS):
        coefficients, scatter, covariance = plain(known, depth, TRUE_PERIOD)
        assert fit.coefficients_n[0, depth] == pytest.approx(coefficients, abs=1e-9)
        assert fit.scatter_n[0, depth] == pytest.approx(scatter, rel=1e-9)
        assert fit.covariance[0, depth] == pytest.approx(covariance, rel=1e-6, abs=1e-9 * covariance.max())
        assert (fit.used[0, depth], fit.left_out[0, depth]) == (number, 0)
    assert fit.u_relative_period[0] == pytest.approx(1e-9, rel=1e-3)
    assert fit.converged.all()


def test_the_gradient_is_the_change_of_least_squares_with_the_period():
    known = turns(sigma=(1e-7,) * 3)
    fit = fitted(known)
    for depth in range(3):
        low, high = (plain(known, depth, TRUE_PERIOD * np.exp(step))[0] for step in (-1e-5, 1e-5))
        assert fit.period_gradient[0, depth] == pytest.approx((high - low) / 2e-5, rel=1e-4, abs=1e-4)


@pytest.mark.parametrize(("nominal", "u_relative"), [(800.0, 0.01), (803.3, 1e-4), (802.9, 3e-5)])
def test_period_and_coefficients_are_those_of_one_weighted_fit_of_everything(nominal, u_relative):
    # Twenty-one coefficients and the period together, the nominal period as one more reading.
    known = turns()
    fit = fitted(known, nominal, u_relative)
    weight = 1 / np.concatenate([np.full(number, fit.scatter_n[0, d]) for d, number in enumerate(READINGS)])

    def residuals(unknown):
        change, coefficients = unknown[0], unknown[1:].reshape(3, 7)
        period = TRUE_PERIOD * np.exp(change)
        left = [depth_of(known, d)[1] - design(2 * np.pi * depth_of(known, d)[0] / period) @ coefficients[d]
                for d in range(3)]  # fmt: skip
        return np.append(np.concatenate(left) * weight, np.log(period / nominal) / u_relative)

    found = least_squares(
        residuals, np.append(0.0, TRUTH), method="lm", xtol=1e-15, ftol=1e-15, x_scale=np.append(1e-4, np.ones(21))
    )
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    assert np.log(fit.steps_per_turn[0] / TRUE_PERIOD) == pytest.approx(
        found.x[0], abs=0.01 * np.sqrt(covariance[0, 0])
    )
    assert fit.u_relative_period[0] == pytest.approx(np.sqrt(covariance[0, 0]), rel=2e-3)
    u = np.sqrt(np.diagonal(covariance)[1:]).reshape(3, 7)
    assert np.abs((fit.coefficients_n[0] - found.x[1:].reshape(3, 7)) / u).max() < 0.02
    # Known period and its pull together make the covariance of everything.
    for depth in range(3):
        shared = fit.period_gradient[0, depth] * fit.u_relative_period[0]
        whole = fit.covariance[0, depth] + np.outer(shared, shared)
        block = covariance[1 + 7 * depth : 8 + 7 * depth, 1 + 7 * depth : 8 + 7 * depth]
        assert whole / np.outer(u[depth], u[depth]) == pytest.approx(block / np.outer(u[depth], u[depth]), abs=5e-3)


@pytest.mark.parametrize(("sigmas", "lost"), [(4.9, 0), (5.6, 1), (-4.9, 0), (-5.6, 1)])
def test_readings_beyond_five_standard_deviations_of_the_others_are_left_out(sigmas, lost):
    known, place = turns(), 77
    valid, force = known.valid.copy(), known.force_n.copy()
    valid[0, 1, place] = False
    coefficients, scatter, _ = plain(replace(known, valid=valid), 1, TRUE_PERIOD)
    angle = 2 * np.pi * known.steps[0, 1, place] / TRUE_PERIOD
    force[0, 1, place] = design(angle) @ coefficients + sigmas * scatter
    fit = fitted(replace(known, force_n=force))
    assert fit.left_out[0].tolist() == [0, lost, 0]
    assert fit.used[0].tolist() == [320, 320 - lost, 480]


def test_what_is_left_out_has_no_part_in_the_fit():
    known = turns()
    force, valid = known.force_n.copy(), known.valid.copy()
    hit = [3, 50, 51, 52, 200]
    force[0, 1, hit] += 3.0
    valid[0, 1, hit] = False
    spiked, without = (
        fitted(replace(known, force_n=force), u_relative=0.01),
        fitted(replace(known, valid=valid), u_relative=0.01),
    )
    assert spiked.left_out[0].tolist() == [0, 5, 0]
    assert spiked.coefficients_n == pytest.approx(without.coefficients_n, abs=1e-7)
    assert spiked.scatter_n == pytest.approx(without.scatter_n, rel=1e-6)
    assert spiked.u_relative_period == pytest.approx(without.u_relative_period, rel=1e-4)


def largest_inflation(turned):
    """Return the largest variance of a coefficient times the readings, for one depth and a part of a turn."""
    angle = 2 * np.pi * turned * (np.arange(320) - 159.5) / 320
    columns = design(angle)
    return np.diagonal(np.linalg.inv(columns.T @ columns)).max() * 320


@pytest.mark.parametrize(("factor", "taken"), [(0.97, True), (1.03, False)])
def test_angles_that_make_a_variance_ten_times_too_large_are_refused(factor, taken):
    turned = brentq(lambda part: largest_inflation(part) - 10.0 * factor, 0.55, 1.0)
    steps = np.tile(800.0 * turned * (np.arange(320) - 159.5) / 320, (1, 1, 1))
    force = np.random.default_rng(1).normal(8.0, 0.004, (1, 1, 320))
    known = Turns(steps, force, np.ones((1, 1, 320), bool))
    if taken:
        assert fitted(known, 800.0).coefficients_n[0, 0, 0] == pytest.approx(8.0, abs=0.01)
    else:
        with pytest.raises(ConversionError):
            fitted(known, 800.0)


@pytest.mark.parametrize("off", [-0.03, 0.03])
def test_a_period_far_off_is_found_within_what_is_known_of_it(off):
    fit = fitted(turns(), TRUE_PERIOD * (1 + off), 0.02)
    assert fit.steps_per_turn[0] == pytest.approx(TRUE_PERIOD, rel=2e-4)
    assert fit.left_out.sum() == 0
    assert fit.converged.all()
