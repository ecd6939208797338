"""Electronics: a plate behind the beam with board, drivers and terminals, the converter, the emergency stop, all wires.

Each wire is a thin tube whose ends are those of the wiring table. A colour is only its mark in the pictures: black is
ground, red 24 V, orange 3.3 V, blue a signal from the board, yellow one to it, violet the cell's four. Lengths in the
parts list have a fifth more than what is drawn, for loops.
"""

from __future__ import annotations

from frame.dimensions import Frame

from model.electronics.harness import wires
from model.electronics.places import fastened, screwed_on, units
from model.electronics.plate import plate
from model.electronics.servo_supply import servo_supply
from model.piece import Piece, of_step


def electronics(frame: Frame, feeder: bool = False) -> tuple[Piece, ...]:
    """Return plate, circuit boards, switches, inlet and wires; with a feeder also the servos' supply."""
    placed, supply = units(frame), servo_supply(frame)
    pieces = (*plate(frame), *fastened(frame, placed, supply), *wires(frame, placed))
    if feeder:
        pieces += screwed_on(supply)
    return of_step(pieces, "8 electronics")
