"""The places that shafts take in the gauge: at rest on the rollers and laid in by hand."""

from __future__ import annotations

from frame.dimensions import Frame

from model.assembly import fed_by_hand
from model.checks.finding import Finding
from model.checks.shaft_ways import ShaftAt, in_the_way

LID = "lid"
HAND_MM = 60.0  # in front of the rollers, where a hand brings a shaft
OVER_MM = 1.0  # over the front roller


def diameters(frame: Frame) -> tuple[float, ...]:
    """Return the diameters that are looked at: the thinnest, the usual and the thickest."""
    return frame.shaft.thinnest, frame.shaft.usual, frame.shaft.thickest


def laid_in(frame: Frame, diameter: float, shift: float = 0.0) -> list[ShaftAt]:
    """Return a shaft's places from the hand over the front roller down into the nip."""
    rest, over = frame.shaft_z(diameter), frame.roller_top_z + diameter / 2 + OVER_MM
    across = [(HAND_MM - i, over) for i in range(int(HAND_MM) + 1)]
    down = [(0.0, rest + (over - rest) * (1 - i / 8)) for i in range(9)]
    return [ShaftAt(axis, shift=shift) for axis in across + down]


def by_hand_findings(frame: Frame, span: float) -> list[Finding]:
    """Return what stands in the way of shafts of all sizes that are laid in by hand on a span, the lid open."""
    found = []
    for length in frame.lengths(span):
        pieces = [piece for piece in fed_by_hand(span, length).pieces if piece.moves != LID]
        shift = frame.stop_x(length) + length / 2
        for diameter in diameters(frame):
            found += in_the_way(pieces, diameter, length, laid_in(frame, diameter, shift), f"laid in on {span:g}")
    return found
