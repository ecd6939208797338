"""The lid's openings keep fingers and hands from what moves."""

import sys

import pytest
from places import ROOT

sys.path.insert(0, str(ROOT / "hardware_notes"))

from frame.dimensions import Frame
from frame.guards import Opening, openings, reach_mm

FRAME = Frame.load()


@pytest.mark.parametrize(
    ("width", "is_round", "distance"),
    [
        (4.0, False, 2), (6.0, False, 10), (8.0, False, 20), (10.0, False, 80), (12.0, False, 100), (20.0, False, 120),
        (40.0, False, 850), (6.0, True, 5), (10.0, True, 20), (12.0, True, 80), (40.0, True, 120), (120.0, True, 850),
    ],
)  # fmt: skip
def test_reach_is_that_of_iso_13857(width: float, is_round: bool, distance: float) -> None:
    """Its table for persons of 14 years and above, from memory."""
    assert reach_mm(width, is_round=is_round) == distance


@pytest.mark.parametrize("feeder", [False, True])
def test_every_opening_is_far_enough_from_what_moves(feeder: bool) -> None:
    found = openings(FRAME, feeder=feeder)
    assert len({opening.name for opening in found}) == len(found) >= 5
    assert all(opening.margin_mm >= 0 for opening in found)


def test_an_opening_for_a_hand_would_not_be() -> None:
    assert Opening("a hand's", 30.0, 200.0).margin_mm < 0
    assert reach_mm(FRAME.lid.slot[1] - FRAME.lid.slot[0]) == float("inf")  # so the feeder has walls of its own


def test_a_row_of_the_thickest_shafts_passes_under_the_hood_and_a_finger_does_not_reach_the_fork() -> None:
    hood = next(opening for opening in openings(FRAME, feeder=True) if "hood's lip" in opening.name)
    assert FRAME.shaft.thickest + 5 < hood.width_mm <= 20  # the row of the table that asks for 120
    assert hood.distance_mm >= 120
    assert reach_mm(FRAME.guards.hood_under) > hood.distance_mm  # without its lip it would be
