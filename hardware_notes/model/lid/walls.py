"""The fixed sheets of the lid and the angles that hold them together and to the gauge's cross beams."""

from __future__ import annotations

from typing import NamedTuple

from build123d import Location
from frame.dimensions import Frame

from model.base import angle
from model.holes import clearance, facing
from model.lid.guard_switch import switch_holes
from model.lid.hinges import fixed_holes
from model.lid.parts import BOLT, FROM_CORNER, Sheet, Span, Spot, bolt, corner_angle, sheet, upright_x, upright_y
from model.lid.stay import pin_hole
from model.piece import Part, Piece
from model.standard import slot_nut, socket_screw
from model.standard.fasteners import SOCKET_HEAD
from model.standard.profiles import SLOT_8

REAR_SCREWS = (-112.0, 10.0, 132.0, 254.0, 376.0)  # heights in the rear corners
FRONT_SCREWS = (-112.0, -24.0, 90.0, 200.0, 310.0, 420.0)  # and in the front ones, clear of the rotate motor
BEHIND_LEVERS = 22.0  # y at which the lower part of the sides ends beside a feeder
LIP = 24.0  # the corner angles end so much under the top
SCREW = 6  # to the cross beams
STOP_SCREWS = (-41.0, 41.0)  # of the emergency stop, over and under the hole for its wires


def walls(frame: Frame, *, feeder: bool) -> tuple[Piece, ...]:
    """Return the sides, the back, the lower front and what holds them; a feeder's walls are the lower front."""
    lid = frame.lid
    far, motor = _sides(frame, feeder=feeder)
    pieces = [
        Piece(far, upright_y(-lid.sides_x - lid.sheet)),
        Piece(motor, upright_y(lid.sides_x)),
        Piece(_back(frame), upright_x(lid.back_y)),
        *_rear_corners(frame),
        *_front_corners(frame, feeder=feeder),
        *_on_cross_beams(frame, feeder=feeder),
    ]
    if not feeder:
        pieces.append(Piece(_lower_front(frame), upright_x(lid.front_y + lid.sheet)))
    return tuple(pieces)


def _sides(frame: Frame, *, feeder: bool) -> tuple[Part, Part]:
    """Return the sides at the far end and at the motor end."""
    behind = [pin_hole(frame), *stop_holes(frame)]
    if feeder:
        far = _side(frame, "L24", "far end of the lid, with feeder", switch_holes(frame), feeder=True)
        return far, _side(frame, "L25", "motor end of the lid, with feeder", behind, feeder=True)
    far = _side(frame, "L01", "far end of the lid", switch_holes(frame), feeder=False)
    return far, _side(frame, "L02", "motor end of the lid", behind, feeder=False)


def stop_holes(frame: Frame) -> list[Spot]:
    """Return the holes behind the emergency stop: its wires' and those of its screws."""
    y, z, _ = frame.lid.stop_hole
    return [tuple(frame.lid.stop_hole), *(_bolt_hole(y, z + up) for up in STOP_SCREWS)]


def _bolt_hole(across: float, up: float) -> Spot:
    return (across, up, clearance(BOLT))


def _side(frame: Frame, number: str, name: str, more: list[Spot], *, feeder: bool) -> Part:
    """Return a side; beside a feeder its lower part ends behind the gate's levers."""
    lid = frame.lid
    rear, front = lid.back_y + FROM_CORNER, lid.front_y - FROM_CORNER
    ends = (lid.back_y, lid.front_y - lid.gap / 2)  # the upper front comes back a little before it is over the side
    holes = [_bolt_hole(rear, z) for z in REAR_SCREWS]
    holes += [_bolt_hole(front, z) for z in FRONT_SCREWS if not feeder or z > lid.slot[1]]
    cuts = [((BEHIND_LEVERS, ends[1]), (lid.bottom_z, lid.slot[1]))] if feeder else []
    return sheet(frame, number, name, Sheet(ends, (lid.bottom_z, lid.top_z), [*holes, *more], cuts))


def _back(frame: Frame) -> Part:
    lid = frame.lid
    wide = lid.sides_x + lid.sheet
    corner = lid.sides_x - FROM_CORNER
    holes = [_bolt_hole(side * corner, z) for side in (-1, 1) for z in REAR_SCREWS]
    holes += (
        [_bolt_hole(x, z) for x, z in fixed_holes(frame)]
        + _beam_holes(frame)
        + [tuple(lid.cable_hole), tuple(lid.socket_hole)]
    )
    outline = Sheet((-wide, wide), (lid.bottom_z, lid.top_z), holes, _notches(frame))
    return sheet(frame, "L03", "back of the lid", outline)


def _lower_front(frame: Frame) -> Part:
    lid = frame.lid
    wide = lid.sides_x + lid.sheet
    corner = lid.sides_x - FROM_CORNER
    holes = [_bolt_hole(side * corner, z) for side in (-1, 1) for z in FRONT_SCREWS if z < lid.sill]
    outline = Sheet((-wide, wide), (lid.bottom_z, lid.sill), holes + _beam_holes(frame), _notches_in_front(frame))
    return sheet(frame, "L04", "lower front of the lid", outline)


def _notches(frame: Frame) -> list[tuple[Span, Span]]:
    """Return the cuts for the cross beams, open at the bottom."""
    half, top = frame.base.cross_section / 2 + frame.lid.gap, -frame.beam.height + frame.lid.gap
    return [((x - half, x + half), (frame.lid.bottom_z, top)) for x in (-frame.base.cross_x, frame.base.cross_x)]


