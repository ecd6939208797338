"""Beam, cross bars and stands of the hand bench: what sets the span and carries the shaft."""

from __future__ import annotations

from dataclasses import replace

from build123d import Box, Cylinder, Location, Plane, Polyline, Pos, extrude, make_face
from frame.dimensions import Frame

from model import standard
from model.holes import clearance, engraved, facing
from model.piece import Part, Piece, Way

FLANGE = 8.0  # thickness of the cheeks' feet
FLANGE_REACH = 32.0  # from the cheeks' inner faces outward
FOOT_HALF, TOP_HALF = 20.0, 12.0  # half widths of a cheek below and above, along the shaft
GUIDE = 12.0  # how far a cheek rises above the pins
KEY = (8.0, 3.0)  # width and depth of the rib in the cross bar's slot
SCREW_OUT = 21.0  # of a cheek's screw from its inner face
SHOULDER = (9.0, 3.0)  # diameter and thickness of what is left behind a bearing: it touches the outer ring alone
ANGLE = (40.0, 4.0, 30.0)  # legs, thickness and length of the aluminium angles
ANGLE_HOLES = (22.0, 20.0)  # from the corner, in the leg that lies and in the one that stands
LIPS = 4.5  # thickness of a profile's slot lips
SCREW = 6
WASHER = 1.6  # thickness of its washer, ISO 7089


def pin_z(frame: Frame) -> float:
    """Return the height of the pins' axes."""
    return float(frame.hand_bench.pin_height - frame.hand_bench.pin / 2)


def profile(frame: Frame, number: str, name: str, length: float) -> Part:
    """Return a piece sawn from the bench's profile, along x."""
    size = frame.hand_bench.profile
    stock = standard.profile(size, size, length, number=number)
    return replace(stock, name=name)


def angle_bracket() -> Part:
    """Return an angle that holds two profiles together, its corner along x, its legs to the front and up."""
    leg, thick, length = ANGLE
    corner = [(0, 0), (leg, 0), (leg, thick), (thick, thick), (thick, leg), (0, leg)]
    shape = extrude(Plane.YZ * make_face(Polyline(*corner, close=True)), length / 2, both=True)
    lying, standing = ANGLE_HOLES
    shape -= Pos(0, lying, 0) * Cylinder(clearance(SCREW) / 2, 3 * thick)
    shape -= facing("+y", (0, 0, standing)) * Cylinder(clearance(SCREW) / 2, 3 * thick)
    return Part("H03", "angle bracket", Way.MACHINED, shape.solid(), "aluminium", "angle 40 x 40 x 4, 30 long", 0.8)


def cheek(frame: Frame) -> Part:
    """Return a stand's cheek, lying on its inner face, its height along y.

    The pocket for the bearing opens to the outside, so the pin cannot leave: a bearing stands at each of its ends.
    """
    bench = frame.hand_bench
    top, thick = bench.pin_height + GUIDE, bench.cheek
    outline = [(-FOOT_HALF, 0), (FOOT_HALF, 0), (FOOT_HALF, 30), (TOP_HALF, 60), (TOP_HALF, top),
               (-TOP_HALF, top), (-TOP_HALF, 60), (-FOOT_HALF, 30)]  # fmt: skip
    shape = extrude(make_face(Polyline(*outline, close=True)), thick)
    shape += Pos(0, FLANGE / 2, FLANGE_REACH / 2) * Box(2 * FOOT_HALF, FLANGE, FLANGE_REACH)
    shape += Pos(0, -KEY[1] / 2, FLANGE_REACH / 2) * Box(KEY[0], KEY[1], FLANGE_REACH)
    gusset = [(FLANGE, thick), (FLANGE_REACH, thick), (thick, FLANGE_REACH)]
    for side in (-1, 1):
        wall = extrude(Plane.YZ * make_face(Polyline(*gusset, close=True)), 2.5, both=True)
        shape += Pos(side * (FOOT_HALF - 2.5), 0, 0) * wall
    shape -= facing("+y", (0, 0, SCREW_OUT)) * Cylinder(clearance(SCREW) / 2, 4 * FLANGE)
    _, outer, width = bench.pin_bearing
    shape -= Pos(0, pin_z(frame), thick - width / 2) * Cylinder(outer / 2, width)
    shape -= Pos(0, pin_z(frame), 0) * Cylinder(SHOULDER[0] / 2, 2 * thick)
    lead_in = [(top - 3, 0), (top, 0), (top, 3)]
    shape -= extrude(Plane.YZ * make_face(Polyline(*lead_in, close=True)), TOP_HALF, both=True)
    solid = engraved(shape.solid(), "H04", Pos(0, 75, thick))
    notes = ("the bearing is pressed in by thumb; scrape a tight pocket, pack a loose one with a strip of paper",)
    return Part("H04", "cheek of a stand", Way.PRINTED, solid, "PETG", "printed, 5 walls", 1.2, notes=notes)


