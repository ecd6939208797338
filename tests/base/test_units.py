"""Units against their exact definitions, conventions against the standards and the trade."""

import json

import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st
from midspan.base import units
from midspan.base.units import OLDER, STANDARD, pounds_from_thou
from midspan.measurement import elastica
from places import DATA

PUBLISHED = json.loads((DATA / "units_and_conventions.json").read_text())


def test_units_are_the_exact_definitions():
    exact = PUBLISHED["exact_units"]
    assert exact["inch_mm"] == units.MM_PER_INCH
    assert exact["thou_mm"] == units.MM_PER_THOU
    assert exact["pound_kg"] == units.KG_PER_POUND
    assert exact["grain_mg"] / 1000 == pytest.approx(units.GRAM_PER_GRAIN, rel=1e-15)
    assert exact["standard_gravity_m_s2"] == units.STANDARD_GRAVITY
    assert pytest.approx(exact["pound_force_n"], rel=1e-15) == units.KG_PER_POUND * units.STANDARD_GRAVITY


def test_units_agree_with_a_reference_library():
    # scipy.constants carries the same definitions, typed by others.
    assert pytest.approx(scipy.constants.inch * 1000, rel=1e-15) == units.MM_PER_INCH
    assert pytest.approx(scipy.constants.mil * 1000, rel=1e-15) == units.MM_PER_THOU
    assert pytest.approx(scipy.constants.pound, rel=1e-15) == units.KG_PER_POUND
    assert pytest.approx(scipy.constants.grain * 1000, rel=1e-15) == units.GRAM_PER_GRAIN
    assert scipy.constants.g == units.STANDARD_GRAVITY


def test_the_standard_is_880_grams_on_28_inches():
    standard, exact = PUBLISHED["standard"], PUBLISHED["exact_units"]
    assert pytest.approx(standard["span_in"] * exact["inch_mm"], rel=1e-15) == STANDARD.span_mm
    newton = standard["mass_g"] / 1000 * exact["standard_gravity_m_s2"]
    assert pytest.approx(newton, rel=1e-15) == STANDARD.load_n


def test_880_grams_and_194_pounds_differ_by_35_parts_in_a_million():
    standard, exact = PUBLISHED["standard"], PUBLISHED["exact_units"]
    apart = STANDARD.load_n / (standard["mass_lb"] * exact["pound_force_n"]) - 1
    assert apart * 1e6 == pytest.approx(standard["apart_ppm"], abs=0.05)


def test_the_older_convention_is_two_pounds_on_26_inches():
    older, exact = PUBLISHED["older"], PUBLISHED["exact_units"]
    assert pytest.approx(older["span_in"] * exact["inch_mm"], rel=1e-15) == OLDER.span_mm
    assert pytest.approx(older["mass_lb"] * exact["pound_force_n"], rel=1e-15) == OLDER.load_n


def test_pounds_of_the_older_convention():
    older = PUBLISHED["older"]
    assert pounds_from_thou(1000 * older["deflection_in"]) == pytest.approx(older["pounds"], rel=1e-12)


def test_the_factor_between_the_conventions_in_small_deflections():
    # The published factor is for 1.94 lb; the standard load here is 880 g, 35 ppm more.
    small_mm = 1e-4
    factor = float(elastica.convert_deflection(small_mm, OLDER)) / small_mm
    by_pounds = factor * 1.94 * PUBLISHED["exact_units"]["pound_force_n"] / STANDARD.load_n
    assert by_pounds == pytest.approx(PUBLISHED["between_conventions"]["factor"], rel=2e-8)
    assert round(factor, 4) == 1.2115


@given(st.floats(250.0, 1000.0))
def test_a_smaller_number_is_a_stiffer_shaft(spine_thou):
    # Common practice, no source: the lower the spine number the stiffer the shaft, the more pounds it carries.
    spine_mm = spine_thou * units.MM_PER_THOU
    stiffness = elastica.stiffness_between((0.0, STANDARD.load_n), [spine_mm, spine_mm * 1.01], STANDARD.span_mm)
    assert stiffness[0] > stiffness[1]
    assert pounds_from_thou(spine_thou) > pounds_from_thou(spine_thou * 1.01)


def test_spine_500_bends_half_an_inch():
    # Common practice, no source: "500" means 0.500 in.
    half_inch_mm = 0.5 * units.MM_PER_INCH
    stiffness = elastica.stiffness_between((0.0, STANDARD.load_n), half_inch_mm, STANDARD.span_mm)
    again_mm = float(elastica.deflection_mm(STANDARD.load_n, STANDARD.span_mm, stiffness))
    assert again_mm / units.MM_PER_THOU == pytest.approx(500.0, rel=1e-12)
