"""The feeder's guards close it, come off with a key, and leave shafts, trays and the opening lid their way."""

import pytest
from frame.dimensions import Frame
from frame.feeder_places import front_y
from model import feeder_guards
from model.assembly import sorter
from model.checks.fits_bed import made_findings
from model.checks.held import loose_findings
from model.checks.screws import screw_findings
from model.electronics import electronics
from model.lid import lid, motions

FRAME = Frame.load()
GUARDS = feeder_guards.guards(FRAME)


def solid(number):
    return next(piece.solid for piece in (*GUARDS, *lid(FRAME, feeder=True)) if piece.part.number == number)


def test_every_screw_holds_and_every_piece_touches_another() -> None:
    numbers = {piece.part.number for piece in GUARDS}
    pieces = sorter().pieces
    assert [found for found in screw_findings(pieces) if any(number in str(found) for number in numbers)] == []
    assert loose_findings(pieces) == []


def test_every_part_is_printed_and_cut() -> None:
    assert made_findings({piece.part.number: piece.part for piece in GUARDS}.values(), FRAME.print.bed) == []


def test_each_chipboard_screw_has_its_hole_in_a_side_plate() -> None:
    screws = [piece for piece in GUARDS if piece.part.name == "chipboard screw"]
    holes = feeder_guards.bores(FRAME)
    assert len(screws) == len(holes["left"]) + len(holes["right"])


@pytest.mark.parametrize("turned", [5.0, 10.0, 20.0, 40.0])
def test_the_lid_opens_past_the_hood(turned: float) -> None:
    carry = motions(FRAME)[0].carry(turned)
    apron = next(piece for piece in lid(FRAME, feeder=True) if piece.part.number == "L35")
    assert (carry[apron.moves] * solid("L35")).distance_to(solid("L30")) > 1.0


def test_hood_and_panel_reach_from_side_plate_to_side_plate() -> None:
    for number in ("L30", "L36"):
        box = solid(number).bounding_box()
        assert FRAME.feeder.side_x - 2 <= box.max.X < FRAME.feeder.side_x
        assert pytest.approx(-box.max.X) == box.min.X
    assert pytest.approx(front_y(FRAME)) == solid("L36").bounding_box().max.Y


def test_the_servos_supply_comes_with_the_feeder_alone() -> None:
    supply = {"E15", "E16", "E17", "E18", "E19"}
    without, with_it = ({p.part.number for p in electronics(FRAME, feeder=feeder)} for feeder in (False, True))
    assert not supply & without
    assert supply <= with_it
