"""The feeder up to the selector can be put together and moves past itself, the gauge and the shaft that it carries."""

import pytest
from frame import feeder as edges
from frame.dimensions import Frame
from model import feeder_ways, gate
from model.assembly import fed_by_hand
from model.checks.fits_bed import made_findings
from model.checks.held import loose_findings
from model.checks.overlap import overlaps
from model.checks.screws import screw_findings
from model.checks.shaft_ways import in_the_way
from model.feeder import feeder, motions

FRAME = Frame.load()
SPANS = (FRAME.support.span, FRAME.support.short_span)
SET_TO_LENGTH = {"F07", "F05", "B04", "B05", "B06", "N93"}  # guides, their blocks and the end stop: set for each batch


def whole(span):
    return feeder(FRAME) + fed_by_hand(span).pieces


@pytest.mark.parametrize("span", SPANS)
def test_nothing_overlaps_whatever_moves_and_wherever_the_stands_are(span) -> None:
    assert overlaps(whole(span), motions(FRAME)) == []


def test_every_screw_holds_and_every_piece_touches_another() -> None:
    pieces = whole(FRAME.support.span)
    assert screw_findings(pieces) == []
    assert loose_findings(pieces) == []


def test_every_printed_part_prints_and_every_sheet_part_is_cut() -> None:
    parts = {piece.part.number: piece.part for piece in feeder(FRAME)}
    assert made_findings(parts.values(), FRAME.print.bed) == []


@pytest.mark.parametrize(
    ("span", "length"),
    [(SPANS[0], FRAME.shaft.shortest), (SPANS[0], FRAME.shaft.longest), (SPANS[1], FRAME.shaft.cut_shortest)],
)
def test_a_shaft_rolls_in_out_and_back_past_all_solids(span, length) -> None:
    pieces = [piece for piece in whole(span) if piece.part.number not in SET_TO_LENGTH]
    ways = {"in": feeder_ways.coming, "out": feeder_ways.going, "back": feeder_ways.coming_back}
    for name, way in ways.items():
        for diameter in (6.0, 10.0) if name == "back" else (FRAME.shaft.thinnest, 6.0, FRAME.shaft.thickest):
            assert in_the_way(pieces, diameter, length, way(FRAME, diameter), name) == []


def test_the_levers_turn_the_fingers_as_far_as_the_rod_turns() -> None:
    """Equal levers on equal centres are a parallelogram: each end of the link moves as the lever's end does."""
    move = gate.motions(FRAME)[0].carry(FRAME.feeder.gate_swing)
    pins = [piece for piece in gate.gate(FRAME) if piece.part.designation == "ISO 4762 M4x16"]
    link = next(piece for piece in gate.gate(FRAME) if piece.part.number == "F17")
    gone = move["gate links"].position
    for pin in pins:
        before, after = pin.where.position, (move[pin.moves] * pin.where).position
        assert (after - before - gone).length == pytest.approx(0, abs=1e-6)
    assert link.moves == "gate links"
    assert edges.finger(FRAME, FRAME.feeder.gate_swing)[3][1] < edges.finger(FRAME)[3][1]