def _notches_in_front(frame: Frame) -> list[tuple[Span, Span]]:
    """Return the cuts for the cross beams, the angles of the beam on them, and the heads of these angles' screws."""
    diameter, height, _ = SOCKET_HEAD[SCREW]
    thick, gap = frame.base.angle[1], frame.lid.gap
    half, top = diameter / 2 + gap, -frame.beam.height + thick + height + gap
    cuts = [(across, (low, high + thick)) for across, (low, high) in _notches(frame)]
    cuts += [((x - half, x + half), (frame.lid.bottom_z, top)) for x in (-frame.base.cross_x, frame.base.cross_x)]
    return cuts


class _Joint(NamedTuple):
    """Where an angle joins a sheet to a cross beam's side: x of that face, which way it looks, height."""

    face: float
    out: int
    z: float


def _joints(frame: Frame) -> list[_Joint]:
    base = frame.base
    z = -frame.beam.height - base.cross_section / 2
    return [_Joint(side * (base.cross_x + base.cross_section / 2), side, z) for side in (-1, 1)]


def _beam_holes(frame: Frame) -> list[Spot]:
    leg = frame.base.angle[0]
    return [(joint.face + joint.out * leg / 2, joint.z, clearance(SCREW)) for joint in _joints(frame)]


def _on_cross_beams(frame: Frame, *, feeder: bool) -> tuple[Piece, ...]:
    """Return the angles outside of front and back that hold both to the cross beams, with a feeder the back alone."""
    leg, thick, length = frame.base.angle
    places = [(frame.lid.back_y - frame.lid.sheet, -1)]
    if not feeder:
        places.append((frame.lid.front_y + frame.lid.sheet, 1))
    pieces = []
    for joint in _joints(frame):
        for y, out in places:
            turn = {(1, 1): 0, (-1, 1): 90, (-1, -1): 180, (1, -1): -90}[joint.out, out]
            pieces.append(Piece(angle(frame), Location((joint.face, y, joint.z - length / 2), (0, 0, turn))))
            way, way_x = ("+y" if out > 0 else "-y"), ("+x" if joint.out > 0 else "-x")
            on_sheet = facing(way, (joint.face + joint.out * leg / 2, y + out * thick, joint.z))
            pieces += bolt(on_sheet, thick + frame.lid.sheet, 20, SCREW)
            at = (joint.face + joint.out * thick, y + out * leg / 2, joint.z)
            pieces.append(Piece(socket_screw(SCREW, 16), facing(way_x, at, along="+y")))
            nut = (joint.face - joint.out * SLOT_8.lip_depth, y + out * leg / 2, joint.z)
            pieces.append(Piece(slot_nut(SCREW), facing(way_x, nut, along="+y")))
    return tuple(pieces)


def _rear_corners(frame: Frame) -> tuple[Piece, ...]:
    lid = frame.lid
    low, thick = lid.bottom_z + lid.gap, lid.sheet + lid.angle[1]
    length = lid.top_z - LIP - low
    part = corner_angle(frame, "L10", "rear corner of the lid", length, [z - low for z in REAR_SCREWS])
    pieces = []
    for side, turn in ((-1, 0), (1, 90)):
        pieces.append(Piece(part, Location((side * lid.sides_x, lid.back_y, low), (0, 0, turn))))
        for z in REAR_SCREWS:
            pieces += bolt(_outside(frame, side, lid.back_y + FROM_CORNER, z), thick, 12)
            x = side * (lid.sides_x - FROM_CORNER)
            pieces += bolt(facing("-y", (x, lid.back_y - lid.sheet, z)), thick, 12)
    return tuple(pieces)


def _outside(frame: Frame, side: int, y: float, z: float) -> Location:
    """Return the place of a screw's head on a side of the lid."""
    return facing("+x" if side > 0 else "-x", (side * (frame.lid.sides_x + frame.lid.sheet), y, z))


def _front_corners(frame: Frame, *, feeder: bool) -> tuple[Piece, ...]:
    """Return the angles behind the front, with a feeder above it only; the upper front rests on them."""
    lid = frame.lid
    high = lid.top_z - LIP
    if feeder:
        return _front_pair(frame, "L13", "upper front corner", (lid.slot[1] + 2 * lid.gap, high), lid.bottom_z)
    return _front_pair(frame, "L11", "front corner of the lid", (lid.bottom_z + lid.gap, high), lid.sill)


def _front_pair(frame: Frame, number: str, name: str, heights: Span, sheet_top: float) -> tuple[Piece, ...]:
    """Return an angle at both ends with the screws that fall on it; to the front only where the fixed sheet is."""
    lid = frame.lid
    thick = lid.sheet + lid.angle[1]
    low, high = heights
    screws = [z for z in FRONT_SCREWS if low < z < high]
    part = corner_angle(frame, number, name, high - low, [z - low for z in screws])
    pieces = []
    for side, turn in ((-1, -90), (1, 180)):
        pieces.append(Piece(part, Location((side * lid.sides_x, lid.front_y, low), (0, 0, turn))))
        for z in screws:
            pieces += bolt(_outside(frame, side, lid.front_y - FROM_CORNER, z), thick, 12)
            if z < sheet_top:
                x = side * (lid.sides_x - FROM_CORNER)
                pieces += bolt(facing("+y", (x, lid.front_y + lid.sheet, z)), thick, 12)
    return tuple(pieces)
