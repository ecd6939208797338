"""Calibration polynomials against NIST's certified fits, and what a fit must refuse."""

import json
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
    """x and y of the 36 points; the certificate's header ends with line 60."""
    place = resources.files("scipy.stats.tests") / "data" / "nist_linregress" / "Norris.dat"
    y, x = np.loadtxt(place.read_text().splitlines()[60:], unpack=True)
    return x, y


def pontius():
    """x and y of two runs over the same 20 loads."""
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
    # Powers of an abscissa 50 half widths off cost five digits of sixteen.
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
    ("x", "y", "order", "words"),
    [
        ([1.0, 2.0], [1.0, 2.0], 1, "order 1 needs more than 2 pairs"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], 1, "found 3 and 2"),
        ([1.0, 2.0, nan], [1.0, 2.0, 3.0], 1, "not a finite number"),
        ([1.0, 2.0, 3.0], [1.0, inf, 3.0], 1, "not a finite number"),
        ([2.0, 2.0, 2.0, 2.0], [1.0, 2.0, 3.0, 4.0], 1, "at least 2 different points, found 1"),
        ([1.0, 1.0, 2.0, 2.0], [1.0, 2.0, 3.0, 4.0], 2, "at least 3 different points, found 2"),
        ([[1.0, 2.0, 3.0]], [[1.0, 2.0, 3.0]], 1, "pairs of readings"),
    ],
)
def test_a_fit_without_meaning_is_refused(x, y, order, words):
    with pytest.raises(ConversionError, match=words):
        fit_polynomial(x, y, order)


def test_a_fit_through_zero_of_points_at_zero_is_refused():
    with pytest.raises(ConversionError, match="different points"):
        fit_polynomial([0.0, 0.0, 0.0], [1.0, 2.0, 3.0], 1, through_zero=True)
