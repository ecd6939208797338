"""Shafts have room in the stands, in both positions, and the stands' belt exists and is tight."""

import pytest
from frame.belts import T25_LENGTHS_MM, contacts, teeth_in_mesh
from frame.dimensions import Frame
from frame.supports import (
    belt_mm,
    diameter_difference_mm,
    end_past_rim_mm,
    idler_z,
    notch_room_mm,
    runout_thou,
    sleeve_room_mm,
    walk_mm_a_turn,
    wheel_room_mm,
    wheels,
)

FRAME = Frame.load()
SHAFT, SUPPORT, DRIVE = FRAME.shaft, FRAME.support, FRAME.drive
DIAMETERS = [SHAFT.thinnest, 5.0, SHAFT.usual, 8.0, SHAFT.thickest]
LEAST_TEETH = 6  # in mesh: common practice, no source
BELT_TOLERANCE_MM = 0.3  # of a belt of that length, from memory


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_shaft_lies_in_the_nip_and_does_not_fall_through_or_jam(diameter):
    assert SUPPORT.roller_gap < diameter
    assert 45 < FRAME.nip_deg(diameter) < 70
    assert FRAME.shaft_z(diameter) > SUPPORT.axle_height
    assert FRAME.shaft_z(diameter) + diameter / 2 > SUPPORT.cheek_top - 0.1


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_shaft_clears_notch_pulleys_belt_and_idler(diameter):
    assert notch_room_mm(FRAME, diameter) >= 1
    assert wheel_room_mm(FRAME, diameter) > 5


def test_shafts_reach_past_both_rims():
    assert end_past_rim_mm(FRAME, SHAFT.shortest, SUPPORT.span) > 5
    assert end_past_rim_mm(FRAME, SHAFT.cut_shortest, SUPPORT.short_span) > 5


def test_the_longest_shaft_on_the_end_stop_reaches_the_other_rim_and_stays_inside():
    right = FRAME.stop_x(SHAFT.longest) + SHAFT.longest
    assert SUPPORT.span / 2 + SUPPORT.roller_width < right < FRAME.lid.sides_x - FRAME.lid.sheet
    rod_end = FRAME.stop_x(SHAFT.longest) - 3 - FRAME.base.stop_rod
    assert rod_end > -(FRAME.lid.sides_x - FRAME.lid.sheet / 2)


def test_every_shaft_meets_the_felt():
    radius = 5
    for diameter in DIAMETERS:
        assert abs(FRAME.shaft_z(diameter) - FRAME.stop_z) < radius


def test_the_belt_is_sold_and_the_idler_tightens_it_within_its_slot():
    low, high = DRIVE.idler_travel
    assert belt_mm(FRAME) in T25_LENGTHS_MM
    for tolerance in (-BELT_TOLERANCE_MM, BELT_TOLERANCE_MM):
        by_slope = idler_z(FRAME) - tolerance / 2  # the belt grows by about 2 mm a mm of the idler
        assert low < by_slope < high - 1, "it must go in from above while the belt is loose"
    assert sleeve_room_mm(FRAME) > 0.3


def test_enough_teeth_are_in_mesh_on_every_pulley():
    for contact in contacts(wheels(FRAME, idler_z(FRAME))):
        if not contact.wheel.back:
            assert teeth_in_mesh(contact, DRIVE.belt_pitch) >= LEAST_TEETH


def test_the_coupling_lies_between_the_stand_and_the_motors_angle():
    stand, angle = SUPPORT.span / 2 + SUPPORT.cheek_outer[1], DRIVE.motor_x - DRIVE.motor_angle[2]
    assert stand < DRIVE.coupling_x < DRIVE.coupling_x + 25 < angle
    assert DRIVE.coupling_x + 8 <= DRIVE.layshaft_ends[1] < DRIVE.motor_x - 22, "8 mm held, motor's shaft not met"


def test_a_skewed_roller_walks_a_shaft_by_its_circumference_times_the_angle():
    assert walk_mm_a_turn(6.0, 5.0) == pytest.approx(0.0942, abs=1e-4)  # 6 pi mm times 0.005


@pytest.mark.parametrize("diameter", DIAMETERS)
def test_a_rim_that_is_larger_lifts_its_end_by_the_geometry_of_two_circles(diameter):
    """A rim's rise on one side lifts by half of what both sides lift."""
    both = diameter_difference_mm(FRAME, diameter, 2 * SUPPORT.roller_runout)
    assert runout_thou(FRAME, diameter) * 0.0254 == pytest.approx(both / 4, rel=1e-2)
