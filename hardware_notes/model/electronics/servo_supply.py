"""The servos' supply: a fuse, a converter from 24 V to 5 V, a strip of terminals, a capacitor beside it."""

from __future__ import annotations

from dataclasses import replace

from build123d import Location, Pos
from frame.dimensions import Frame

from model.electronics.places import on_plate
from model.electronics.plate import top_z
from model.electronics.units import (
    BASE,
    FUSE_TERMINALS,
    POST,
    SHEET,
    STRIP_TERMINALS,
    Place,
    Unit,
    carrier,
    circuit,
    flange_screws,
    fuse_screws,
    strip,
    strip_screws,
)
from model.electronics.units import fuse as fuse_holder
from model.holes import clearance, drilled, facing
from model.piece import Part, Piece, Way
from model.standard import socket_screw
from model.standard.shapes import box, cylinder

FUSE_AT, STEP_DOWN_AT, STRIP_AT, CAPACITOR_AT = (197.0, -130.0), (-290.0, -100.0), (299.0, -122.0), (299.0, -101.0)
STEP_DOWN = (44.0, 22.0)  # circuit board, from memory: measure yours before you print its carrier
STEP_DOWN_HOLES = [(x, y) for x in (-19.0, 19.0) for y in (-8.0, 8.0)]
STEP_DOWN_TERMINALS = {"IN+": (-17.0, 4.0, SHEET + 8), "IN-": (-17.0, -4.0, SHEET + 8),
                       "OUT+": (17.0, 4.0, SHEET + 8), "OUT-": (17.0, -4.0, SHEET + 8)}  # fmt: skip
CAPACITOR = (10.0, 20.0)  # diameter and length
SADDLE = (16.0, 14.0, 7.0)  # along the capacitor, across, up; with a flange at each side
FLANGE = 10.0


def servo_supply(frame: Frame) -> tuple[Unit, ...]:
    """Return fuse, converter, terminals and capacitor in their places on the plate."""
    terminals = on_plate(frame, "5 V terminals", strip(), STRIP_AT, strip_screws(), STRIP_TERMINALS)
    fused = on_plate(frame, "servo fuse", fuse(), FUSE_AT, fuse_screws(), FUSE_TERMINALS)
    return (fused, _step_down(frame), terminals, _capacitor(frame))


def fuse() -> Part:
    """Return the holder of the servos' fuse."""
    name = "fuse holder, closed, with fuse 5x20, 2 A slow (IEC 60127)"
    return replace(fuse_holder(), number="E15", name="fuse of the servos", designation=name)


def step_down() -> Part:
    """Return the converter from its underside up: 24 V at its left end, 5 V at its right."""
    shape = circuit(STEP_DOWN, STEP_DOWN_HOLES, 3) + box((-8, 8), (-9, 9), (SHEET, SHEET + 11))
    for side in (-1, 1):
        low, high = sorted((side * 13.5, side * 21.5))
        shape += box((low, high), (-4.2, 4.2), (SHEET, SHEET + 8))
    name = "step-down converter with terminals, 24 V to 5.0 V, 5 A"
    return Part("E16", "converter of the servos", Way.BOUGHT, shape.solid(), "circuit board", name, 6.0, 20.0)


def _step_down(frame: Frame) -> Unit:
    where = Pos(*STEP_DOWN_AT, top_z(frame))
    up = where * Pos(0, 0, BASE + POST)
    carried = carrier("E17", "carrier of the servos' converter", STEP_DOWN, STEP_DOWN_HOLES, 3.0)
    pieces = [Piece(carried, where), Piece(step_down(), up)]
    pieces += [Piece(socket_screw(3, 8), up * Pos(x, y, SHEET)) for x, y in STEP_DOWN_HOLES]
    held = tuple(where * Location(screw) for screw in flange_screws(STEP_DOWN))
    return Unit("servo converter", tuple(pieces), up, STEP_DOWN_TERMINALS, held)


def capacitor() -> Part:
    """Return the capacitor along x, its leads towards -x; they are clamped with the wires of two terminals."""
    d, length = CAPACITOR
    shape = facing("+x", (-length / 2, 0, 0)) * cylinder(d, 0, length)
    name = f"electrolytic capacitor 1000 µF, 10 V, {d:g} x {length:g}"
    return Part("E18", "capacitor", Way.BOUGHT, shape.solid(), "aluminium", name, 0.5, 3.0)


def saddle() -> Part:
    """Return what the capacitor lies in, pressed in from above and glued, with a flange at each end of x."""
    long, deep, high = SADDLE
    half = long / 2 + FLANGE
    shape = box((-long / 2, long / 2), (-deep / 2, deep / 2), (0, high)) + box(
        (-half, half), (-deep / 2, deep / 2), (0, BASE)
    )
    shape -= facing("+x", (-half, 0, high + 1)) * cylinder(CAPACITOR[0], 0, 2 * half)
    for x, y, z in saddle_screws():
        shape = drilled(shape.solid(), facing("+z", (x, y, z)), clearance(3), BASE)
    return Part("E19", "saddle of the capacitor", Way.PRINTED, shape.solid(), "PETG", "printed", 0.2)


def saddle_screws() -> tuple[Place, Place]:
    """Return where the saddle is screwed down."""
    x = SADDLE[0] / 2 + FLANGE / 2
    return ((-x, 0.0, BASE), (x, 0.0, BASE))


def _capacitor(frame: Frame) -> Unit:
    where = Pos(*CAPACITOR_AT, top_z(frame))
    held = tuple(where * Location(screw) for screw in saddle_screws())
    pieces = (Piece(saddle(), where), Piece(capacitor(), where * Pos(0, 0, SADDLE[2] + 1)))
    ends = {"+": (-CAPACITOR[1] / 2, 2.5, SADDLE[2] + 1), "-": (-CAPACITOR[1] / 2, -2.5, SADDLE[2] + 1)}
    return Unit("capacitor", pieces, where, ends, held)
