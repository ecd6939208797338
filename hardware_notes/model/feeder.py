"""The feeder up to the selector: frame, hopper, fork, gate and lift as a whole."""

from __future__ import annotations

from frame.dimensions import Frame

from model.bracket import brackets
from model.feeder_frame import feeder_frame
from model.feeder_sensors import sensors
from model.fork import fork
from model.fork import motions as fork_motions
from model.gate import gate
from model.gate import motions as gate_motions
from model.hopper import hopper
from model.lift import lift
from model.lift import motions as lift_motions
from model.motion import Motion
from model.piece import Piece


def feeder(frame: Frame, span: float | None = None, length: float | None = None) -> tuple[Piece, ...]:
    """Return the pieces of the feeder's frame, hopper, fork, gate and lift, and its sensors.

    Parameters
    ----------
    frame : Frame
        The dimensions.
    span : float or None
        Where the stands are set that carry some of the sensors, mm between the rims; None is the standard span.
    length : float or None
        Of the shafts that the hopper's guides are set for, mm; None is a usual length on that span.

    Returns
    -------
    tuple of Piece
        The pieces at home, the selector and the trays not among them.
    """
    span = span or float(frame.support.span)
    shortest, longest = frame.lengths(span)
    length = length or (shortest + longest) / 2
    fixed = *feeder_frame(frame), *hopper(frame, length), *brackets(frame)
    return (*fixed, *fork(frame), *gate(frame), *lift(frame), *sensors(frame, span, length))


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the motions of fork, gate and lift.

    Parameters
    ----------
    frame : Frame
        The dimensions.

    Returns
    -------
    tuple of Motion
        The motions, in degrees from rest.
    """
    return (*fork_motions(frame), *gate_motions(frame), *lift_motions(frame))
