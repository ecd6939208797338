"""The search for screws that do not hold: each screw in blocks of known thickness."""

import pytest
from build123d import Box, Location, Pos
from model.checks.overlap import overlaps
from model.checks.screws import screw_findings
from model.holes import clearance, countersunk, drilled, facing
from model.piece import Part, Piece, Way
from model.standard import countersunk_screw, foot, hex_nut, profile, set_screw, slot_nut, socket_screw, washer


def plate(thickness: float, hole: float, number: str, material: str = "steel") -> Part:
    """Return a plate of 30 x 30 from z = 0 up with a hole in its middle."""
    shape = (Pos(0, 0, thickness / 2) * Box(30, 30, thickness)).solid()
    return Part(number, "plate", Way.CUT, drilled(shape, facing("+z", (0, 0, thickness)), hole, 99), material, "", 0.0)


def clamped(length: float, material: str = "steel", hole: float = 5.5, tapped: float = 5.0) -> list[Piece]:
    """Return a plate of 8 mm on a tapped plate of 10 mm, their faces at z = 0, and an M5 screw from above."""
    return [
        Piece(plate(8, hole, "X01"), Location()),
        Piece(plate(10, tapped, "X02", material), Location((0, 0, -10))),
        Piece(socket_screw(5, length), Location((0, 0, 8))),
    ]


def codes(pieces: list[Piece]) -> list[str]:
    """Return the codes of what is found."""
    return [found.code for found in screw_findings(pieces)]


def test_a_screw_that_reaches_its_diameter_into_metal_holds():
    assert overlaps(clamped(16)) == []
    assert codes(clamped(16)) == []


def test_a_screw_that_reaches_two_millimetres_in_is_too_short():
    (found,) = screw_findings(clamped(10))
    assert (found.code, found.amount) == ("reach", pytest.approx(2 / 5, abs=0.02))


def test_plastic_wants_more_thread_than_metal():
    assert codes(clamped(12)) == []
    assert codes(clamped(12, material="PETG")) == ["reach"]
    assert codes(clamped(16, material="PETG")) == []


def test_a_screw_in_clearance_holes_alone_holds_nothing():
    assert codes(clamped(16, tapped=5.5)) == ["reach"]


def test_a_screw_without_a_hole_overlaps():
    found = overlaps(clamped(16, hole=3))
    assert [f.amount for f in found] == [pytest.approx(3.14159 * (2.5**2 - 1.5**2) * 8, rel=0.02)]


def test_a_head_over_a_hole_as_wide_as_itself_does_not_rest():
    assert codes(clamped(16, hole=8.4)) == ["head"]


def test_a_head_that_hovers_does_not_rest():
    pieces = clamped(16)
    assert codes([*pieces[:2], Piece(socket_screw(5, 16), Location((0, 0, 8.5)))]) == ["head"]


def test_a_screw_that_goes_on_into_something_overlaps():
    wall = Part("X04", "wall", Way.CUT, Box(30, 30, 5).solid(), "steel", "", 0.0)
    assert len(overlaps([*clamped(25), Piece(wall, Location((0, 0, -14)))])) == 1


def test_a_countersunk_head_rests_in_its_countersink_only():
    solid = (Pos(0, 0, 4) * Box(30, 30, 8)).solid()
    sunk = Part("X05", "plate", Way.CUT, countersunk(solid, facing("+z", (0, 0, 8)), 5, 9), "steel", "", 0.0)
    under, screw = clamped(16)[1], Piece(countersunk_screw(5, 16), Location((0, 0, 8)))
    assert codes([Piece(sunk, Location()), under, screw]) == []
    assert overlaps([Piece(sunk, Location()), under, screw]) == []
    assert codes([under, screw]) == ["head"]


def test_a_nut_wants_a_face_to_rest_on_and_a_screw_all_through_it():
    through = [Piece(plate(8, clearance(5), "X01"), Location()), Piece(socket_screw(5, 16), Location((0, 0, 8)))]
    assert codes([*through, Piece(hex_nut(5), Location((0, 0, -4.7)))]) == []
    assert codes([*through, Piece(hex_nut(5), Location((0, 0, -6)))]) == ["nut"]
    assert codes([*through[:1], Piece(hex_nut(5), Location((0, 0, -4.7)))]) == ["empty nut"]


def test_a_washer_lies_between_two_faces():
    pieces = [
        Piece(plate(7, clearance(5), "X01"), Location()),
        clamped(16)[1],
        Piece(washer(5), Location((0, 0, 7))),
        Piece(socket_screw(5, 16), Location((0, 0, 8))),
    ]
    assert codes(pieces) == []
    assert codes([*pieces[1:]]) == ["washer"]


@pytest.mark.parametrize("d", [5, 6, 8])
def test_a_slot_nut_holds_a_screw_at_the_lips_of_a_profile(d):
    lips = 20 - 4.5
    held = plate(8, clearance(d), "X01")
    pieces = [
        Piece(profile(40, 40, 100, number="X09"), Location()),
        Piece(slot_nut(d), Location((0, 0, lips))),
        Piece(held, Location((0, 0, 20))),
        Piece(socket_screw(d, 20), Location((0, 0, 28))),
    ]
    assert codes(pieces) == []
    assert overlaps(pieces) == []
    assert codes([*pieces[:1], Piece(slot_nut(d), Location((0, 0, lips - 0.5))), *pieces[2:]]) == ["nut"]


def test_a_foot_hangs_by_its_stud():
    pieces = [
        Piece(profile(40, 40, 100, number="X09"), Location()),
        Piece(slot_nut(8), facing("-z", (0, 0, -15.5))),
        Piece(foot(12), Location((0, 0, -20))),
    ]
    assert codes(pieces) == []
    assert codes([*pieces[:2], Piece(foot(10), Location((0, 0, -20)))]) == ["empty nut", "reach"]


def test_a_set_screw_needs_its_thread():
    block = Piece(plate(10, 4, "X01"), Location())
    assert codes([block, Piece(set_screw(4, 8), Location((0, 0, 10)))]) == []
    assert codes([block, Piece(set_screw(4, 8), Location((0, 0, 16)))]) == ["reach"]
