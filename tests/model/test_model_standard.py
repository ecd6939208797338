"""Standard parts against what the standards say, and their numbers."""

from collections import Counter
from math import pi

import pytest
from model.standard import (
    UnknownSizeError,
    bearing,
    collar,
    countersunk_screw,
    hex_nut,
    motor,
    profile,
    pulley_radius,
    rail,
    slot_nut,
    socket_screw,
    washer,
)
from model.standard.drive_parts import rail_holes
from model.standard.numbers import number_of, numbers


def test_every_size_has_a_number_of_its_own():
    assert max(Counter(numbers().values()).values()) == 1


def test_a_size_without_a_number_is_refused_by_its_name():
    with pytest.raises(UnknownSizeError) as caught:
        socket_screw(6, 61)
    assert "ISO 4762 M6x61" in str(caught.value)


def test_a_screw_has_the_number_of_its_designation():
    part = socket_screw(6, 20)
    assert (part.designation, part.number) == ("ISO 4762 M6x20", number_of("ISO 4762 M6x20"))


def test_a_cylinder_head_screw_hangs_from_under_its_head():
    box = socket_screw(6, 20).shape.bounding_box()  # ISO 4762: head of M6 10 wide and 6 high
    assert pytest.approx((-20, 6, 10)) == (box.min.Z, box.max.Z, box.size.X)


def test_a_countersunk_screw_lies_below_the_face():
    box = countersunk_screw(5, 16).shape.bounding_box()  # ISO 10642: 11.2 at the sharp edge
    assert pytest.approx((-16, 0, 11.2)) == (box.min.Z, box.max.Z, box.size.X)


@pytest.mark.parametrize(("d", "flats", "height"), [(3, 5.5, 2.4), (5, 8, 4.7), (8, 13, 6.8)])  # ISO 4032
def test_a_nut_has_its_width_and_height(d, flats, height):
    box = hex_nut(d).shape.bounding_box()
    assert pytest.approx((flats, height)) == (box.size.Y, box.size.Z)


def test_a_washer_of_m6_weighs_what_its_ring_does():
    assert washer(6).grams == pytest.approx(pi / 4 * (12**2 - 6.4**2) * 1.6 * 7.85e-3, rel=1e-6)  # ISO 7089


@pytest.mark.parametrize(("width", "height", "slots"), [(40, 40, 4), (40, 80, 6)])
def test_a_profile_has_a_slot_on_every_module_of_every_side(width, height, slots):
    slot, bores = 8.2 * 4.5 + 16 * 3.5 + (16 + 8) / 2 * 4, width * height / 1600
    section = profile(width, height, 100, number="X01").shape.volume / 100
    assert section == pytest.approx(width * height - slots * slot - bores * pi / 4 * 6.8**2)


def test_a_profile_lies_along_x_with_its_height_along_z():
    box = profile(40, 80, 300, number="X01").shape.bounding_box()
    assert pytest.approx((300, 40, 80)) == (box.size.X, box.size.Y, box.size.Z)
    assert pytest.approx(-40) == box.min.Z


def test_a_side_without_a_slot_is_closed():
    closed, open_ = profile(40, 40, 100, ("+y",), "X01"), profile(40, 40, 100, number="X01")
    assert (closed.shape.volume - open_.shape.volume) / 100 == pytest.approx(3 * 140.9)


def test_a_slot_nut_hangs_below_the_lips():
    box = slot_nut(6).shape.bounding_box()
    assert pytest.approx((0, 15)) == (box.max.Z, box.size.Y)
    assert box.min.Z > -7.5


def test_a_bearing_and_a_collar_have_the_sizes_of_their_standards():
    box = bearing(4, 13, 5).shape.bounding_box()  # ISO 15, 4 x 13 x 5
    assert pytest.approx((13, 5)) == (box.size.X, box.size.Z)
    box = collar(8).shape.bounding_box()  # DIN 705: 16 x 8 for a shaft of 8
    assert pytest.approx((16, 8)) == (box.size.X, box.size.Z)


def test_the_motor_stands_below_its_flange():
    box = motor().shape.bounding_box()
    assert pytest.approx((-40, 22)) == (box.min.Z, box.max.Z)


def test_the_belt_goes_round_a_pulley_once_in_its_teeth():
    assert 2 * pi * pulley_radius(20) == pytest.approx(50)  # 20 teeth of 2.5 mm


def test_a_rail_of_230_has_nine_holes_and_the_same_end_on_both_sides():
    holes = rail_holes(230)
    assert (len(holes), holes[0], holes[-1]) == (9, -100, 100)
    full = 230 * 12 * 8 - 9 * pi / 4 * (3.5**2 * 3.5 + 6**2 * 4.5)
    assert rail(230).shape.volume == pytest.approx(full)
