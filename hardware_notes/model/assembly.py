"""The three builds as a whole: the hand bench, the gauge fed by hand, and the gauge that feeds itself and sorts."""

from __future__ import annotations

from dataclasses import dataclass

from frame.dimensions import Frame

from model import hand_bench as bench
from model import press
from model.base import base, end_stop
from model.drive import drive
from model.electronics import electronics
from model.feeder import feeder
from model.feeder import motions as feeder_motions
from model.feeder_guards import guards
from model.lid import lid
from model.lid import motions as lid_motions
from model.motion import Motion
from model.piece import Piece
from model.selector import motions as selector_motions
from model.selector import selector
from model.stands import stands
from model.trays import motions as tray_motions
from model.trays import trays

STEPS = (
    "H1", "H2", "H3", "H4", "H5",
    "1 base", "2 stands", "3 drive", "4 column", "5 carriage and screw", "6 counterweight and stops",
    "7 cell and head", "8 electronics", "9 lid",
    "10 side plates", "11 hopper and fork", "12 gate", "13 lift", "14 selector", "15 trays",
)  # fmt: skip
PUT_ON_AFTERWARDS = {
    ("N19", "B01"): "the stands' cheeks are screwed to their foot plates before these go on the beam",
    ("N39", "N206"): "the motor's angle is screwed to the beam before the motor goes on it",
    ("N42", "B01"): "the spacer block is screwed to the column before both go to the beam",
    ("N07", "E81"): "the board's carrier is screwed down before the host's cable is plugged in",
    ("N39", "P10"): "the guide is screwed on before the counterweight goes into it",
    ("N01", "N214"): "the camshaft's coupling is screwed to the servo's horn before the servo goes on its bracket",
    ("N08", "F02"): "the coupling is screwed to the fork servo's horn before the servo goes on its posts",
}  # screw and piece by their numbers, where the piece covers the screw's head: assembly.md says it in that step
BESIDE_THE_BENCH = frozenset({"H05", "H09", "H12"})  # the dial on its own foot; hook and marks hang on the shaft


@dataclass(frozen=True)
class Assembly:
    """A build: its pieces at home and its motions.

    `never_together` has the names of each two motions that something keeps from happening together, `apart` the numbers
    of parts that stand beside the machine or hang on the shaft.
    """

    name: str
    pieces: tuple[Piece, ...]
    motions: tuple[Motion, ...]
    never_together: frozenset[frozenset[str]] = frozenset()
    apart: frozenset[str] = frozenset()


def hand_bench() -> Assembly:
    """Return the hand bench unloaded, with no shaft on it."""
    frame = Frame.load()
    return Assembly("hand bench", bench.hand_bench(frame), bench.motions(frame), apart=BESIDE_THE_BENCH)


def fed_by_hand(span: float | None = None, length: float | None = None) -> Assembly:
    """Return the gauge that is fed by hand.

    Parameters
    ----------
    span : float or None
        Where its stands are set, mm between the rims; None is the standard span.
    length : float or None
        Of the shafts that its end stop is set for, mm; None is a usual length on that span.

    Returns
    -------
    Assembly
        The gauge without a feeder, its lid with a closed front.
    """
    frame = Frame.load()
    pieces = (*_gauge(frame, span, length), *lid(frame))
    return Assembly("fed by hand", pieces, (*press.motions(frame), *lid_motions(frame)))


def sorter(span: float | None = None, length: float | None = None) -> Assembly:
    """Return the gauge that feeds itself and sorts.

    Parameters
    ----------
    span : float or None
        Where its stands are set, mm between the rims; None is the standard span.
    length : float or None
        Of the shafts that its end stop is set for, mm; None is a usual length on that span.

    Returns
    -------
    Assembly
        The gauge with feeder, selector and trays, its lid with the feeder's opening.
    """
    frame = Frame.load()
    pieces = (
        *_gauge(frame, span, length, feeder=True),
        *lid(frame, feeder=True),
        *feeder(frame, span, length),
        *selector(frame),
        *trays(frame),
        *guards(frame),
    )
    moving = *press.motions(frame), *lid_motions(frame), *feeder_motions(frame)
    return Assembly("sorter", pieces, (*moving, *selector_motions(frame), *tray_motions(frame)))


def _gauge(frame: Frame, span: float | None, length: float | None, *, feeder: bool = False) -> tuple[Piece, ...]:
    """Return what both gauges have, with stands and end stop set for a span and a length of shaft."""
    span = span or float(frame.support.span)
    shortest, longest = frame.lengths(span)
    return (
        *base(frame),
        *end_stop(frame, span, length or (shortest + longest) / 2),
        *stands(frame, span),
        *drive(frame, span),
        *press.press(frame),
        *electronics(frame, feeder=feeder),
    )
