"""Calibration polynomials against NIST's certified fits, and the data that a fit must refuse."""

import json
import re
from importlib import resources
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ConversionError
from midspan.base.polynomial import fit_polynomial
from places import DATA

CERTIFIED = json.loads((DATA / "certified_fits.json").read_text())
NINE_DIGITS = 1e-9


def norris():
    """Return x and y of the 36 points; the header of the certificate ends with line 60."""
    place = resources.files("scipy.stats.tests") / "data" / "nist_linregress" / "Norris.dat"
    y, x = np.loadtxt(place.read_text().splitlines()[60:], unpack=True)
    return x, y


def pontius():
    """Return x and y of two runs over the same 20 loads."""
    table = CERTIFIED["pontius"]
    y = table["deflection_first_run"] + table["deflection_second_run"]
    return np.tile(table["load_step"] * np.arange(1, 21), 2), np.array(y)


@pytest.mark.parametrize(("name", "data", "order"), [("norris", norris, 1), ("pontius", pontius, 2)])
def test_certified_fits_to_nine_digits(name, data, order):
    # Sources in certified_fits.json.
    certified = CERTIFIED[name]
    fit = fit_polynomial(*data(), order)
    assert fit.coefficients == pytest.approx(np.array(certified["coefficients"]), rel=NINE_DIGITS)
    assert fit.u == pytest.approx(np.array(certified["sd_coefficients"]), rel=NINE_DIGITS)
    assert fit.residual_sd == pytest.approx(certified["residual_sd"], rel=NINE_DIGITS)
    assert fit.degrees_of_freedom == certified["degrees_of_freedom"]


def test_covariance_between_coefficients_against_numpy():
    # numpy.polyfit inverts its own normal matrix; Norris is well enough conditioned for that.
    x, y = norris()
    _, covariance = np.polyfit(x, y, 1, cov=True)
    assert fit_polynomial(x, y, 1).covariance == pytest.approx(covariance[::-1, ::-1], rel=1e-9)


def test_through_zero_against_the_textbook():
    # One coefficient: b = sum xy / sum xx, u(b) = s / sqrt(sum xx) (JCGM 100:2008, H.3, with a known intercept).
    x, y = norris()
    fit = fit_polynomial(x, y, 1, through_zero=True)
    slope = x @ y / (x @ x)
    sd = np.sqrt(((y - slope * x) ** 2).sum() / (len(x) - 1))
    assert fit.coefficients == pytest.approx([0.0, slope], rel=1e-12)
    assert fit.u == pytest.approx([0.0, sd / np.sqrt(x @ x)], rel=1e-12)
    assert fit.degrees_of_freedom == 35


@given(st.lists(st.floats(-3.0, 3.0), min_size=2, max_size=4), st.floats(-50.0, 50.0), st.floats(1e-3, 1e3))
def test_points_on_a_polynomial_give_it_back(coefficients, offset, width):
    u = np.linspace(-1.0, 1.0, 12)
    y = np.polynomial.polynomial.polyval(u, coefficients)
    x = width * (u + offset)
    fit = fit_polynomial(x, y, len(coefficients) - 1)
    # An abscissa 50 half widths from zero costs five of sixteen digits in its powers.
    assert fit(x) == pytest.approx(y, abs=1e-9)
    assert fit.residual_sd < 1e-9


@given(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6))
def test_other_units_of_both_axes_leave_the_fit_the_same(x_unit, y_unit):
    x, y = pontius()
    fit, other = fit_polynomial(x, y, 2), fit_polynomial(x * x_unit, y * y_unit, 2)
    scale = y_unit / x_unit ** np.arange(3)
    assert other.coefficients / scale == pytest.approx(fit.coefficients, rel=1e-9)
    assert other.u / scale == pytest.approx(fit.u, rel=1e-9)
    assert other.residual_sd == pytest.approx(fit.residual_sd * y_unit, rel=1e-9)


@pytest.mark.parametrize(
    ("x", "y", "order", "code", "numbers"),
    [
        ([1.0, 2.0], [1.0, 2.0], 1, "too_few", [1, 2, 2, 2]),
        ([1.0, 2.0, 3.0], [1.0, 2.0], 1, "too_few", [1, 2, 3, 2]),
        ([1.0, 2.0, nan], [1.0, 2.0, 3.0], 1, "not_finite", []),
        ([1.0, 2.0, 3.0], [1.0, inf, 3.0], 1, "not_finite", []),
        ([2.0, 2.0, 2.0, 2.0], [1.0, 2.0, 3.0, 4.0], 1, "too_few_different", [1, 2, 1]),
        ([1.0, 1.0, 2.0, 2.0], [1.0, 2.0, 3.0, 4.0], 2, "too_few_different", [2, 3, 2]),
        ([[1.0, 2.0, 3.0]], [[1.0, 2.0, 3.0]], 1, "too_few", [1, 2, 3, 3]),
    ],
)
def test_data_that_determine_no_polynomial_are_refused(x, y, order, code, numbers):
    with pytest.raises(ConversionError) as caught:
        fit_polynomial(x, y, order)
    assert caught.value.code == code
    assert [int(number) for number in re.findall(r"\d+", str(caught.value))] == numbers


def test_a_fit_through_zero_of_points_at_zero_is_refused():
    with pytest.raises(ConversionError) as caught:
        fit_polynomial([0.0, 0.0, 0.0], [1.0, 2.0, 3.0], 1, through_zero=True)
    assert caught.value.code == "too_few_different"
