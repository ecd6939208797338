"""What stands in the way of shafts of all sizes: laid in by hand, fed, sorted out, and carried back."""

from __future__ import annotations

from dataclasses import replace

from frame.dimensions import Frame

from model.assembly import fed_by_hand, sorter
from model.checks.finding import Finding
from model.checks.shaft_ways import ShaftAt, in_the_way
from model.feeder_ways import coming, coming_back, going

LID = "lid"
HAND_MM = 60.0  # in front of the rollers, where a hand brings a shaft
STANDARDS = (6.0, 8.0, 10.0)  # diameters of check standards
CLEAR_OF_STOP_MM = 1.0
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


def fed_findings(frame: Frame, span: float) -> list[Finding]:
    """Return what stands in the way of shafts that the feeder brings into the gauge and takes out on a span.

    They come in clear of the end stop, as the hopper's guides are set, and have walked to it when they go.
    """
    found = []
    for length in frame.lengths(span):
        pieces, shift = sorter(span, length).pieces, frame.stop_x(length) + length / 2
        for diameter in diameters(frame):
            come = [replace(place, shift=shift + CLEAR_OF_STOP_MM) for place in coming(frame, diameter)]
            go = [replace(place, shift=shift) for place in going(frame, diameter)]
            found += in_the_way(pieces, diameter, length, come, f"fed on {span:g}")
            found += in_the_way(pieces, diameter, length, go, f"taken out on {span:g}")
    return found


def carried_back_findings(frame: Frame) -> list[Finding]:
    """Return what stands in the way of the check standard on its way from its place back into the gauge."""
    found = []
    for length in frame.lengths(frame.support.span):
        pieces, shift = sorter(length=length).pieces, frame.stop_x(length) + length / 2
        for diameter in STANDARDS:
            places = [replace(place, shift=shift) for place in coming_back(frame, diameter)]
            found += in_the_way(pieces, diameter, length, places, "carried back")
    return found
