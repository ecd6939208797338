"""The weight on its hook, and the marks that show how far a shaft is turned."""

from __future__ import annotations

from math import cos, pi, radians, sin, sqrt

from build123d import (
    Box,
    Circle,
    Cylinder,
    FilletPolyline,
    Location,
    Plane,
    Polyline,
    Pos,
    Rectangle,
    Rot,
    SlotOverall,
    extrude,
    make_face,
    sweep,
)
from frame.dimensions import Frame

from model.hand_bench_stands import FLANGE, KEY, SCREW, slot_screw
from model.holes import clearance, engraved, facing
from model.piece import Part, Piece, Way

WIRE, SAG = 1.5, 0.02  # its diameter, and how far the chords of the drawn arc lie inside it
BULK_G_MM3 = 4.0e-3  # steel nuts poured loose (from memory)
PAN = (100.0, 40.0, 2.5, 3.0)  # outer diameter, height, wall, floor
LUG = (14.0, 4.0, 6.0)  # width, thickness and how far its hole's middle lies below its top
DISC = (56.0, 4.0)  # diameter and thickness of the disc with the marks
DISC_X = 24.0  # from the pin to the disc's near face, towards midspan: short shafts end just outside the pins
MARKS = 8
PEG = (14.0, 5.0, 6.0)  # out from the middle, diameter, height
BAND = 2.0
POINTER = 6.0  # its thickness
POINTER_Y = 62.0  # of its screw
SIDE_ON = Plane(origin=(0, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location  # x to the front, y up


def hook(frame: Frame) -> Part:
    """Return the hook bent from wire: an arc over the shaft, on whose top the origin lies, and a second hook below."""
    radius = frame.shaft.thickest / 2 + WIRE / 2
    top = WIRE / 2 - radius + SAG  # height of the middle of the arc
    arc = [(radius * cos(radians(a)), top + radius * sin(radians(a))) for a in range(200, -1, -10)]
    low = hook_bottom(frame)
    down = [(radius, top - 8), (0, top - 18), (0, low + 16), (4, low + 10), (4, low + 4)]
    under = [(4 * cos(radians(a)), low + 4 + 4 * sin(radians(a))) for a in range(-10, -181, -10)]
    path = FilletPolyline(*(_in_yz(p) for p in (*arc, *down, *under, (-4, low + 9))), radius=1)
    shape = sweep((path ^ 0) * Circle(WIRE / 2), path)
    size = f"wire {WIRE:g} mm, spring steel, {path.length:.0f} long"
    return Part("H09", "hook", Way.MACHINED, shape.solid(), "steel", size, 0.5)


def hook_bottom(frame: Frame) -> float:
    """Return the height of the middle of the wire at the bottom of the hook, from the shaft's top."""
    return -(frame.shaft.thickest + 40.0)


def _in_yz(point: tuple[float, float]) -> tuple[float, float, float]:
    return (0.0, *point)


def pan() -> Part:
    """Return the pan for the fill, with a lug in the middle that hangs in the hook."""
    diameter, height, wall, floor = PAN
    wide, thick, below = LUG
    top = height + 12.0
    shape = Pos(0, 0, height / 2) * Cylinder(diameter / 2, height)
    shape -= Pos(0, 0, floor + height / 2) * Cylinder(diameter / 2 - wall, height)
    shape += Pos(0, 0, top / 2) * Box(wide, thick, top)
    shape -= facing("+y", (0, 0, top - below)) * Cylinder(2.5, 4 * thick)
    return Part("H10", "pan of the weight", Way.PRINTED, shape.solid(), "PETG", "printed, 3 walls", 1.5)


def fill(frame: Frame) -> Part:
    """Return the steel that makes hook, pan and fill weigh what they must, as it lies in the pan."""
    mass = frame.hand_bench.weight_g - hook(frame).grams - pan().grams
    radius = PAN[0] / 2 - PAN[2]
    area = pi * radius**2 - LUG[0] * LUG[1]
    shape = extrude(Circle(radius) - Rectangle(LUG[0], LUG[1]), mass / BULK_G_MM3 / area)
    return Part(
        "H11", "fill of the pan", Way.BOUGHT, shape.solid(), "steel", "nuts, washers or shot, weighed", 3.0, mass
    )


def load(frame: Frame, group: str) -> tuple[Piece, ...]:
    """Return hook, pan and fill, hanging beside the dial's tip on an unloaded shaft of the usual size."""
    top = Pos(frame.hand_bench.hook_x, 0, frame.hand_bench.pin_height + frame.shaft.usual)
    hole = hook_bottom(frame) + WIRE / 2 + 0.7 - 2.5  # the lug's hole rests on the wire, which rises to both sides
    bottom = top * Pos(0, 0, hole + LUG[2] - PAN[1] - 12.0)
    return (
        Piece(hook(frame), top, group),
        Piece(pan(), bottom, group),
        Piece(fill(frame), bottom * Pos(0, 0, PAN[3]), group),
    )


def disc(frame: Frame) -> Part:
    """Return the disc that goes on a shaft; a V holds shafts of all sizes, that of the middle size in its centre.

    Its eight marks are cut into the rim and the face; the long one is mark 0. Between two of them the slot opens.
    """
    diameter, thick = DISC
    depth = (frame.shaft.thinnest + frame.shaft.thickest) / 4 * sqrt(2)
    half = frame.shaft.thickest / 2 + 0.3
    slot = [(0, -depth), (half, half - depth), (half, diameter), (-half, diameter), (-half, half - depth)]
    shape = Pos(0, 0, thick / 2) * Cylinder(diameter / 2, thick)
    shape -= extrude(make_face(Polyline(*slot, close=True)), 2 * thick, both=True)
    for i in range(MARKS):
        length = 14.0 if i == 0 else 6.0
        mark = Pos(diameter / 2 - length / 2, 0, thick) * Box(length, 1.2, 1.2)
        rim = Pos(diameter / 2, 0, thick / 2) * Box(1.2, 1.2, 2 * thick)
        shape -= Rot(0, 0, 90 + 360 / MARKS * (i + 0.5)) * (mark + rim)
    for side in (-1, 1):
        shape += Pos(side * PEG[0], _peg_height(frame), thick + PEG[2] / 2) * Cylinder(PEG[1] / 2, PEG[2])
    return Part("H12", "disc with eight marks", Way.PRINTED, shape.solid(), "PETG", "printed", 0.4)


def _peg_height(frame: Frame) -> float:
    return axis_height(frame) + frame.shaft.usual / 2 + BAND + PEG[1] / 2


def axis_height(frame: Frame) -> float:
    """Return how far a usual shaft's axis lies above the disc's middle, towards the opening of its slot."""
    middle = (frame.shaft.thinnest + frame.shaft.thickest) / 4
    return float((frame.shaft.usual / 2 - middle) * sqrt(2))


def band() -> Part:
    """Return the rubber ring that keeps the disc on the shaft, stretched round both pegs."""
    high = PEG[1] + 2 * BAND
    wide = 2 * PEG[0] + high
    shape = extrude(SlotOverall(wide, high) - SlotOverall(wide - 2 * BAND, PEG[1]), BAND)
    return Part("H13", "rubber ring", Way.BOUGHT, shape.solid(), "rubber", "O-ring ISO 3601, 15 x 2", 0.3)


def pointer(frame: Frame) -> Part:
    """Return the pointer, lying on the face that is turned to midspan: y to the front along x, height along y."""
    tip_y = DISC[0] / 2 + 2.0
    high = frame.hand_bench.pin_height + frame.shaft.usual / 2
    outline = [(POINTER_Y - 12, 0), (POINTER_Y + 12, 0), (POINTER_Y + 8, high), (POINTER_Y, high + 8),
               (tip_y, high + 0.6), (tip_y, high - 0.6), (POINTER_Y - 8, high - 12)]  # fmt: skip
    shape = extrude(make_face(Polyline(*outline, close=True)), POINTER)
    slot = DISC_X + (DISC[1] + POINTER) / 2
    reach = slot + 14.0
    shape += Pos(POINTER_Y, FLANGE / 2, reach / 2) * Box(24, FLANGE, reach)
    lower, upper = slot - KEY[0] / 2, slot + KEY[0] / 2  # the rib's lower side slopes, so that it prints
    rib = make_face(Polyline((0, lower), (0, upper), (-KEY[1], upper), (-KEY[1], lower + KEY[1]), close=True))
    shape += Pos(POINTER_Y - 12, 0, 0) * extrude(Plane.YZ * rib, 24)
    shape -= facing("+y", (POINTER_Y, 0, slot)) * Cylinder(clearance(SCREW) / 2, 60)
    solid = engraved(shape.solid(), "H14", Pos(POINTER_Y, high / 2, POINTER))
    return Part("H14", "pointer", Way.PRINTED, solid, "PETG", "printed", 0.8)


def turning_marks(frame: Frame) -> tuple[Piece, ...]:
    """Return disc, rubber ring and pointer inside the right stand, the slot of the disc to the top."""
    pin_x = frame.support.span / 2
    near = pin_x - DISC_X - DISC[1]
    axis = frame.hand_bench.pin_height + frame.shaft.usual / 2
    middle = Location((near, 0, axis - axis_height(frame))) * SIDE_ON
    plate = Location((near + (DISC[1] - POINTER) / 2, 0, 0)) * SIDE_ON
    return (
        Piece(disc(frame), middle),
        Piece(band(), middle * Pos(0, _peg_height(frame), DISC[1] + 1)),
        Piece(pointer(frame), plate),
        *slot_screw(facing("+z", (pin_x, POINTER_Y, FLANGE), "+y"), FLANGE, 20),
    )
