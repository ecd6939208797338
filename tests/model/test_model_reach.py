"""The search for screws that no key reaches: a plate with a screw, and a block over its head."""

from dataclasses import replace

import pytest
from build123d import Box, Location
from model.checks.reach import unreached_findings
from model.piece import Part, Piece, Way
from model.standard import countersunk_screw, socket_screw

STEPS = ("1 first", "2 second")
SCREW = Piece(socket_screw(5, 16), Location(), step="1 first")  # its head ends at 5, its key's leg at 30


def roof(height: float, step: str, x: float = 0.0) -> Piece:
    """Return a block of 20 x 20 x 2 over the screw's head."""
    part = Part("X01", "roof", Way.CUT, Box(20, 20, 2).solid(), "steel", "", 0.0)
    return Piece(part, Location((x, 0, height + 1)), step=step)


def codes(*pieces: Piece, afterwards: frozenset[tuple[str, str]] = frozenset()) -> list[str]:
    """Return the codes of what is found."""
    return [found.code for found in unreached_findings(pieces, STEPS, afterwards)]


@pytest.mark.parametrize(("height", "expected"), [(10, ["no key"]), (27, ["no key"]), (30.5, [])])
def test_a_key_needs_its_short_leg_over_the_head(height, expected):
    assert codes(SCREW, roof(height, "1 first")) == expected


def test_a_piece_of_a_later_step_or_beside_the_key_leaves_it_free():
    assert codes(SCREW, roof(10, "2 second")) == []
    assert codes(SCREW, roof(10, "1 first", x=13)) == []


def test_a_pair_that_is_put_together_in_that_order_is_passed_over():
    assert codes(SCREW, roof(10, "1 first"), afterwards=frozenset({(SCREW.part.number, "X01")})) == []


def test_a_piece_without_a_step_is_found():
    assert codes(SCREW, replace(roof(50, "1 first"), step="")) == ["no step"]


def test_other_screws_are_left_out():
    assert codes(Piece(countersunk_screw(5, 16), Location(), step="1 first"), roof(1, "1 first")) == []
