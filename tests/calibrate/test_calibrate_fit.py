"""Choice of order, lack of fit and reading back, held to the worked examples of the NIST/SEMATECH handbook."""

import json
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConversionError
from midspan.base.polynomial import fit_polynomial
from midspan.calibrate.fit_tests import choose_order, combined, f_test, lack_of_fit, read_back, u_of_curve
from places import DATA
from scipy import stats

EXAMPLES = json.loads((DATA / "calibration_examples.json").read_text())
PONTIUS = json.loads((DATA / "certified_fits.json").read_text())["pontius"]


def pontius():
    """Return loads and deflections of both runs."""
    y = PONTIUS["deflection_first_run"] + PONTIUS["deflection_second_run"]
    return np.tile(PONTIUS["load_step"] * np.arange(1.0, 21.0), 2), np.array(y)


def test_a_straight_line_through_a_load_cell_lacks_fit():
    x, y = pontius()
    found = lack_of_fit(fit_polynomial(x, y, 1), x, y)
    assert found.ratio == pytest.approx(EXAMPLES["load_cell"]["line_lack_of_fit_f"], abs=5e-4)
    assert found.degrees == (18, 20)
    assert found.significant


def test_the_second_order_fits():
    x, y = pontius()
    found = lack_of_fit(fit_polynomial(x, y, 2), x, y)
    assert found.ratio == pytest.approx(EXAMPLES["load_cell"]["curve_lack_of_fit_f"], abs=5e-5)
    assert found.chance == pytest.approx(EXAMPLES["load_cell"]["curve_lack_of_fit_p"], abs=5e-5)
    assert found.degrees == (17, 20)


def test_the_published_case_is_decided_for_the_second_order():
    x, y = pontius()
    evidence = choose_order(x, y)
    assert evidence.order == 2
    # one term more: F is the square of its t (any textbook of regression)
    t = evidence.fit.coefficients[2] / evidence.fit.u[2]
    assert evidence.added_term.ratio == pytest.approx(t**2, rel=1e-6)


def test_reading_back_a_load_with_its_interval():
    published = EXAMPLES["load_cell"]
    found = read_back(fit_polynomial(*pontius(), 2), published["new_deflection"], (0.0, 3.2e6))
    assert found == pytest.approx(published["interval"], abs=1.0)


def test_reading_back_a_temperature_with_its_interval():
    published = EXAMPLES["pressure_temperature"]
    fit = fit_polynomial(published["temperature"], published["pressure"], 1)
    assert read_back(fit, published["new_pressure"], (0.0, 100.0)) == pytest.approx(published["interval"], abs=1e-4)


def test_linewidth_calibration_and_covariance():
    published = EXAMPLES["linewidth"]
    fit = fit_polynomial(published["reference_um"] * 4, published["measured_um"], 1)
    assert fit.coefficients == pytest.approx([published["intercept"], published["slope"]], abs=5e-8)
    assert fit.u == pytest.approx([published["sd_intercept"], published["sd_slope"]], rel=1e-6)
    assert fit.covariance == pytest.approx(np.array(published["covariance"]), rel=1e-6)
    assert fit.residual_sd == pytest.approx(published["residual_sd"], abs=5e-6)
    assert fit.degrees_of_freedom == published["degrees_of_freedom"]


def test_the_thermometer_of_the_gum():
    published = EXAMPLES["thermometer"]
    t, b = np.array(published["temperature_c"]), published["correction_c"]
    fit = fit_polynomial(t - published["t0_c"], b, 1)
    assert [round(float(value), places) for value, places in zip(fit.coefficients, (4, 5), strict=True)] == [
        published["intercept"], published["slope"],
    ]  # fmt: skip
    assert [round(float(u), places) for u, places in zip(fit.u, (4, 5), strict=True)] == [
        published["u_intercept"], published["u_slope"],
    ]  # fmt: skip
    assert round(fit.covariance[0, 1] / fit.u.prod(), 2) == published["correlation"]
    assert round(fit.residual_sd, 4) == published["residual_sd"]
    assert fit.degrees_of_freedom == published["degrees_of_freedom"]
    assert round(float(fit(30 - published["t0_c"])), 4) == published["at_30_c"]
    # The correlation must be in it: without, u would be 0.0073 C.
    assert round(float(u_of_curve(fit, 30 - published["t0_c"])[0]), 4) == published["u_at_30_c"]


