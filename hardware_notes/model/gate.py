"""The gate: fingers that lead a shaft into the nip, and lift it out to the front when they swing up.

Each finger sits on its own stub axle, because the lift passes between them; a rod low down turns both alike by levers
and links outside the side plates.
"""

from __future__ import annotations

from functools import cache
from math import atan2, cos, degrees, hypot, radians, sin

from build123d import Location
from frame.dimensions import Frame
from frame.feeder import finger, point
from frame.rolling import Point

from model import servo_drive
from model.across import HUB, PLATE, SIDES, Hole, on_rod, plate, side_x, turned, upright, with_hub
from model.bracket import outer_x
from model.holes import clearance, engraved, facing
from model.motion import STEP_DEG, Motion
from model.piece import Part, Piece, Way, of_step
from model.standard import bearing, collar, ground_rod, lock_nut, socket_screw, washer
from model.standard.shapes import cylinder

STEP = "12 gate"
GROUP, ROD_GROUP, LINK_GROUP = "gate", "gate rod", "gate links"
HUB_DIAMETER, GRUB = 20.0, (4, 6)
BEARING = (8, 16, 5)
COLLAR_X, LEVER_X = 0.5, 9.0  # beyond the outer face of the side plate
LEVER, LEVER_WIDTH, PIN = 25.0, 10.0, 4  # length between the middles, and the screw that the link turns on
WASHER, LINK, LINK_WIDTH = 0.8, 3.0, 12.0
SERVO_DEG = -58.0  # of the servo's body: its posts keep clear of the lever


def gate(frame: Frame) -> tuple[Piece, ...]:
    """Return fingers, axles, levers, links, rod and servo."""
    pieces = [*_rod(frame), *servo_drive.pieces(servo(frame))]
    for side in SIDES:
        pieces += [*_finger(frame, side), *_stub(frame, side), *_link(frame, side)]
        pieces += _lever(frame, side, point(frame.feeder.gate_pivot), GROUP)
        pieces += _lever(frame, side, point(frame.feeder.gate_rod), ROD_GROUP)
    return of_step(pieces, STEP)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the gate's swing, in degrees from rest."""

    def carry(value: float) -> dict[str, Location]:
        start, now = _tip(frame, 0.0), _tip(frame, value)
        return {
            GROUP: turned(point(frame.feeder.gate_pivot), -value),
            ROD_GROUP: turned(point(frame.feeder.gate_rod), -value),
            LINK_GROUP: Location((0, now[0] - start[0], now[1] - start[1])),
        }

    return (Motion("gate", 0.0, float(frame.feeder.gate_swing), STEP_DEG, carry),)


def bores(frame: Frame) -> dict[str, list[Hole]]:
    """Return the holes that the gate needs in each side plate, "left" and "right"."""
    seats = [Hole(*point(at), BEARING[1]) for at in (frame.feeder.gate_pivot, frame.feeder.gate_rod)]
    return {"left": seats, "right": seats + servo_drive.holes(servo(frame))}


def servo(frame: Frame) -> servo_drive.Drive:
    """Return where the servo stands."""
    return servo_drive.Drive(
        side_x(frame, 0), float(frame.feeder.side_sheet), LEVER_X + HUB, point(frame.feeder.gate_rod), SERVO_DEG,
        ROD_GROUP, "F16",
    )  # fmt: skip


def finger_x(frame: Frame, side: int) -> float:
    """Return the x of a finger's face that lies on the bed when it is printed: its plate reaches +6 from there."""
    return side * float(frame.feeder.finger_x) - PLATE


@cache
def finger_part(frame: Frame) -> Part:
    """Return a finger in y and z at rest, its hub upward."""
    edge, pivot = finger(frame), point(frame.feeder.gate_pivot)
    rear, tail = edge[0], edge[-1]
    below = [(tail[0] + 2.5, tail[1] - 3), (pivot[0] + 9.5, pivot[1] - 2), (pivot[0] + 4, pivot[1] - 9),
             (pivot[0] - 8, pivot[1] - 9), (edge[1][0], edge[1][1] - 6), (rear[0], rear[1] - 5)]  # fmt: skip
    flat = plate([*edge, *below], PLATE)
    shape = with_hub(flat, pivot, frame.feeder.rod, HUB_DIAMETER, GRUB[0], 0.0)
    shape = engraved(shape, "F12", Location((29, 98, PLATE)))
    return Part("F12", "gate finger", Way.PRINTED, shape, "PETG", "PETG, lying, edge sanded smooth", 1.0)


def _finger(frame: Frame, side: int) -> list[Piece]:
    where = upright(finger_x(frame, side))
    pieces = on_rod(finger_part(frame), where, point(frame.feeder.gate_pivot), HUB_DIAMETER, (*GRUB, 0.0))
    return [Piece(p.part, p.where, GROUP) for p in pieces]


def _stub(frame: Frame, side: int) -> list[Piece]:
    """Return a stub axle with its outer bearing and two collars."""
    inner, outer = outer_x(frame) - PLATE - 2, side_x(frame, LEVER_X + HUB + 1)
    rod = ground_rod(frame.feeder.rod, outer - inner, "F13")
    at = point(frame.feeder.gate_pivot)
    out = "+x" if side > 0 else "-x"
    pieces = [Piece(rod, Location((side * (inner + outer) / 2, *at)), GROUP)]
    pieces += [Piece(bearing(*BEARING), facing(out, (side * (frame.feeder.side_x + 2), *at)))]
    for x in (outer_x(frame) + 0.5, side_x(frame, COLLAR_X)):
        pieces += [Piece(collar(frame.feeder.rod), facing(out, (side * x, *at)), GROUP)]
    return pieces


