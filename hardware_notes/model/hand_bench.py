"""The hand bench: two stands with turning pins on a profile frame, a dial on a foot of its own, a weight on a hook.

Beam, cross bars and column are sawn from one aluminium profile. Straight hardwood of 40 x 40 mm does as well: the
brackets and cheeks are then held by wood screws, and the span is measured anew whenever the air has become damper.
"""

from __future__ import annotations

from build123d import Location
from frame.dimensions import Frame

from model.hand_bench_dial import dial_stand
from model.hand_bench_load import load, turning_marks
from model.hand_bench_stands import base, stands
from model.motion import STEP_MM, Motion
from model.piece import Piece, of_step

HANGING = "hanging weight"


def hand_bench(frame: Frame) -> tuple[Piece, ...]:
    """Return all pieces of the bench, unloaded, as set for a shaft of the usual size."""
    return (
        *of_step(base(frame), "H1"),
        *of_step(stands(frame), "H2"),
        *of_step(dial_stand(frame), "H3"),
        *of_step(turning_marks(frame), "H4"),
        *of_step(load(frame, HANGING), "H5"),
    )


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return the motion of the weight from the unloaded shaft down to the softest one."""
    return (Motion("weight", -frame.hand_bench.deepest, 0.0, STEP_MM, lambda way: {HANGING: Location((0, 0, way))}),)
