"""The lid as a solid: it opens past everything, stays open, forces its switch, and lets hands and long shafts in."""

from math import degrees

import pytest
from build123d import Location
from frame.dimensions import Frame
from model.checks.fits_bed import made_findings
from model.checks.held import number_findings
from model.checks.overlap import overlaps
from model.lid import MOVES, lid, motions
from model.lid.guard_switch import BLADE, ENTRY
from model.lid.stay import BAR_X, HUNG, LOOSE, PINNED, slot_ends
from model.motion import turned_about_x
from model.piece import Part, Piece, Way
from model.standard.shapes import ALONG_X, box, cylinder

FRAME = Frame.load()
PIECES = lid(FRAME)
SHORTEST_PULL_MM = 8.0  # of an actuator before such switches' contacts are forced open, from memory


def shape_of(solid) -> Part:  # type: ignore[no-untyped-def]
    """Return a part for a solid that is only looked at."""
    return Part("X01", "room", Way.BOUGHT, solid.solid(), "shaft", "none", 0.0)


@pytest.mark.parametrize("feeder", [False, True])
def test_the_lid_opens_without_touching_its_walls(feeder: bool) -> None:
    assert overlaps(lid(FRAME, feeder=feeder), motions(FRAME)) == []


@pytest.mark.parametrize("feeder", [False, True])
def test_its_parts_can_be_made(feeder: bool) -> None:
    pieces = lid(FRAME, feeder=feeder)
    assert made_findings({piece.part.number: piece.part for piece in pieces}.values(), FRAME.print.bed) == []
    assert number_findings([*PIECES, *pieces]) == []


@pytest.mark.parametrize("diameter", [4.0, 10.0])
def test_a_long_shaft_lies_under_the_shut_lid(diameter: float) -> None:
    length, stop = 860.0, -float(FRAME.base.stop_limit)  # the left end lies against the end stop
    shaft = cylinder(diameter, 0, length + 10)
    where = Location((stop, 0, FRAME.shaft_z(diameter))) * ALONG_X
    assert overlaps([*PIECES, Piece(shape_of(shaft), where)]) == []


def test_two_hands_put_a_long_shaft_in_from_the_front() -> None:
    """A room as long as the longest shaft and as high as a hand (100 mm), from in front to over the rollers."""
    hands = box((-430.0, 430.0), (-15.0, 400.0), (FRAME.lid.sill, FRAME.lid.sill + 100))
    (motion,) = motions(FRAME)
    carried = motion.carry(motion.high)
    opened = [Piece(p.part, carried[p.moves] * p.where) if p.moves in carried else p for p in PIECES]
    found = overlaps([*opened, Piece(shape_of(hands), Location())])
    assert [finding for finding in found if "X01" in str(finding)] == []
    assert len(overlaps([*PIECES, Piece(shape_of(hands), Location())])) > 0


@pytest.mark.parametrize("turn", [0.0, 37.0, 80.0])
def test_the_stays_pin_lies_in_its_slot(turn: float) -> None:
    (motion,) = motions(FRAME)
    carried = motion.carry(turn)
    bar = next(piece for piece in PIECES if piece.moves == LOOSE)
    pin = (carried[LOOSE] * bar.where).inverse() * Location((BAR_X, *PINNED))
    near, far = slot_ends(FRAME)
    assert near - 1e-6 <= pin.position.X <= far + 1e-6
    assert abs(pin.position.Y) < 1e-6
    hung = carried[MOVES] * Location((BAR_X, *HUNG))
    assert tuple(hung.position) == pytest.approx(tuple((carried[LOOSE] * bar.where).position))


def test_opening_pulls_the_actuator_out_straight_and_early() -> None:
    """It comes out by 8 mm before the front has opened by 25 mm, and is never squeezed on its way out."""
    axis = FRAME.lid.hinge
    (blade,) = (piece for piece in PIECES if piece.part.number == "L23")
    tip = Location((0, blade.where.position.Y, FRAME.lid.top_z - BLADE[2]))
    reach = tip.position.Y - axis[0]
    pull_deg = degrees(SHORTEST_PULL_MM / reach)
    edge = Location((0, FRAME.lid.front_y, FRAME.lid.sill))
    gone = (turned_about_x(*axis, pull_deg) * edge).position - edge.position
    assert gone.length <= 25.0
    sideways, turn = 0.0, 0.0
    while tip.position.Z + ENTRY[2] > (turned_about_x(*axis, turn) * tip).position.Z:
        turn += 0.5
        sideways = max(sideways, abs((turned_about_x(*axis, turn) * tip).position.Y - tip.position.Y))
    assert sideways <= (ENTRY[1] - BLADE[1]) / 2