def _rod(frame: Frame) -> list[Piece]:
    """Return the rod that turns both fingers alike, with bearings and collars."""
    low, high = -side_x(frame, LEVER_X + HUB + 1), servo(frame).rod_end
    at = point(frame.feeder.gate_rod)
    pieces = [Piece(ground_rod(frame.feeder.rod, high - low, "F14"), Location(((low + high) / 2, *at)), ROD_GROUP)]
    for side, out in ((1, "+x"), (-1, "-x")):
        pieces += [Piece(bearing(*BEARING), facing(out, (side * (frame.feeder.side_x + 2), *at)))]
        pieces += [Piece(collar(frame.feeder.rod), facing(out, (side * side_x(frame, COLLAR_X), *at)), ROD_GROUP)]
    return pieces


def _lever_deg(frame: Frame, raised_deg: float = 0.0) -> float:
    """Return the levers' direction: square to the link in the middle of the swing."""
    return _link_deg(frame) - 90 + float(frame.feeder.gate_swing) / 2 - raised_deg


def _tip(frame: Frame, raised_deg: float) -> Point:
    """Return where a lever's end is from its axle."""
    angle = radians(_lever_deg(frame, raised_deg))
    return LEVER * cos(angle), LEVER * sin(angle)


@cache
def lever() -> Part:
    """Return a lever along x from its axle at the origin, its hub upward."""
    flat = plate([(0, -5), (LEVER, -5), (LEVER, 5), (0, 5)], PLATE)
    flat = flat + Location((LEVER, 0, 0)) * cylinder(LEVER_WIDTH + 1, 0, PLATE)
    flat = (flat - Location((LEVER, 0, 0)) * cylinder(clearance(PIN), -1, PLATE + 1)).solid()
    shape = with_hub(flat, (0, 0), 8.0, HUB_DIAMETER, GRUB[0], 180.0)
    return Part("F15", "gate lever", Way.PRINTED, shape, "PETG", "PETG, lying, all perimeters", 0.3)


def _outward(side: int, x: float, at: Point, angle_deg: float) -> Location:
    """Return a place at a distance x from midspan whose +z points outward and whose +x has a direction."""
    along = (0.0, cos(radians(angle_deg)), sin(radians(angle_deg)))
    return facing("+x" if side > 0 else "-x", (side * x, *at), along=along)


def _lever(frame: Frame, side: int, at: Point, group: str) -> list[Piece]:
    """Return a lever with the screw that its link turns on."""
    x, angle = side_x(frame, LEVER_X), _lever_deg(frame)
    pieces = list(on_rod(lever(), _outward(side, x, at, angle), (0, 0), HUB_DIAMETER, (*GRUB, 180.0)))
    tip = _tip(frame, 0.0)
    pin = at[0] + tip[0], at[1] + tip[1]
    pieces += [Piece(socket_screw(PIN, 16), facing("-x" if side > 0 else "+x", (side * x, *pin)))]
    beyond = x + PLATE
    for part, thickness in ((washer(PIN), WASHER), (None, LINK), (washer(PIN), WASHER), (lock_nut(PIN), 0)):
        if part:
            pieces += [Piece(part, _outward(side, beyond, pin, 0.0))]
        beyond += thickness
    return [Piece(p.part, p.where, group) for p in pieces]


@cache
def link(frame: Frame) -> Part:
    """Return a link along x, its first hole at the origin."""
    length, half = _link_length(frame), LINK_WIDTH / 2
    shape = plate([(0, -half), (length, -half), (length, half), (0, half)], LINK)
    for x in (0.0, length):
        shape = shape + Location((x, 0, 0)) * cylinder(LINK_WIDTH, 0, LINK)
    for x in (0.0, length):
        shape = shape - Location((x, 0, 0)) * cylinder(clearance(PIN) - 0.4, -1, LINK + 1)
    note = f"Two links of a gauge drilled together: holes {length:.1f} apart, alike within 0.05."
    return Part("F17", "gate link", Way.CUT, shape.solid(), "aluminium", "aluminium sheet 3", 0.5, notes=(note,))


def _link_length(frame: Frame) -> float:
    rod, pivot = point(frame.feeder.gate_rod), point(frame.feeder.gate_pivot)
    return hypot(pivot[0] - rod[0], pivot[1] - rod[1])


def _link_deg(frame: Frame) -> float:
    rod, pivot = point(frame.feeder.gate_rod), point(frame.feeder.gate_pivot)
    return degrees(atan2(pivot[1] - rod[1], pivot[0] - rod[0]))


def _link(frame: Frame, side: int) -> list[Piece]:
    """Return the link on one side, from the rod's lever to the axle's."""
    rod, tip = point(frame.feeder.gate_rod), _tip(frame, 0.0)
    x = side_x(frame, LEVER_X) + PLATE + WASHER
    return [Piece(link(frame), _outward(side, x, (rod[0] + tip[0], rod[1] + tip[1]), _link_deg(frame)), LINK_GROUP)]
