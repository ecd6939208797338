"""The search for what stands in a shaft's way: blocks beside, under and across a way that is known."""

import pytest
from build123d import Box, Location
from model.checks.shaft_ways import ShaftAt, in_the_way
from model.piece import FIXED, Part, Piece, Way

ACROSS = [ShaftAt((float(y), 50.0)) for y in range(-20, 21)]


def block(z: float, size: float = 10.0, moves: str = FIXED) -> Piece:
    """Return a cube with its middle at x = 100, y = 0 and a height."""
    part = Part("X01", "block", Way.CUT, Box(size, size, size).solid(), "steel", "", 0.0)
    return Piece(part, Location((100, 0, z)), moves)


def test_a_shaft_rolls_over_a_block_and_under_another():
    assert in_the_way([block(42), block(58)], 6.0, 800.0, ACROSS, "in") == []


def test_a_block_in_the_way_is_found_where_the_shaft_is_deepest_in_it():
    (found,) = in_the_way([block(50, size=20)], 6.0, 800.0, ACROSS, "in")
    assert (found.code, found.at[0]) == ("in the way", pytest.approx(100))
    assert found.amount == pytest.approx(3.14159 * 9 * 20, rel=0.01)


def test_a_block_beyond_the_shafts_end_is_not_in_the_way_until_the_shaft_is_shifted():
    assert in_the_way([block(50)], 6.0, 180.0, ACROSS, "in") == []
    assert len(in_the_way([block(50)], 6.0, 180.0, [ShaftAt((0, 50), shift=10)], "in")) == 1


def test_a_block_that_has_moved_away_is_not_in_the_way():
    gone = {"gate": Location((0, 0, -20))}
    assert in_the_way([block(50, moves="gate")], 6.0, 800.0, [ShaftAt((0, 50), gone)], "in") == []
    assert len(in_the_way([block(70, moves="gate")], 6.0, 800.0, [ShaftAt((0, 50), gone)], "in")) == 1
