"""The fork: arms on a rod under the ramp that lift one shaft at a time over the step out of the hopper."""

from __future__ import annotations

from functools import cache
from math import cos, radians, sin

from build123d import Location
from frame import escapement
from frame.dimensions import Frame
from frame.feeder import point
from frame.rolling import turned as turned_points

from model import servo_drive
from model.across import HUB, PLATE, Hole, on_rod, plate, side_x, turned, with_hub
from model.holes import engraved, facing
from model.motion import STEP_DEG, Motion
from model.piece import Part, Piece, Way, of_step
from model.standard import bearing, collar, ground_rod

STEP = "11 hopper and fork"
GROUP = "fork"
HUB_DIAMETER, GRUB = 18.0, (3, 5)
GRUB_DEG = 200.0
BEARING = (8, 16, 5)
SERVO_DEG = 15.0
OFF_RAIL = 1.5  # between rail and arm


def fork(frame: Frame) -> tuple[Piece, ...]:
    """Return arms, rod, bearings and servo."""
    at, low, high = escapement.axis(frame), -side_x(frame, 0), servo(frame).rod_end
    pieces = [Piece(ground_rod(frame.feeder.rod, high - low, "F21"), Location(((low + high) / 2, *at)), GROUP)]
    for side, out in ((1, "+x"), (-1, "-x")):
        x = frame.feeder.side_x
        pieces += [Piece(bearing(*BEARING), facing(out, (side * (x + 2), *at)))]
        back = "-x" if side > 0 else "+x"
        pieces += [Piece(collar(frame.feeder.rod), facing(back, (side * (x - 0.5), *at)), GROUP)]
        arm = on_rod(arm_part(frame), _where(frame, side), (0, 0), HUB_DIAMETER, (*GRUB, GRUB_DEG))
        pieces += [Piece(p.part, p.where, GROUP) for p in arm]
    return of_step([*pieces, *servo_drive.pieces(servo(frame))], STEP)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the fork's stroke, in degrees from rest."""
    at = escapement.axis(frame)
    return (Motion("fork", 0.0, float(frame.feeder.fork_swing), STEP_DEG, lambda v: {GROUP: turned(at, v)}),)


def bores(frame: Frame) -> dict[str, list[Hole]]:
    """Return the holes that the fork needs in each side plate, "left" and "right"."""
    seat = Hole(*escapement.axis(frame), BEARING[1])
    return {"left": [seat], "right": [seat, *servo_drive.holes(servo(frame))]}


def servo(frame: Frame) -> servo_drive.Drive:
    """Return where the servo stands."""
    at, thickness = escapement.axis(frame), float(frame.feeder.side_sheet)
    return servo_drive.Drive(1, side_x(frame, 0), thickness, at, SERVO_DEG, GROUP, inside=False)


def _where(frame: Frame, side: int) -> Location:
    """Return an arm's place: beside its rail, towards the middle."""
    rail = side * float(frame.feeder.ramp_x) - side * (frame.feeder.rail_sheet / 2 + OFF_RAIL)
    slope = radians(frame.feeder.slope)
    x = rail - HUB if side > 0 else rail
    return facing("+x", (x, *escapement.axis(frame)), along=(0.0, cos(slope), sin(slope)))


@cache
def arm_part(frame: Frame) -> Part:
    """Return an arm along the slope from its axle at the origin, its hub upward."""
    rod = point(frame.feeder.fork_axis)
    inner, corner = ((s - rod[0], n - rod[1]) for s, n in frame.feeder.fork_top)
    face = [turned_points([corner], (0, 0), -escapement.FACE_DEG * i / 10)[0] for i in range(11)]
    corners = [(0, 7.5), (6, 6.5), (inner[0] - 7, inner[1] - 3), inner, *face, (8, -8.5), (0, -8.5)]
    shape = with_hub(plate(corners, PLATE), (0, 0), frame.feeder.rod, HUB_DIAMETER, GRUB[0], GRUB_DEG)
    shape = engraved(shape, "F20", Location((22, -6.5, PLATE)), 5)
    return Part("F20", "fork arm", Way.PRINTED, shape, "PETG", "PETG, lying, edge sanded smooth", 0.5)
