"""Electronics: a plate behind the beam with board, drivers and terminals, the converter, the emergency stop, all wires.

Each wire is a thin tube whose ends are those of the wiring table. A colour is only its mark in the pictures: black is
ground, red 24 V, orange 3.3 V, blue a signal from the board, yellow one to it, violet the cell's four. Lengths in the
parts list have a fifth more than what is drawn, for loops.
"""

from __future__ import annotations

from frame.dimensions import Frame

from model.electronics.harness import wires
from model.electronics.places import fastened, units
from model.electronics.plate import plate
from model.piece import Piece, of_step


def electronics(frame: Frame) -> tuple[Piece, ...]:
    """Return plate, circuit boards, switches, inlet and wires of a gauge without a feeder."""
    placed = units(frame)
    pieces = (*plate(frame), *fastened(frame, placed), *wires(frame, placed))
    return of_step(pieces, "8 electronics")
