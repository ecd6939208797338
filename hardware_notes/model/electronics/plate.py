"""The plate behind the beam, from one cross beam to the other, held up in its middle by the column."""

from __future__ import annotations

from build123d import Plane, Pos
from frame.dimensions import Frame

from model.base import angle
from model.electronics.units import Unit
from model.holes import clearance, facing
from model.lid.parts import bolt
from model.piece import Part, Piece, Way
from model.standard import slot_nut, socket_screw, washer
from model.standard.fasteners import WASHER
from model.standard.profiles import SLOT_8
from model.standard.shapes import box, cylinder

THICK = 3.0
LENGTH = 704.0
REAR, FRONT = -146.0, -88.0  # y of its edges: in front of the lid's back, behind the column
MIDDLE_Y = (REAR + FRONT) / 2
SCREW = 6
GROUND_POINT = (-45.0, -117.0)  # x and y of the screw that all grounds meet on


def top_z(frame: Frame) -> float:
    """Return the height of the plate's upper face; it lies on the cross beams."""
    return float(THICK - frame.beam.height)


def plate_part(frame: Frame, taps: list[tuple[float, float]]) -> Part:
    """Return the plate with threads for M3 where a unit is screwed on, x and y as in the gauge."""
    shape = box((-LENGTH / 2, LENGTH / 2), (REAR, FRONT), (0, THICK))
    behind = _column_back(frame) - frame.base.angle[0] / 2
    holes = [(side * frame.base.cross_x, MIDDLE_Y) for side in (-1, 1)] + [(0.0, behind), GROUND_POINT]
    for x, y in holes:
        shape -= Pos(x, y, 0) * cylinder(clearance(SCREW), 0, THICK)
    for x, y in taps:
        shape -= Pos(x, y, 0) * cylinder(3, 0, THICK)
    size = f"aluminium {THICK:g}, {LENGTH:g} x {FRONT - REAR:g}"
    notes = ("holes of 3 mm are drilled 2.5 and tapped M3",)
    return Part("E01", "plate of the electronics", Way.CUT, shape.solid(), "aluminium", size, 6.0, notes=notes)


def _column_back(frame: Frame) -> float:
    return float(frame.press.column_y - frame.press.column / 2)


def plate(frame: Frame) -> tuple[Piece, ...]:
    """Return the angle and the screws that hold the plate, and the ground point; the plate itself is a unit's floor."""
    top, lips = top_z(frame), SLOT_8.lip_depth
    leg, thick, length = frame.base.angle
    back = _column_back(frame)
    lying = Plane(origin=(length / 2, back, top), x_dir=(0, -1, 0), z_dir=(-1, 0, 0)).location
    pieces = [Piece(angle(frame), lying)]
    pieces += bolt(facing("+z", (0, back - leg / 2, top + thick)), thick + THICK, 16, SCREW)
    up = top + leg / 2
    pieces += [Piece(socket_screw(SCREW, 16), facing("-y", (0, back - thick, up)))]
    pieces += [Piece(slot_nut(SCREW), facing("-y", (0, back + lips, up), along="+z"))]
    for side in (-1, 1):
        x = side * frame.base.cross_x
        pieces += [Piece(washer(SCREW), Pos(x, MIDDLE_Y, top))]
        pieces += [Piece(socket_screw(SCREW, 16), Pos(x, MIDDLE_Y, top + WASHER[SCREW][2]))]
        nut = facing("+z", (x, MIDDLE_Y, top - THICK - lips), along="+y")
        pieces += [Piece(slot_nut(SCREW), nut)]
    return (*pieces, *bolt(facing("-z", (*GROUND_POINT, top - THICK)), THICK, 16, SCREW))


def floor(frame: Frame, placed: tuple[Unit, ...]) -> Piece:
    """Return the plate in its place, tapped for the units that are screwed on it."""
    taps = [(place.position.X, place.position.Y) for unit in placed for place in unit.screws]
    return Piece(plate_part(frame, taps), Pos(0, 0, top_z(frame) - THICK))
