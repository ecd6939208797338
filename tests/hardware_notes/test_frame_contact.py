"""Contact of shaft and rim: Hertz's coefficients as handbooks print them, rolling as geometry and elastica have it."""

from math import cos, sin

import numpy as np
import pytest
from frame import contact
from frame.dimensions import Frame
from scipy.optimize import brentq, minimize_scalar

FRAME = Frame.load()
# Roark's Formulas for Stress and Strain, table 14.1, case 4 (general case of two bodies), from memory: cos theta with
# the coefficients of the longer and the shorter half axis and of the approach.
ROARK = [
    (0.0, 1.000, 1.000, 0.750),
    (0.3, 1.242, 0.822, 0.734),
    (0.5, 1.486, 0.717, 0.703),
    (0.8, 2.292, 0.544, 0.594),
    (0.9, 3.093, 0.461, 0.510),
    (0.99, 7.774, 0.287, 0.288),
]


@pytest.mark.parametrize(("cosine", "alpha", "beta", "lamda"), ROARK)
def test_contacts_are_those_of_the_handbook(cosine, alpha, beta, lamda):
    """Half axes alpha and beta (P K C)^(1/3), approach lambda (P^2 C^2 / K)^(1/3), K = 1.5 / sum of the curvatures."""
    force, modulus = 120.0, 80_000.0
    total = 1.7
    found = contact.point_contact(force, ((1 - cosine) / 2 * total, (1 + cosine) / 2 * total), modulus)
    k, c = 1.5 / total, 1 / modulus
    size = (force * k * c) ** (1 / 3)
    assert found.longer / size == pytest.approx(alpha, abs=6e-4)
    assert found.shorter / size == pytest.approx(beta, abs=6e-4)
    assert found.approach / (force**2 * c**2 / k) ** (1 / 3) == pytest.approx(lamda, abs=6e-4)
    assert found.pressure == pytest.approx(1.5 * force / (np.pi * found.longer * found.shorter))


def test_cylinders_press_as_the_handbook_says():
    """Two cylinders of steel, E = 30e6 psi, Poisson 0.3: p = 0.591 (F' E / K)^(1/2) (Roark, table 14.1, case 2b)."""
    steel = contact.Material(206_843.0, 0.3)
    found = contact.cylinder_contact(500.0, 20.0, ((30.0, steel), (10.0, steel)))
    k = 60.0 * 20.0 / 80.0
    assert found.pressure == pytest.approx(0.591 * (25.0 * 206_843.0 / k) ** 0.5, rel=2e-3)


def axis_height(slope, rim_radius, diameter):
    """Return the height at which a sloping axis touches two crowns from above, by looking for the nearest points."""
    ring = FRAME.support.roller_diameter / 2 - rim_radius
    apart, reach = FRAME.half_rollers, rim_radius + diameter / 2
    line = np.array([cos(slope), 0.0, sin(slope)])

    def distance(height):
        def to_line(angle):
            away = np.array([0.0, apart - ring * sin(angle), ring * cos(angle) - height])
            return float(np.linalg.norm(away - line * (away @ line)))

        return minimize_scalar(to_line, bounds=(0.0, 1.5), method="bounded", options={"xatol": 1e-12}).fun

    return brentq(lambda height: distance(height) - reach, 1.0, 40.0, xtol=1e-12)


@pytest.mark.parametrize("rim_radius", [0.5, 2.0, 5.0])
@pytest.mark.parametrize("diameter", [4.0, 6.0, 10.0])
def test_a_sloping_shaft_rises_over_the_rims_as_over_a_plain_roller(rim_radius, diameter):
    """An axis that slopes by s rises over a plain roller by r (1 / cos s - 1); the nearest points of torus and line."""
    slope = 0.05
    risen = axis_height(slope, rim_radius, diameter) - axis_height(0.0, rim_radius, diameter)
    assert risen == pytest.approx(contact.rolling_radius(FRAME, diameter, rim_radius) * (1 / cos(slope) - 1), rel=0.01)


def test_rolling_costs_what_the_elastica_says():
    """Elastica on rollers of r / L = 0.01 and on points, both by shooting (DOP853, 1e-12), apart from this project.

    At d / L = 0.5 / 28 the deflection departs from the line by 0.00087346 and by 0.00330538.
    """
    radius = FRAME.support.span * 0.01
    scale = radius / contact.rolling_radius(FRAME, 6.0)
    assert contact.rolling_thou(FRAME, 6.0, 500.0) * scale / 500 == pytest.approx(0.00330538 - 0.00087346, rel=0.02)


def test_the_axis_lies_where_the_frame_says():
    assert axis_height(0.0, FRAME.support.rim_radius, 6.0) + FRAME.support.axle_height == pytest.approx(
        FRAME.shaft_z(6.0), abs=1e-6
    )


def test_the_rim_leaves_hard_shafts_unmarked_and_soft_ones_nearly_so():
    """Rolling contact goes on yielding above 2.7 times the yield stress (Johnson, 9.2: 4.7 times that of shear)."""
    for diameter in (FRAME.shaft.thinnest, FRAME.shaft.usual, FRAME.shaft.thickest):
        pressure = contact.on_rims(FRAME, diameter, "aluminium").pressure
        assert pressure < 0.8 * contact.SHAKEDOWN * contact.YIELD_MPA["aluminium"]
    sharp = contact.on_rims(FRAME, FRAME.shaft.usual, "aluminium", 0.5).pressure
    assert sharp > contact.SHAKEDOWN * contact.YIELD_MPA["aluminium"]
