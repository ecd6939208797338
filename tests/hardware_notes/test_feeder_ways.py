"""Shafts of 4 to 10 mm roll in and out of the gauge, and the check standard back in, on the edges that are drawn."""

import numpy as np
import pytest
from frame import escapement, feeder, rolling
from frame.dimensions import Frame
from frame.rolling import Surfaces

FRAME = Frame.load()
SHAFTS = (4.0, 6.0, 10.0)
STANDARDS = (6.0, 8.0, 10.0)
MARGIN_MM = 1.0


def only(line):
    return Surfaces(lines=(line,))


def test_a_disc_on_a_slope_stands_a_radius_off_it() -> None:
    """Plane geometry: over a slope of 30 degrees the axis is r / cos 30 above the edge."""
    slope = only(((-50.0, -50.0 * np.tan(np.pi / 6)), (50.0, 50.0 * np.tan(np.pi / 6))))
    z = rolling.height(np.array([0.0]), 3.0, slope)
    assert z[0] == pytest.approx(3.0 / np.cos(np.pi / 6), abs=1e-9)


def test_a_step_or_a_gap_stops_a_roll() -> None:
    gap = Surfaces(lines=(((0.0, 10.0), (20.0, 5.0)), ((30.0, 1.0), (60.0, -6.5))))
    assert rolling.roll(1.0, 50.0, 20.0, gap).end[0] > 49
    assert rolling.roll(1.0, 50.0, 3.0, gap).end[0] < 30


@pytest.mark.parametrize("diameter", SHAFTS)
def test_a_shaft_rolls_from_the_ramp_into_the_nip(diameter: float) -> None:
    way = feeder.entry(FRAME, diameter)
    assert way.end == pytest.approx((0.0, FRAME.shaft_z(diameter)), abs=0.02)
    assert way.flattest_deg > 3
    assert way.fall < 15


@pytest.mark.parametrize("diameter", SHAFTS)
def test_the_fastest_shaft_lands_on_the_finger_and_passes_under_the_head(diameter: float) -> None:
    landed, past_head = feeder.thrown(FRAME, diameter)
    assert FRAME.feeder.gate_hump[0] + 2 < landed[0] < FRAME.feeder.gate_tail[0]
    assert past_head > MARGIN_MM


@pytest.mark.parametrize("diameter", SHAFTS)
def test_the_fingers_leave_room_for_a_shaft_under_load(diameter: float) -> None:
    assert feeder.loaded(FRAME, diameter) > MARGIN_MM


@pytest.mark.parametrize("diameter", SHAFTS)
def test_the_gate_lifts_a_shaft_past_all_that_stands(diameter: float) -> None:
    places = feeder.carried_out(FRAME, diameter)
    for surfaces in (feeder.head(FRAME), only(feeder.ramp(FRAME))):
        assert min(rolling.clearance(at.axis, diameter / 2, surfaces) for at in places) > MARGIN_MM
    assert max(at.axis[1] for at in places) > FRAME.roller_top_z + diameter / 2  # it does go over the front roller
    assert places[-1].angle_deg < FRAME.feeder.gate_swing - 10


@pytest.mark.parametrize("diameter", SHAFTS)
def test_a_shaft_rolls_from_the_raised_fingers_over_the_flap_under_the_ramp(diameter: float) -> None:
    flap = feeder.first_flap(FRAME)
    way = feeder.exit_way(FRAME, diameter, flap)
    assert way.end[0] == pytest.approx(flap[-1][0], abs=0.05)
    assert way.flattest_deg > 10
    highest = feeder.finger(FRAME, FRAME.feeder.gate_swing)[1][1] + diameter
    assert highest < FRAME.feeder.ramp_end[1] - FRAME.feeder.ramp_tip - MARGIN_MM


