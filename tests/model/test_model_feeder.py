"""The feeder's made parts can be made, and its links turn both fingers alike; the builds look at all else."""

import pytest
from frame import feeder as edges
from frame.dimensions import Frame
from model import gate
from model.checks.fits_bed import made_findings
from model.feeder import feeder

FRAME = Frame.load()


def test_every_printed_part_prints_and_every_sheet_part_is_cut() -> None:
    parts = {piece.part.number: piece.part for piece in feeder(FRAME)}
    assert made_findings(parts.values(), FRAME.print.bed) == []


def test_links_keep_their_length_so_that_both_fingers_turn_as_the_rod_does() -> None:
    """Equal levers on equal centres are a parallelogram: each end of the link moves as the lever's end does."""
    pieces, move = gate.gate(FRAME), gate.motions(FRAME)[0].carry(FRAME.feeder.gate_swing)
    pins = [piece for piece in pieces if piece.part.designation == "ISO 4762 M4x16"]
    assert sorted(pin.moves for pin in pins) == ["gate", "gate", "gate rod", "gate rod"]
    for pin in pins:
        gone = (move[pin.moves] * pin.where).position - pin.where.position
        assert (gone - move["gate links"].position).length == pytest.approx(0, abs=1e-6)
    assert edges.finger(FRAME, FRAME.feeder.gate_swing)[3][1] < edges.finger(FRAME)[3][1]
