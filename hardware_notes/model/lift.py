"""The lift: two arms that carry the check standard from its place back onto the gate's fingers."""

from __future__ import annotations

from functools import cache

from build123d import Location
from frame.dimensions import Frame
from frame.feeder import arms, flap_pushed, in_pocket, point

from model import selector, servo_drive
from model.across import PLATE, SIDES, Hole, on_rod, plate, turned, upright, with_hub
from model.bracket import outer_x
from model.holes import engraved
from model.motion import STEP_DEG, Motion
from model.piece import Part, Piece, Way, of_step
from model.standard import ground_rod

STEP = "13 lift"
GROUP = "lift"
HUB_DIAMETER, GRUB = 18.0, (3, 5)
SERVO_DEG = -35.0  # of the servo's body
WALL = 4.8  # behind the pocket
GRUB_DEG = 150.0


def lift(frame: Frame) -> tuple[Piece, ...]:
    """Return arms, rod and servo."""
    low, high = -servo(frame).rod_end, outer_x(frame) + 1
    at = point(frame.feeder.lift_pivot)
    pieces = [Piece(ground_rod(frame.feeder.rod, high - low, "F23"), Location(((low + high) / 2, *at)), GROUP)]
    for side in SIDES:
        where = upright(side * float(frame.feeder.arm_x) - PLATE)
        arm = on_rod(arm_part(frame), where, at, HUB_DIAMETER, (*GRUB, GRUB_DEG))
        pieces += [Piece(p.part, p.where, GROUP) for p in arm]
    return of_step([*pieces, *servo_drive.pieces(servo(frame))], STEP)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the lift's swing, in degrees from rest; the check standard in it pushes its shut flap up."""
    pivot, thick = point(frame.feeder.lift_pivot), float(frame.shaft.thickest)

    def carry(angle_deg: float) -> dict[str, Location]:
        pushed = flap_pushed(frame, thick, in_pocket(frame, thick, angle_deg))
        return {GROUP: turned(pivot, angle_deg), selector.group(0): selector.flap_at(frame, 0, -pushed)}

    return (Motion("lift", 0.0, float(frame.feeder.lift_swing), STEP_DEG, carry),)


def bores(frame: Frame) -> dict[str, list[Hole]]:
    """Return the holes that the lift needs in each side plate, "left" and "right"."""
    return {"left": servo_drive.holes(servo(frame)), "right": []}


def servo(frame: Frame) -> servo_drive.Drive:
    """Return where the servo stands: on the left side plate."""
    x, thickness = float(frame.feeder.side_x), float(frame.feeder.side_sheet)
    return servo_drive.Drive(-1, x, thickness, point(frame.feeder.lift_pivot), SERVO_DEG, GROUP, inside=True)


@cache
def arm_part(frame: Frame) -> Part:
    """Return an arm in y and z at rest, its hub upward."""
    pivot = point(frame.feeder.lift_pivot)
    swing = float(frame.feeder.lift_swing)
    way, rim, foot, front = arms(frame, swing)
    # drawn as it stands when it is up, then turned down to rest
    behind = [(front[0] + WALL * 0.71, front[1] + WALL * 0.71), (foot[0] + WALL * 1.3, foot[1] + WALL * 0.4),
              (foot[0] - 1, foot[1] - 24), (pivot[0] + 8, pivot[1]), (pivot[0] - 8, pivot[1]),
              (way[0] - 3, way[1] - 8)]  # fmt: skip
    down = [
        (p.Y, p.Z)
        for y, z in (way, rim, foot, front, *behind)
        for p in [(turned(pivot, -swing) * Location((0, y, z))).position]
    ]
    shape = with_hub(plate(down, PLATE), pivot, frame.feeder.rod, HUB_DIAMETER, GRUB[0], GRUB_DEG)
    shape = engraved(shape, "F22", Location((62, 22, PLATE)), 5)
    return Part("F22", "lift arm", Way.PRINTED, shape, "PETG", "PETG, lying, edge sanded smooth", 1.0)
