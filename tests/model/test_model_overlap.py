"""The search for overlaps: volumes of boxes and pins that are known by arithmetic."""

import numpy as np
import pytest
from build123d import Box, Cylinder, Location
from model.checks.overlap import overlaps
from model.checks.revolved import axis_of
from model.motion import Motion, turned_about_x
from model.piece import FIXED, Part, Piece, Way
from model.standard import bearing, collar, dowel


def block(x: float, moves: str = FIXED, number: str = "X01", fits: frozenset[str] = frozenset()) -> Piece:
    """Return a cube of 10 mm with its middle at `x`."""
    part = Part(number, "block", Way.CUT, Box(10, 10, 10).solid(), "steel", "", 0.0)
    return Piece(part, Location((x, 0, 0)), moves, fits=fits)


def test_two_boxes_that_overlap_are_found_with_their_volume_and_place():
    (found,) = overlaps([block(0), block(8)])
    assert (found.code, found.amount, found.at) == ("overlap", pytest.approx(200), pytest.approx((4, 0, 0)))
    assert found.pose == ""


def test_boxes_that_touch_or_stand_apart_do_not_overlap():
    assert overlaps([block(0), block(10), block(20.5)]) == []


def test_a_piece_within_another_is_found():
    inner = Part("X02", "ball", Way.BOUGHT, Box(2, 2, 2).solid(), "steel", "", 0.0)
    (found,) = overlaps([block(0), Piece(inner, Location((1, 1, 1)))])
    assert found.amount == pytest.approx(8)


def test_a_fit_that_is_named_is_passed_over():
    assert overlaps([block(0, number="X01", fits=frozenset({"X02"})), block(8, number="X02")]) == []


@pytest.mark.parametrize("turn", [0, 7, 90])
def test_a_pin_fills_the_bore_of_its_own_diameter_without_overlap(turn):
    pin = Piece(dowel(6, 20), Location((0, 0, -5), (0, 0, turn)))
    assert overlaps([pin, Piece(bearing(6, 13, 5), Location())]) == []


def test_a_pin_a_fifth_of_a_millimetre_too_thick_is_found():
    thick = Part("X03", "pin", Way.TURNED, Cylinder(3.1, 20).solid(), "steel", "", 0.0)
    (found,) = overlaps([Piece(thick, Location()), Piece(bearing(6, 13, 5), Location())])
    assert found.amount == pytest.approx(3.14159 * (3.1**2 - 3**2) * 5, rel=0.05)


def slide(name: str, group: str, low: float, high: float) -> Motion:
    """Return a motion of a group along x."""
    return Motion(name, low, high, 1.0, lambda x: {group: Location((x, 0, 0))})


def test_an_overlap_in_the_middle_of_a_motion_is_found_where_it_is_worst():
    (found,) = overlaps([block(0, "slide"), block(30)], [slide("slide", "slide", 0, 60)])
    assert (found.amount, found.pose) == (pytest.approx(1000), "slide 30")


def test_a_motion_that_ends_where_pieces_touch_is_free():
    assert overlaps([block(0, "slide"), block(30)], [slide("slide", "slide", 0, 20)]) == []


def test_pieces_of_one_group_move_together_and_pieces_of_two_do_not():
    both = Motion("both", 0, 8, 1.0, lambda x: {"one": Location((x, 0, 0)), "other": Location()})
    assert overlaps([block(0, "one"), block(10, "one")], [both]) == []
    assert [found.pose for found in overlaps([block(0, "one"), block(12, "other")], [both])] == ["both 8"]


def test_a_turn_about_an_axis_carries_a_piece_into_another():
    (found,) = overlaps(
        [block(0), Piece(block(0, "arm").part, Location((0, 30, 0)), "arm")],
        [Motion("swing", 0, 180, 2.0, lambda turn: {"arm": turned_about_x(15, 0, turn)})],
    )
    assert (found.amount, found.pose) == (pytest.approx(1000), "swing 180")


def test_two_motions_meet_at_their_ends_unless_something_keeps_them_apart():
    pieces = [block(0, "left"), block(40, "right")]
    motions = [slide("left", "left", 0, 20), slide("right", "right", -18, 0)]
    (found,) = overlaps(pieces, motions)
    assert (found.amount, found.pose) == (pytest.approx(800), "left 20, right -18")
    assert overlaps(pieces, motions, [frozenset({"left", "right"})]) == []


def test_a_turn_about_its_own_axis_leaves_a_round_body_and_carries_its_cross_hole_on():
    assert axis_of(dowel(6, 20).shape) == pytest.approx(np.array([(0, 0), (0, 0), (0, 1)]))
    assert axis_of(collar(8).shape) is None
    assert axis_of(block(0).part.shape) is None


@pytest.mark.parametrize("off", [0.0, 4.0])
def test_a_pin_that_turns_about_another_axis_is_looked_at_everywhere(off):
    turn = Motion("turn", 0, 180, 2.0, lambda angle: {"pin": turned_about_x(off, 0, angle)})
    pin = Piece(dowel(6, 20), Location((-10, 0, 0), (0, 90, 0)), "pin")
    wall = Piece(block(0).part, Location((0, 12, 0)))
    assert len(overlaps([pin, wall], [turn])) == (1 if off else 0)
