"""The feeder up to the selector: frame, hopper, fork, gate and lift as a whole."""

from __future__ import annotations

from frame.dimensions import Frame

from model.bracket import brackets
from model.feeder_frame import feeder_frame
from model.fork import fork
from model.fork import motions as fork_motions
from model.gate import gate
from model.gate import motions as gate_motions
from model.hopper import hopper
from model.lift import bracket_holes, lift
from model.lift import motions as lift_motions
from model.motion import Motion
from model.piece import Piece


def feeder(frame: Frame) -> tuple[Piece, ...]:
    """Return the pieces of the feeder's frame, hopper, fork, gate and lift."""
    fixed = *feeder_frame(frame), *hopper(frame), *brackets(frame, bracket_holes(frame))
    return (*fixed, *fork(frame), *gate(frame), *lift(frame))


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the motions of fork, gate and lift."""
    return (*fork_motions(frame), *gate_motions(frame), *lift_motions(frame))