def test_the_thermometer_of_the_gum_about_its_mean():
    published = EXAMPLES["thermometer"]
    t, b = np.array(published["temperature_c"]), published["correction_c"]
    fit = fit_polynomial(t - published["at_mean"]["t0_c"], b, 1)
    assert round(float(fit.coefficients[0]), 4) == published["at_mean"]["intercept"]
    assert round(float(fit.u[0]), 4) == published["at_mean"]["u_intercept"]
    assert fit.covariance[0, 1] / fit.u.prod() == pytest.approx(0.0, abs=1e-3)


def test_the_curve_s_uncertainty_against_numpy():
    x, y = pontius()
    coefficients, covariance = np.polyfit(x / 1e6, y, 2, cov=True)
    powers = np.vander([0.3, 2.2], 3)
    expected = np.sqrt(np.diag(powers @ covariance @ powers.T))
    assert len(coefficients) == 3
    assert u_of_curve(fit_polynomial(x, y, 2), [0.3e6, 2.2e6]) == pytest.approx(expected, rel=1e-6)


def test_equal_shares_double_their_degrees_of_freedom():
    # Two equal shares of nu degrees each have 2 nu (JCGM 100:2008, G.4.1, by symmetry).
    u, dof = combined((1.0, 7.0), (1.0, 7.0))
    assert (u, dof) == pytest.approx((np.sqrt(2), 14.0))


@pytest.mark.slow
@given(st.integers(0, 10**6))
def test_a_straight_cell_seldom_gets_a_second_order(seed):
    # At most one in a hundred by design; 30 draws within one example keep the claim testable.
    rng = np.random.default_rng(seed)
    x = np.tile(np.linspace(1.0, 10.0, 8), 3)
    chosen = [choose_order(x, x + rng.normal(0, 0.01, len(x)), through_zero=True).order for _ in range(30)]
    assert chosen.count(2) <= 4  # P(5 or more of 30 at 1 %) is 1e-5


def test_a_bend_of_ten_sigma_always_does():
    x = np.tile(np.linspace(1.0, 10.0, 8), 3)
    noise = np.random.default_rng(1).normal(0, 0.01, len(x))
    assert choose_order(x, x + 0.002 * x**2 + noise, through_zero=True).order == 2


def test_too_few_loads_leave_a_line_and_say_so():
    evidence = choose_order([1.0, 2.0, 1.0, 2.0], [1.0, 2.0, 1.1, 2.1], through_zero=True)
    assert (evidence.order, evidence.added_term) == (1, None)


def test_no_repeats_no_lack_of_fit():
    x = [1.0, 2.0, 3.0, 4.0]
    assert lack_of_fit(fit_polynomial(x, [1.0, 2.1, 2.9, 4.0], 1), x, [1.0, 2.1, 2.9, 4.0]) is None


def test_an_f_test_against_scipy():
    found = f_test(3.0, 2, 10.0, 20)
    assert found.chance == pytest.approx(stats.f.sf(3.0, 2, 20), rel=1e-12)
    assert f_test(1.0, 1, 0.0, 5).significant
    assert not f_test(0.0, 1, 0.0, 5).significant


def test_a_reading_beyond_the_calibration_is_refused():
    with pytest.raises(ConversionError) as caught:
        read_back(fit_polynomial(*pontius(), 2), 5.0, (0.0, 3e6))
    assert re.findall(r"[\de+]*\d", str(caught.value)) == ["5", "0", "3e+06"]
