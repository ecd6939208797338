"""The base, the stands and the drive can be put together, in both positions, and leave a shaft its room."""

from functools import cache
from math import cos, radians, sin

import pytest
from build123d import Cylinder, Location, Solid
from frame.dimensions import Frame
from frame.supports import belt_mm
from model import stand_parts as parts
from model.base import base, end_stop
from model.checks.fits_bed import made_findings
from model.checks.meshes import boxes_meet, boxes_of
from model.checks.overlap import overlaps
from model.checks.screws import screw_findings
from model.drive import drive
from model.holes import facing
from model.piece import Part, Piece, Way
from model.stands import stands

FRAME = Frame.load()
SHAFT, SUPPORT, DRIVE = FRAME.shaft, FRAME.support, FRAME.drive
SETTINGS = [  # span and length of the shafts
    (SUPPORT.span, SHAFT.shortest), (SUPPORT.span, SHAFT.longest),
    (SUPPORT.short_span, SHAFT.cut_shortest), (SUPPORT.short_span, SHAFT.shortest),
]  # fmt: skip
KEY_5, KEY_2_5 = 5.8, 2.9  # mm across the corners of hexagon keys, ISO 2936
SHORT_ARM_2_5 = 18.0  # of an angled key, ISO 2936, from memory


@cache
def assembly(span=SUPPORT.span, length=SHAFT.shortest):
    return base(FRAME) + stands(FRAME, span) + end_stop(FRAME, span, length) + drive(FRAME, span)


def shaft(diameter, length):
    """Return a shaft at rest on the rollers, its left end where the end stop is set."""
    solid: Solid = Cylinder(diameter / 2, length).solid()
    middle = FRAME.stop_x(length) + length / 2
    where = facing("+x", (middle, 0, FRAME.shaft_z(diameter)))
    return Piece(Part("X01", "shaft", Way.BOUGHT, solid, "shaft", "", 0.0), where)


def rod(where, diameter, length):
    """Return a rod from a place along its +z: a key on its way to a screw."""
    solid = Location((0, 0, length / 2)) * Cylinder(diameter / 2, length)
    return Piece(Part("X02", "key", Way.BOUGHT, solid.solid(), "steel", "", 0.0), where)


def near(piece, others, margin=0.1):
    """Return the pieces whose boxes meet a piece's."""
    meet = boxes_meet(boxes_of((piece,)), boxes_of(tuple(others)), margin)[0]
    return [other for other, close in zip(others, meet, strict=True) if close]


def clear(piece, others):
    """Return true if a piece overlaps none of the others."""
    return overlaps([piece, *near(piece, others)]) == []


def named(pieces, number):
    return [piece for piece in pieces if piece.part.number == number]


def screws(pieces, designation, near):
    """Return the screws of a size in a range of x."""
    return [
        piece
        for piece in pieces
        if piece.part.designation == designation and near[0] < piece.where.position.X < near[1]
    ]


@pytest.mark.parametrize(("span", "length"), SETTINGS)
def test_nothing_overlaps_and_every_screw_holds(span, length):
    pieces = assembly(span, length)
    assert [str(found) for found in overlaps(pieces)] == []
    assert [str(found) for found in screw_findings(pieces)] == []


def test_printed_and_cut_parts_can_be_made():
    made = {piece.part for piece in assembly()}
    assert [str(found) for found in made_findings(made, FRAME.print.bed)] == []


@pytest.mark.parametrize("diameter", [SHAFT.thinnest, SHAFT.usual, SHAFT.thickest])
@pytest.mark.parametrize(("span", "length"), SETTINGS)
def test_a_shaft_lies_on_four_rims_and_touches_nothing_else(span, length, diameter):
    pieces = assembly(span, length)
    lies = shaft(diameter, length)
    assert clear(lies, pieces)
    rollers = named(pieces, "S03")
    assert len(rollers) == 4
    gaps = [lies.solid.distance_to(roller.solid) for roller in rollers]
    assert gaps == pytest.approx([0] * 4, abs=1e-4)
    others = [piece for piece in near(lies, pieces, 5) if piece.part.number not in ("S03", "B06")]
    assert min(lies.solid.distance_to(piece.solid) for piece in others) > 0.9


@pytest.mark.parametrize("diameter", [SHAFT.thinnest, SHAFT.usual, SHAFT.thickest])
def test_the_end_stop_meets_the_end_of_the_shaft(diameter):
    span, length = SETTINGS[0]
    (felt,) = named(assembly(span, length), "B06")
    assert shaft(diameter, length).solid.distance_to(felt.solid) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("diameter", [SHAFT.thinnest, SHAFT.thickest])
