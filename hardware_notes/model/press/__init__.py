"""The press: column, screw, carriage with cell and head, counterweight, stops; how it travels and what hangs on it."""

from __future__ import annotations

from collections.abc import Iterable

from build123d import Location
from frame.dimensions import Frame

from model.motion import STEP_MM, Motion
from model.piece import Piece
from model.press.carriage import CARRIAGE_GROUP, arm, carriage
from model.press.cell_head import cell_head
from model.press.column import column
from model.press.counterweight import COUNTERWEIGHT_GROUP, counterweight
from model.press.screw_drive import SCREW_GROUP, head_plate, screw_drive
from model.press.stops import stops

__all__ = ["hanging", "motions", "press"]


def press(frame: Frame) -> tuple[Piece, ...]:
    """Return all pieces of the press, at home."""
    units = (column, head_plate, carriage, screw_drive, counterweight, stops, arm, cell_head)
    return tuple(piece for unit in units for piece in unit(frame))


def hanging(pieces: Iterable[Piece]) -> tuple[Piece, ...]:
    """Return what hangs on the carriage: the counterweight must pull more than these weigh."""
    return tuple(piece for piece in pieces if piece.moves == CARRIAGE_GROUP)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the carriage's travel by its height over home, mm, from the lower stop to the upper."""
    x, y, lead = frame.press.screw_x, frame.press.screw_y, frame.press.screw_lead
    axis = Location((x, y, 0))

    def carry(up_mm: float) -> dict[str, Location]:
        turn = axis * Location((0, 0, 0), (0, 0, 360 * up_mm / lead)) * axis.inverse()
        return {
            CARRIAGE_GROUP: Location((0, 0, up_mm)),
            COUNTERWEIGHT_GROUP: Location((0, 0, -up_mm)),
            SCREW_GROUP: turn,
        }

    return (Motion("press", frame.carriage_lowest, float(frame.press.upper_stop_beyond), STEP_MM, carry),)