@pytest.mark.parametrize("diameter", STANDARDS)
def test_the_check_standard_falls_past_its_open_flap_into_the_pocket(diameter: float) -> None:
    opened = feeder.first_flap(FRAME, FRAME.feeder.first_flap_swing)
    guide = feeder.slot_guide(FRAME)
    assert opened[0][0] - max(y for y, _ in guide) > diameter + MARGIN_MM
    foot, front = feeder.arms(FRAME)[2:]
    assert front[0] > opened[0][0]
    tail = feeder.finger(FRAME, FRAME.feeder.gate_swing)[3]
    behind = max(y for y, _ in (*guide, *feeder.arms(FRAME)[:2]))
    assert tail[0] + diameter / 2 > behind  # what drops off the tail does not land behind the pocket
    assert feeder.in_pocket(FRAME, diameter)[0] > foot[0]


@pytest.mark.parametrize("diameter", STANDARDS)
def test_the_lift_carries_the_check_standard_past_all_that_stands(diameter: float) -> None:
    places = feeder.carried_back(FRAME, diameter)
    for line in (feeder.ramp(FRAME), feeder.finger(FRAME), feeder.slot_guide(FRAME)):
        assert min(rolling.clearance(at.axis, diameter / 2, only(line)) for at in places) > MARGIN_MM
    pushed = [feeder.flap_pushed(FRAME, diameter, at.axis) for at in places]
    assert 0 < max(pushed) < 30
    assert pushed[-1] == 0  # the flap has fallen shut behind it
    free = feeder.first_flap(FRAME, -max(pushed))[0]
    assert rolling.clearance(free, 0.0, only(feeder.ramp(FRAME))) > MARGIN_MM


@pytest.mark.parametrize("diameter", STANDARDS)
def test_the_check_standard_stays_in_the_pocket_until_it_leans_back_over_the_finger(diameter: float) -> None:
    level = feeder.leans_back_at(FRAME)
    assert 90 < level < FRAME.feeder.lift_swing - 10
    way = feeder.return_way(FRAME, diameter)
    assert way.end == pytest.approx((0.0, FRAME.shaft_z(diameter)), abs=0.02)
    assert way.flattest_deg > 3


def test_rails_stand_where_bowed_shafts_still_roll() -> None:
    """At 0.29 of the length from the middle a bow does not move the centre of mass off the rails' line at all."""
    slope = FRAME.feeder.slope
    for x in (FRAME.feeder.ramp_x, FRAME.feeder.finger_x, FRAME.feeder.flap_x):
        for length in (FRAME.shaft.shortest, FRAME.shaft.longest):
            assert rolling.bow_that_stops(6.0, slope, x, length) > 3.0
    assert rolling.bow_that_stops(6.0, 12.0, 310.0, 760.0) < 2.0


@pytest.mark.parametrize("diameter", [4.0, 5.0, 6.0, 10.0])
def test_the_fork_lifts_the_first_shaft_over_the_step_and_not_the_second(diameter: float) -> None:
    """A corner pushes a disc to the step only while it touches it by less than the slope behind the lowest point."""
    places = escapement.lifted(FRAME, diameter)
    assert places[-1].axis[0] < FRAME.feeder.fork_y - 10
    assert escapement.holds_next(FRAME, diameter) > 0.2
    assert escapement.climbs_deg(FRAME, diameter) < 8
    behind = 1 - (FRAME.feeder.fork_top[1][0] - escapement.forward(FRAME, diameter)) / (diameter / 2)
    assert np.degrees(np.arcsin(max(0.0, behind))) < FRAME.feeder.slope - 1


def test_the_raised_fork_still_blocks_the_row_and_leads_down_over_the_step() -> None:
    raised = escapement.face(FRAME, FRAME.feeder.fork_swing)
    floor = escapement.on_slope(FRAME, 0.0, 0.0)
    assert raised[-1][1] < floor[1] + 1.0
    assert raised[0][0] < FRAME.feeder.fork_y
    assert raised[0][1] > escapement.rail_edge(FRAME)[1][1]
    assert 30 < escapement.top_slope_deg(FRAME, FRAME.feeder.fork_swing) < 75
