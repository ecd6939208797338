"""Swing, stiff side and four readings of a curve against the curve itself, drawn finely."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.measurement import curve
from scipy.stats import rayleigh

ANGLE = np.linspace(0, 2 * np.pi, 720, endpoint=False)  # every half degree
SIGNIFICANT = 13.8155  # chi-square of two degrees of freedom, one chance in a thousand

amplitudes = st.floats(0.5, 20.0)
angles = st.floats(0.0, 2 * np.pi)


def values_at(coefficients, angle):
    """The curve by its definition: mean, cosine and sine of each order."""
    return coefficients[0] + sum(
        coefficients[2 * k - 1] * np.cos(k * angle) + coefficients[2 * k] * np.sin(k * angle) for k in (1, 2, 3)
    )


def covariance(seed=1, size=1e-4):
    """A full covariance of seven coefficients, all orders of one size."""
    part = np.random.default_rng(seed).normal(size=(7, 7))
    return size * (part @ part.T + np.eye(7))


def waves(**orders):
    """Coefficients of a curve with a mean of 500 and the named orders as amplitude and phase."""
    coefficients = np.zeros(7)
    coefficients[0] = 500.0
    for name, (amplitude, phase) in orders.items():
        k = {"first": 1, "second": 2, "third": 3}[name]
        coefficients[2 * k - 1 : 2 * k + 1] = amplitude * np.cos(phase), amplitude * np.sin(phase)
    return coefficients


def form(vector, matrix):
    return np.sqrt(vector @ matrix @ vector)


def reading(angle):
    """Return the factor of each coefficient in a reading at an angle."""
    return np.array([1.0] + [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)])


@given(st.sampled_from([1, 2]), amplitudes, angles)
def test_one_order_alone(order, amplitude, phase):
    coefficients, known = waves(**{("first", "second")[order - 1]: (amplitude, phase)}), covariance()
    found = curve.swing(coefficients[None], known[None], order)
    assert found.value[0] == pytest.approx(2 * amplitude)
    lowest = found.lowest_rad[0]
    assert 0 <= lowest < 2 * np.pi / order
    assert values_at(coefficients, lowest) == pytest.approx(500.0 - amplitude)
    # Highest less lowest is linear in the coefficients at fixed angles.
    difference = (reading(lowest + np.pi / order) - reading(lowest)) * (coefficients != 0)
    assert found.u[0] == pytest.approx(form(difference, known))
    c, s = coefficients[2 * order - 1], coefficients[2 * order]
    block = known[2 * order - 1 : 2 * order + 1, 2 * order - 1 : 2 * order + 1]
    by_angle = np.array([-s, c]) / (amplitude**2 * order)  # of atan2(s, c) / order
    assert found.u_lowest_rad[0] == pytest.approx(form(by_angle, block))


@pytest.mark.parametrize("order", [1, 2])
def test_the_floor_is_passed_by_noise_once_in_twenty(order):
    known = covariance()
    found = curve.swing(waves(first=(1.0, 0.0), second=(1.0, 0.0))[None], known[None], order)
    i = 2 * order - 1
    sigma = np.sqrt((known[i, i] + known[i + 1, i + 1]) / 2)
    assert found.floor[0] == pytest.approx(2 * rayleigh.ppf(0.95, scale=sigma))


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("order", [1, 2])
def test_all_orders_together(seed, order):
    rng = np.random.default_rng(seed)
    first, second, third = rng.uniform(0.5, 20.0, 3)
    p1, p2, p3 = rng.uniform(0, 2 * np.pi, 3)
    coefficients, known = waves(first=(first, p1), second=(second, p2), third=(third, p3)), covariance()
    found = curve.swing(coefficients[None], known[None], order)
    fine = values_at(coefficients, ANGLE)
    slack = 1e-3 * (first + 4 * second + 9 * third)  # a degree apart from the very top
    assert found.value[0] == pytest.approx(np.ptp(fine), abs=slack)
    assert found.value[0] <= np.ptp(fine) + 1e-9
    whole = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    coarse = values_at(coefficients, whole)
    difference = reading(whole[coarse.argmax()]) - reading(whole[coarse.argmin()])
    assert found.u[0] == pytest.approx(form(difference, known), rel=1e-9)
    # The side is that of the leading order whatever the others do.
    alone = curve.swing(waves(first=(first, p1), second=(second, p2))[None], known[None], order)
    assert found.lowest_rad[0] == alone.lowest_rad[0]


def test_curves_of_one_order_and_of_several_do_not_touch_each_other():
    rows = [waves(second=(3.0, 0.4)), waves(first=(2.0, 1.0), second=(3.0, 0.4)), waves(second=(5.0, 2.0))]
    known = np.tile(covariance(), (3, 1, 1))
    together = curve.swing(np.array(rows), known, 2)
    for i, row in enumerate(rows):
        alone = curve.swing(row[None], known[:1], 2)
        for name in ("value", "u", "floor", "lowest_rad", "u_lowest_rad"):
            assert getattr(together, name)[i] == getattr(alone, name)[0], name


@pytest.mark.parametrize("order", [1, 2, 3])
@pytest.mark.parametrize("always", [1, 2, 3])
@pytest.mark.parametrize("factor", [0.98, 1.02])
def test_an_order_is_kept_above_what_noise_reaches_once_in_a_thousand(order, always, factor):
    known = covariance(seed=4)
    i = 2 * order - 1
    variance = (known[i, i] + known[i + 1, i + 1]) / 2
    amplitude = factor * np.sqrt(SIGNIFICANT * variance)
    coefficients = waves(**{("first", "second", "third")[order - 1]: (amplitude, 0.6)})
    kept = curve.retained(coefficients[None], known[None], always)[0]
    expected = coefficients.copy()
    if order != always and factor < 1:
        expected[i : i + 2] = 0.0
    assert kept.tolist() == expected.tolist()


@given(amplitudes, angles, amplitudes, angles)
def test_four_readings_are_read_off_at_the_quarters(first, p1, second, p2):
    # ASTM F2031: the variation between four readings at 90 degrees.
    coefficients, known = waves(first=(first, p1), second=(second, p2)), covariance(seed=2)
    quarters = np.array([0.0, 0.5, 1.0, 1.5]) * np.pi
    values = values_at(coefficients, quarters)
    value, u = curve.four_readings(coefficients[None], known[None])
    assert value[0] == pytest.approx(np.ptp(values), abs=1e-9)
    if np.sort(np.abs(np.subtract.outer(values, values)).ravel())[4] > 1e-6:  # which quarter is highest is not a tie
        difference = reading(quarters[values.argmax()]) - reading(quarters[values.argmin()])
        difference[5:] = 0.0  # an order that is left out as noise adds none
        assert u[0] == pytest.approx(form(difference, known), rel=1e-9)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_amplitude_of_an_order(order):
    found = curve.amplitude(waves(first=(1.5, 0.3), second=(2.5, 1.0), third=(3.5, 2.0))[None], order)
    assert found[0] == pytest.approx(0.5 + order)
