"""The gate: fingers that lead a shaft into the nip, and lift it out to the front when they swing up.

Each finger sits on its own stub axle, because the lift passes between them. A rod below turns both alike: a lever on it
at each side, of the length from axle to pin in the finger, and a link between.
"""

from __future__ import annotations

from functools import cache
from math import atan2, cos, degrees, hypot, radians, sin

from build123d import Location, Solid
from frame.dimensions import Frame
from frame.feeder import finger, point
from frame.rolling import Point

from model import servo_drive
from model.across import PLATE, SIDES, Hole, on_rod, plate, turned, upright, with_hub
from model.bracket import outer_x
from model.holes import clearance, engraved, facing
from model.motion import STEP_DEG, Motion
from model.piece import Part, Piece, Way, of_step
from model.standard import bearing, collar, ground_rod, lock_nut, socket_screw, washer
from model.standard.shapes import cylinder

STEP = "12 gate"
GROUP, ROD_GROUP, LINK_GROUP = "gate", "gate rod", "gate links"
HUB_DIAMETER, GRUB = 18.0, (3, 5)
BEARING = (8, 16, 5)
LEVER, PIN, EYE = 20.0, 4, 12.0  # from axle to pin, the screw that the link turns on, width of the eye around it
WASHER, LINK, LINK_WIDTH = 0.8, 3.0, 10.0
SERVO_DEG = -90.0  # of the servo's body
FINGER_GRUB, LEVER_GRUB = 250.0, 180.0  # directions of the set screws


def gate(frame: Frame) -> tuple[Piece, ...]:
    """Return fingers, axles, rod, levers, links and servo."""
    pieces = [*_rod(frame), *servo_drive.pieces(servo(frame))]
    for side in SIDES:
        pieces += [*_finger(frame, side), *_stub(frame, side), *_lever(frame, side), *_link(frame, side)]
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
    seat = Hole(*point(frame.feeder.gate_pivot), BEARING[1])
    return {"left": [seat], "right": [seat, *servo_drive.holes(servo(frame))]}


def servo(frame: Frame) -> servo_drive.Drive:
    """Return where the servo stands: on the right side plate."""
    x, thickness = float(frame.feeder.side_x), float(frame.feeder.side_sheet)
    return servo_drive.Drive(1, x, thickness, point(frame.feeder.gate_rod), SERVO_DEG, ROD_GROUP, inside=True)


def _plate_x(frame: Frame, side: int) -> float:
    """Return the left face of the plates of finger and lever; their hubs are to the right of it."""
    return side * float(frame.feeder.finger_x) - PLATE


# Fingers


def _with_eye(flat: Solid, at: Point) -> Solid:
    """Return a plate with an eye for the link's pin."""
    shape = flat + Location((*at, 0)) * cylinder(EYE, 0, PLATE)
    return (shape - Location((*at, 0)) * cylinder(clearance(PIN), -1, PLATE + 1)).solid()


@cache
def finger_part(frame: Frame) -> Part:
    """Return a finger in y and z at rest, its hub upward."""
    edge, pivot, tip = finger(frame), point(frame.feeder.gate_pivot), _tip(frame, 0.0)
    rear, tail, eye = edge[0], edge[-1], (pivot[0] + tip[0], pivot[1] + tip[1])
    below = [(tail[0] + 2.5, tail[1] - 3), (eye[0] + 5, eye[1] + 3), (pivot[0] + 8, pivot[1] - 2),
             (pivot[0] + 4, pivot[1] - 8), (pivot[0] - 8, pivot[1] - 8), (edge[1][0], edge[1][1] - 6),
             (rear[0], rear[1] - 5)]  # fmt: skip
    flat = _with_eye(plate([*edge, *below], PLATE), eye)
    shape = with_hub(flat, pivot, frame.feeder.rod, HUB_DIAMETER, GRUB[0], FINGER_GRUB)
    shape = engraved(shape, "F12", Location((28, 98, PLATE)))
    return Part("F12", "gate finger", Way.PRINTED, shape, "PETG", "PETG, lying, edge sanded smooth", 1.0)


def _finger(frame: Frame, side: int) -> list[Piece]:
    """Return a finger with its set screw and the pin of its link."""
    where, pivot, tip = upright(_plate_x(frame, side)), point(frame.feeder.gate_pivot), _tip(frame, 0.0)
    pieces = on_rod(finger_part(frame), where, pivot, HUB_DIAMETER, (*GRUB, FINGER_GRUB))
    pieces += _pin(_plate_x(frame, side), (pivot[0] + tip[0], pivot[1] + tip[1]))
    return [Piece(p.part, p.where, GROUP) for p in pieces]


