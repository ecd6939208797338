"""What turns the rollers: a motor at the beam's right end and a layshaft along it, through both stands.

Order: the motor's angle goes on the beam first, since its screw lies under the motor; then the layshaft from the left
through bearings, sleeves, collar, pulleys and belts; the coupling on its end; the motor last, its four screws reached
from the stand's side with a short key. A collar and the pulley beside it hold the layshaft along the beam in the right
stand only: it may grow against the beam, and slides in all other bearings when the stands are moved to the short span.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from build123d import Location
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing
from model.piece import Part, Piece, Way, of_step
from model.stand_parts import layshaft_sleeve
from model.standard import collar, coupling, ground_rod, motor, slot_nut, socket_screw
from model.standard.drive_parts import MOTOR_HOLES
from model.standard.profiles import SLOT_8
from model.standard.shapes import box

STEP = "3 drive"
PILOT_HOLE = 23.0
ANGLE_SCREW, MOTOR_SCREW = 6, 3
MOTOR_SHAFT = 5
LAYSHAFT_NOTES = ("Both ends chamfered 1 mm and smooth: it goes through four bearings.",)


def drive(frame: Frame, span: float) -> tuple[Piece, ...]:
    """Return layshaft, collar, coupling, motor and its angle.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    span : float
        Between the rims, mm: the collar stands in the right stand.

    Returns
    -------
    tuple of Piece
        The pieces of this step.
    """
    return of_step((*_layshaft(frame, span), *_motor(frame)), STEP)


def _layshaft(frame: Frame, span: float) -> tuple[Piece, ...]:
    """Return the layshaft with its coupling, and collar and sleeve that hold it in the right stand."""
    numbers, z = frame.drive, frame.drive.layshaft_z
    low, high = numbers.layshaft_ends
    rod = replace(ground_rod(numbers.layshaft_diameter, high - low, "D01"), name="layshaft", notes=LAYSHAFT_NOTES)
    inner = span / 2 + frame.support.cheek_inner[1]
    sleeve = layshaft_sleeve(frame)
    after = inner + frame.support.cheek_outer[0] - frame.support.pulley[1]
    return (
        Piece(rod, Location(((low + high) / 2, numbers.layshaft_y, z))),
        Piece(sleeve, facing("+x", (inner, numbers.layshaft_y, z))),
        Piece(collar(numbers.layshaft_diameter), facing("+x", (after, numbers.layshaft_y, z))),
        Piece(
            coupling(numbers.layshaft_diameter, MOTOR_SHAFT), facing("+x", (numbers.coupling_x, numbers.layshaft_y, z))
        ),
    )


@cache
def motor_angle(frame: Frame) -> Part:
    """Return the motor's angle on a sawn end: foot along x, upright along y, its length from z = 0 up."""
    upright, leg, thickness, length = frame.drive.motor_angle
    shape = (box((0, leg), (0, thickness), (0, length)) + box((0, thickness), (0, upright), (0, length))).solid()
    height, middle, half = frame.drive.layshaft_z, length / 2, MOTOR_HOLES / 2
    shape = drilled(shape, facing("-x", (0, height, middle)), PILOT_HOLE, thickness)
    for up in (-half, half):
        for aside in (-half, half):
            hole = facing("-x", (0, height + up, middle + aside))
            shape = drilled(shape, hole, clearance(MOTOR_SCREW), thickness)
    hole = facing("+y", (_foot_screw(frame), thickness, middle))
    shape = drilled(shape, hole, clearance(ANGLE_SCREW), thickness)
    stock = f"aluminium angle {upright:g}x{leg:g}x{thickness:g}, {length:g} long"
    return Part("D02", "angle of the rotate motor", Way.MACHINED, shape, "aluminium", stock, 3.0)


def _foot_screw(frame: Frame) -> float:
    """Return how far the screw in the foot of the motor's angle lies from its corner."""
    _, leg, thickness, _ = frame.drive.motor_angle
    return float(thickness + leg) / 2 - 3


def _motor(frame: Frame) -> tuple[Piece, ...]:
    """Return the motor on its angle, which a screw holds on the beam: friction bears fifty times the motor's torque."""
    thickness, length = frame.drive.motor_angle[2:]
    y, z, flange, half = frame.drive.layshaft_y, frame.drive.layshaft_z, frame.drive.motor_x, MOTOR_HOLES / 2
    corner = flange - thickness
    screw_x = corner + _foot_screw(frame)
    pieces = [Piece(motor_angle(frame), facing("-y", (corner, y + length / 2, 0), along="+x"))]
    pieces += [Piece(socket_screw(ANGLE_SCREW, 16), Location((screw_x, y, thickness)))]
    pieces += [Piece(slot_nut(ANGLE_SCREW), Location((screw_x, y, -SLOT_8.lip_depth)))]
    pieces += [Piece(motor(frame.drive.motor_length), facing("-x", (flange, y, z)))]
    for side in (-half, half):
        for up in (-half, half):
            pieces += [Piece(socket_screw(MOTOR_SCREW, 10), facing("-x", (corner, y + side, z + up)))]
    return tuple(pieces)
