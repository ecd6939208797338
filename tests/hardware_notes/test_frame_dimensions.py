"""Places that follow from the frame's dimensions, and whether a shaft finds room between them."""

import pytest
from frame.dimensions import Frame
from midspan.base.units import STANDARD

FRAME = Frame.load()
DIAMETERS = [FRAME.shaft.thinnest, FRAME.shaft.usual, FRAME.shaft.thickest]


def test_the_long_span_is_the_standards():
    assert FRAME.support.span == pytest.approx(STANDARD.span_mm)


def test_a_shaft_reaches_past_both_supports_on_either_span():
    assert FRAME.shaft.shortest > FRAME.support.span
    assert FRAME.shaft.cut_shortest > FRAME.support.short_span


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_shaft_rolls_in_under_the_head_and_lies_between_the_rollers(diameter):
    lowest_of_head = FRAME.head_home_z - FRAME.head.bearing[1] / 2
    assert FRAME.roller_top_z + 1.5 + diameter < lowest_of_head
    assert FRAME.nip_deg(diameter) < 70  # deeper it would wedge (common practice, no source)


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_shaft_at_rest_lies_in_the_notch_of_the_cheeks(diameter):
    assert FRAME.shaft_z(diameter) - diameter / 2 > FRAME.support.notch_bottom
    assert diameter < 2 * FRAME.support.notch_half_width


def test_the_shaft_meets_the_rollers_as_geometry_says():
    """A shaft as thick as the rollers, axles one diameter apart, makes an equilateral triangle of axes."""
    frame = Frame({"support": {"axle_height": 0.0, "roller_diameter": 30.0, "roller_gap": 0.0}})
    assert frame.shaft_z(30.0) == pytest.approx(30 * 3**0.5 / 2)
    assert frame.nip_deg(30.0) == pytest.approx(30.0)
    assert frame.nip_share(30.0) == pytest.approx(1 / 3**0.5)


def test_the_stop_takes_over_before_the_cell_is_hurt():
    """A cell bears half as much again as its rated load (common practice, no source); the device stops at 0.8 of it."""
    at_n = FRAME.cell.stop_gap / FRAME.cell.give_mm_per_n
    assert 0.8 * FRAME.cell.rated_kg * 9.80665 < at_n < 1.5 * FRAME.cell.rated_kg * 9.80665
