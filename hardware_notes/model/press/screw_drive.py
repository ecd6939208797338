"""The plate on the column, the screw that hangs in it between two preloaded bearings, and its motor."""

from __future__ import annotations

from build123d import Location, Solid
from frame.dimensions import Frame

from model.holes import counterbored, drilled, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.press.counterweight import BRACKET_SCREWS, CORD_X, cord_y
from model.press.made import Stock, made
from model.standard import (
    bearing,
    collar,
    coupling,
    dowel,
    motor,
    set_screw,
    shim,
    socket_screw,
    standoff,
    trapezoidal_screw,
)
from model.standard.drive_parts import COLLAR, MOTOR_HOLES
from model.standard.shapes import box

SCREW_GROUP = "screw"
PLATE_X, PLATE_FRONT_Y = (-24.0, 56.0), 9.0  # its back is flush with the column's
SUNK_M8 = 8.5
PIN_Y = (15.8, -15.8)  # of two pins from the column's middle: in its slots they keep the plate square
WEB_HOLE = 17.0  # between the two pockets: the web carries the outer rings
SHIM = (8, 14, 1)  # between inner ring and collar, which would rub on the outer ring
STANDOFF_SUNK = 8.0
COUPLING_GAP, COUPLING_LENGTH, MOTOR_SHAFT = 1.5, 25.0, 22.0
CORD_HOLE = 8.0
PLATE_NOTES = (
    "Pockets 22 H7, 7.0 +0.05 deep, both in one clamping: in line to 0.02.",
    "Web between the pockets 2.0, faces parallel to 0.02: it carries both outer rings.",
)


def head_plate_part(frame: Frame) -> Part:
    """Return the plate: bearing pockets in both faces, threads for the cord's bracket, holes for column and motor."""
    press, top, low = frame.press, frame.head_plate_top_z, frame.press.column_top
    back = press.column_y - press.column / 2
    shape = box(PLATE_X, (back, PLATE_FRONT_Y), (low, top)).solid()
    shape = counterbored(shape, facing("+z", (0, press.column_y, top)), 8, press.head_plate, SUNK_M8)
    for y in PIN_Y:
        shape = drilled(shape, facing("+z", (0, press.column_y + y, top)), 8, press.head_plate)
    shape = _pockets(frame, shape)
    for x, y in _standoffs(frame):
        shape = counterbored(shape, facing("-z", (x, y, low)), 3, press.head_plate, STANDOFF_SUNK)
    for x, y in BRACKET_SCREWS:
        shape = drilled(shape, facing("+z", (x, y, top)), tapped(4), press.head_plate)
    shape = drilled(shape, facing("+z", (CORD_X, cord_y(frame)[0], top)), CORD_HOLE, press.head_plate)
    stock = Stock(Way.MACHINED, "aluminium", "flat bar 80x16, 94 long; pockets bored", 25.0, PLATE_NOTES)
    return made("P04", "head plate", stock, shape, Location((0, 0, low)))


def _pockets(frame: Frame, shape: Solid) -> Solid:
    """Return the plate with the pockets of the two bearings and the hole between them."""
    press = frame.press
    _, outer, width = press.thrust_bearing
    x, y = press.screw_x, press.screw_y
    shape = drilled(shape, facing("+z", (x, y, frame.head_plate_top_z)), WEB_HOLE, press.head_plate)
    shape = drilled(shape, facing("+z", (x, y, frame.head_plate_top_z)), outer, width)
    return drilled(shape, facing("-z", (x, y, press.column_top)), outer, width)


def _standoffs(frame: Frame) -> list[tuple[float, float]]:
    """Return where the motor's four spacers stand."""
    half = MOTOR_HOLES / 2
    return [(frame.press.screw_x + x, frame.press.screw_y + y) for x in (-half, half) for y in (-half, half)]


def coupling_z(frame: Frame) -> float:
    """Return the height of the coupling's lower end: over the upper collar."""
    return frame.head_plate_top_z + SHIM[2] + COLLAR[8][1] + COUPLING_GAP


def screw_top_z(frame: Frame) -> float:
    """Return the height of the screw's upper end, just below the motor's shaft in the coupling."""
    return coupling_z(frame) + COUPLING_LENGTH / 2 - 0.5


def _bearings(frame: Frame) -> list[Piece]:
    """Return the two bearings with the shims and collars that clamp their inner rings towards each other."""
    x, y, width = frame.press.screw_x, frame.press.screw_y, frame.press.thrust_bearing[2]
    pieces = []
    for direction, z in (("+z", frame.head_plate_top_z), ("-z", frame.press.column_top)):
        face = facing(direction, (x, y, z))
        pieces.append(Piece(bearing(*frame.press.thrust_bearing), face * Location((0, 0, -width))))
        pieces.append(Piece(shim(*SHIM), face, SCREW_GROUP))
        pieces.append(Piece(collar(8), face * Location((0, 0, SHIM[2])), SCREW_GROUP))
    return pieces


def _motor(frame: Frame) -> list[Piece]:
    """Return the motor on its spacers, each held by a screw from below and a set screw as a stud in the motor."""
    top = frame.head_plate_top_z
    flange = top + frame.press.motor_standoff
    length = frame.drive.motor_length
    place = facing("-z", (frame.press.screw_x, frame.press.screw_y, flange))
    pieces = [Piece(motor(length), place)]
    for x, y in _standoffs(frame):
        seat = frame.press.column_top + STANDOFF_SUNK
        pieces.append(Piece(socket_screw(3, 16), facing("-z", (x, y, seat))))
        pieces.append(Piece(standoff(3, frame.press.motor_standoff), facing("+z", (x, y, top))))
        pieces.append(Piece(set_screw(3, 10), facing("+z", (x, y, flange + 4))))
    return pieces


def head_plate(frame: Frame) -> tuple[Piece, ...]:
    """Return the plate on the column with the screw that holds it and the pins that keep it square."""
    press = frame.press
    seat = frame.head_plate_top_z - SUNK_M8
    pieces = [
        Piece(head_plate_part(frame), Location((0, 0, press.column_top))),
        Piece(socket_screw(8, 30), facing("+z", (0, press.column_y, seat))),
    ]
    for y in PIN_Y:
        pieces.append(Piece(dowel(8, 30), facing("-z", (0, press.column_y + y, frame.head_plate_top_z))))
    return of_step(pieces, "4 column")


def screw_drive(frame: Frame) -> tuple[Piece, ...]:
    """Return screw, bearings, coupling and motor."""
    press = frame.press
    x, y, top = press.screw_x, press.screw_y, screw_top_z(frame)
    screw = trapezoidal_screw(press.screw_diameter, press.screw_length, "P12")
    joint = facing("+z", (x, y, coupling_z(frame)))
    pieces = [
        Piece(screw, facing("+z", (x, y, top - press.screw_length)), SCREW_GROUP),
        Piece(coupling(8, 5), joint, SCREW_GROUP),
    ]
    return of_step([*pieces, *_bearings(frame), *_motor(frame)], "5 carriage and screw")