def test_a_shaft_rolls_in_over_the_front_rollers_above_everything_else(diameter):
    pieces = [*base(FRAME), *drive(FRAME, SUPPORT.span)]
    pieces += [piece for piece in stands(FRAME, SUPPORT.span) if piece.part.number != "S03"]
    highest = max(piece.solid.bounding_box().max.Z for piece in pieces)
    assert highest < FRAME.roller_top_z - 4
    reach = (SUPPORT.roller_diameter + diameter) / 2
    for angle in (0, 30, 60):  # of the line from the front roller's axle to the shaft, from the vertical to the front
        y, z = FRAME.half_rollers + reach * sin(radians(angle)), SUPPORT.axle_height + reach * cos(radians(angle))
        rolls = Piece(shaft(diameter, SHAFT.longest).part, facing("+x", (12, y, z)))
        assert clear(rolls, pieces)


def test_the_rims_stand_at_the_span():
    for span in (SUPPORT.span, SUPPORT.short_span):
        crowns = [piece.solid.bounding_box() for piece in named(stands(FRAME, span), "S03")]
        middles = sorted({round((box.min.X + box.max.X) / 2, 6) for box in crowns})
        assert middles == pytest.approx([-span / 2, span / 2])


def test_the_belts_band_is_as_long_as_the_belt():
    """The middle of its thickness lies 0.04 mm outside the pitch line, so it is 2 pi times that longer."""
    thickness = 0.6
    middle = parts.belt(FRAME).shape.volume / DRIVE.belt_width / thickness
    assert middle == pytest.approx(belt_mm(FRAME) + 2 * 3.14159 * 0.04, abs=0.01)


@pytest.mark.parametrize("tilt", [20, 25])
@pytest.mark.parametrize(("span", "length"), SETTINGS)
def test_a_ball_ended_key_reaches_the_stands_screws_under_the_layshaft(span, length, tilt):
    pieces = assembly(span, length)
    others = [piece for piece in pieces if piece.part.number != "B04"]  # the end stop is moved aside
    direction = (0, sin(radians(tilt)), cos(radians(tilt)))
    for side in (-1, 1):
        for u in parts.FOOT_SCREWS:
            ball = facing(direction, (side * (span / 2 + u), 0, SUPPORT.foot_thickness + 3))
            assert clear(rod(ball * Location((0, 0, 5)), KEY_5, 70), others)


def test_a_straight_key_would_not_reach_them():
    head = (SUPPORT.span / 2 + parts.FOOT_SCREWS[0], 0, SUPPORT.foot_thickness + 6)
    assert not clear(rod(facing("+z", head), KEY_5, 70), assembly())


def test_a_short_key_reaches_the_motors_screws_from_the_stands_side():
    pieces = assembly()
    heads = screws(pieces, "ISO 4762 M3x10", (405, 420))
    assert len(heads) == 4
    for screw in heads:
        key = rod(screw.where * Location((0, 0, 3)), KEY_2_5, SHORT_ARM_2_5)
        assert clear(key, pieces)


def test_the_angles_screws_are_reached_from_outside():
    pieces = assembly()
    heads = [piece for piece in screws(pieces, "ISO 4762 M6x16", (-335, 335)) if piece.where.position.Z < 0]
    assert len(heads) == 8
    for screw in heads:
        assert clear(rod(screw.where * Location((0, 0, 6)), KEY_5, 70), pieces)


def test_the_layshaft_slides_in_when_all_else_of_the_stands_is_there():
    pieces = [*base(FRAME), *stands(FRAME, SUPPORT.span)]
    (layshaft,) = named(drive(FRAME, SUPPORT.span), "D01")
    for way in range(0, 800, 100):
        slid = Piece(layshaft.part, Location((-way, 0, 0)) * layshaft.where)
        assert clear(slid, pieces)


def test_the_idlers_travel_keeps_it_clear_of_the_rollers():
    others = [piece for piece in stands(FRAME, SUPPORT.span) if piece.part.number != "S09"]
    idlers = [piece for piece in others if piece.part.designation == "ISO 4762 M4x45"]
    height = idlers[0].where.position.Z
    at_idler = [piece for piece in others if abs(piece.where.position.Z - height) < 1e-6]
    assert len(at_idler) == 14
    rest = [piece for piece in others if piece not in at_idler]
    for z in DRIVE.idler_travel:
        moved = [Piece(piece.part, Location((0, 0, z - height)) * piece.where) for piece in at_idler]
        assert all(clear(piece, rest) for piece in moved)