def _stub(frame: Frame, side: int) -> list[Piece]:
    """Return a stub axle with its outer bearing and a collar at each."""
    inner, outer = outer_x(frame) - PLATE - 2, float(frame.feeder.side_x) + 7
    rod = ground_rod(frame.feeder.rod, outer - inner, "F13")
    at, (out, back) = point(frame.feeder.gate_pivot), (("+x", "-x") if side > 0 else ("-x", "+x"))
    pieces = [Piece(rod, Location((side * (inner + outer) / 2, *at)), GROUP)]
    pieces += [Piece(bearing(*BEARING), facing(out, (side * (frame.feeder.side_x + 2), *at)))]
    pieces += [Piece(collar(frame.feeder.rod), facing(out, (side * (outer_x(frame) + 0.5), *at)), GROUP)]
    return [*pieces, Piece(collar(frame.feeder.rod), facing(back, (side * (frame.feeder.side_x - 0.5), *at)), GROUP)]


# Rod, levers and links


def _rod(frame: Frame) -> list[Piece]:
    """Return the rod that turns both fingers alike, with a collar outside each bracket."""
    low, high = _plate_x(frame, -1) - 2, servo(frame).rod_end
    at = point(frame.feeder.gate_rod)
    pieces = [Piece(ground_rod(frame.feeder.rod, high - low, "F14"), Location(((low + high) / 2, *at)), ROD_GROUP)]
    for side, out in ((1, "+x"), (-1, "-x")):
        pieces += [Piece(collar(frame.feeder.rod), facing(out, (side * (outer_x(frame) + 0.5), *at)), ROD_GROUP)]
    return pieces


def _lever_deg(frame: Frame, raised_deg: float = 0.0) -> float:
    """Return the levers' direction: square to the link in the middle of the swing."""
    return _link_deg(frame) - 90 + float(frame.feeder.gate_swing) / 2 - raised_deg


def _tip(frame: Frame, raised_deg: float) -> Point:
    """Return where a lever's pin is from its axle."""
    angle = radians(_lever_deg(frame, raised_deg))
    return LEVER * cos(angle), LEVER * sin(angle)


@cache
def lever() -> Part:
    """Return a lever along x from its axle at the origin, its hub upward."""
    flat = _with_eye(plate([(0, -5), (LEVER, -5), (LEVER, 5), (0, 5)], PLATE), (LEVER, 0))
    shape = with_hub(flat, (0, 0), 8.0, HUB_DIAMETER, GRUB[0], LEVER_GRUB)
    return Part("F15", "gate lever", Way.PRINTED, shape, "PETG", "PETG, lying, all perimeters", 0.3)


def _flat_at(x: float, at: Point, angle_deg: float) -> Location:
    """Return the place of a flat part whose +x leads in a direction."""
    return facing("+x", (x, *at), along=(0.0, cos(radians(angle_deg)), sin(radians(angle_deg))))


def _lever(frame: Frame, side: int) -> list[Piece]:
    """Return a lever of the rod with its set screw and the pin of its link."""
    x, at, tip = _plate_x(frame, side), point(frame.feeder.gate_rod), _tip(frame, 0.0)
    where = _flat_at(x, at, _lever_deg(frame))
    pieces = on_rod(lever(), where, (0, 0), HUB_DIAMETER, (*GRUB, LEVER_GRUB))
    pieces += _pin(x, (at[0] + tip[0], at[1] + tip[1]))
    return [Piece(p.part, p.where, ROD_GROUP) for p in pieces]


def _pin(x: float, at: Point) -> list[Piece]:
    """Return the screw that a link turns on, with washers and lock nut; the lever's left face is at x."""
    pieces = [Piece(socket_screw(PIN, 16), facing("-x", (x, *at)))]
    for part, beyond in ((washer(PIN), 0.0), (washer(PIN), WASHER + LINK), (lock_nut(PIN), 2 * WASHER + LINK)):
        pieces += [Piece(part, facing("+x", (x + PLATE + beyond, *at)))]
    return pieces


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
    """Return the distance from the rod to the fingers' axles."""
    rod, pivot = point(frame.feeder.gate_rod), point(frame.feeder.gate_pivot)
    return hypot(pivot[0] - rod[0], pivot[1] - rod[1])


def _link_deg(frame: Frame) -> float:
    """Return the links' direction, which stays: levers and links are a parallelogram."""
    rod, pivot = point(frame.feeder.gate_rod), point(frame.feeder.gate_pivot)
    return degrees(atan2(pivot[1] - rod[1], pivot[0] - rod[0]))


def _link(frame: Frame, side: int) -> list[Piece]:
    """Return the link on one side, from the rod's lever to the finger."""
    rod, tip = point(frame.feeder.gate_rod), _tip(frame, 0.0)
    x = _plate_x(frame, side) + PLATE + WASHER
    return [Piece(link(frame), _flat_at(x, (rod[0] + tip[0], rod[1] + tip[1]), _link_deg(frame)), LINK_GROUP)]
