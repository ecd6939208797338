"""The lid: fixed sheets around the gauge, a hinged top with the upper front, its stay, and the switch it forces."""

from __future__ import annotations

from frame.dimensions import Frame

from model.lid.door import door
from model.lid.guard_switch import guard_switch
from model.lid.hinges import hinges
from model.lid.stay import LOOSE, carried_stay, stay
from model.lid.walls import walls
from model.motion import STEP_DEG, Motion, turned_about_x
from model.piece import Piece, of_step

MOVES = "lid"


def lid(frame: Frame, feeder: bool = False) -> tuple[Piece, ...]:
    """Return all pieces of the shut lid; with a feeder its front has an opening that the feeder's own walls close."""
    pieces = (
        *walls(frame, feeder=feeder),
        *door(frame, MOVES, feeder=feeder),
        *hinges(frame, MOVES),
        *stay(frame, MOVES),
        *guard_switch(frame, MOVES),
    )
    return of_step(pieces, "9 lid")


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the motion of the lid about its hinge, degrees, with the stay that slides along its pin."""
    y, z = frame.lid.hinge
    return (
        Motion(
            "lid",
            0.0,
            frame.lid.opening,
            STEP_DEG,
            lambda turn: {MOVES: turned_about_x(y, z, turn), LOOSE: carried_stay(frame, turn)},
        ),
    )