def slot_screw(head: Location, clamped: float, length: float) -> tuple[Piece, ...]:
    """Return screw, washer and slot nut; `head` lies on what is clamped, +z outward, +x along the slot below it."""
    return (
        Piece(standard.washer(SCREW), head),
        Piece(standard.socket_screw(SCREW, length), head * Pos(0, 0, WASHER)),
        Piece(standard.slot_nut(SCREW), head * Pos(0, 0, -clamped - LIPS)),
    )


def bracketed(corner: Location) -> tuple[Piece, ...]:
    """Return an angle with its corner there, screwed to a profile under it and one behind it."""
    lying, standing = ANGLE_HOLES
    thick = ANGLE[1]
    return (
        Piece(angle_bracket(), corner),
        *slot_screw(corner * facing("+z", (0, lying, thick), "+y"), thick, 16),
        *slot_screw(corner * facing("+y", (0, thick, standing)), thick, 16),
    )


def base(frame: Frame) -> tuple[Piece, ...]:
    """Return the beam on its two cross bars, with brackets and feet."""
    bench = frame.hand_bench
    half = bench.profile / 2
    back, front = bench.cross
    beam = profile(frame, "H01", "beam of the hand bench", bench.beam_length)
    cross = profile(frame, "H02", "cross bar of the hand bench", front - back)
    pieces = [Piece(beam, Pos(0, bench.beam_y, half))]
    for x in (-frame.support.span / 2, frame.support.span / 2):
        pieces.append(Piece(cross, Pos(x, (back + front) / 2, -half) * Location((0, 0, 0), (0, 0, 90))))
        pieces += bracketed(Pos(x, bench.beam_y + half, 0))
        pieces += bracketed(Pos(x, bench.beam_y - half, 0) * Location((0, 0, 0), (0, 0, 180)))
        for y in bench.feet_y:
            pieces.append(Piece(standard.foot(), Pos(x, y, -bench.profile)))
            under = facing("-z", (x, y, -bench.profile), "+y")
            pieces.append(Piece(standard.slot_nut(8), under * Pos(0, 0, -LIPS)))
    return tuple(pieces)


def stands(frame: Frame) -> tuple[Piece, ...]:
    """Return both stands, their pins and bearings."""
    bench = frame.hand_bench
    made = cheek(frame)
    bore, outer, width = bench.pin_bearing
    pieces = []
    for x in (-frame.support.span / 2, frame.support.span / 2):
        pin = facing("+y", (x, -bench.pin_length / 2, pin_z(frame)))
        pieces.append(Piece(standard.dowel(bench.pin, bench.pin_length), pin))
        for side in (-1, 1):
            inner = Location((x, side * bench.guide_gap / 2, 0)) * _outward(side)
            pieces.append(Piece(made, inner))
            pocket = inner * Pos(0, pin_z(frame), bench.cheek - width)
            pieces.append(Piece(standard.bearing(bore, outer, width), pocket))
            foot = inner * facing("+y", (0, FLANGE, SCREW_OUT), "+z")
            pieces += slot_screw(foot, FLANGE, 20)
    return tuple(pieces)


def _outward(side: int) -> Location:
    return Plane(origin=(0, 0, 0), x_dir=(-side, 0, 0), z_dir=(0, side, 0)).location
