"""The searches for pieces that hang in the air and for numbers that mean two parts."""

from dataclasses import replace

import pytest
from build123d import Box, Location
from model.checks.held import loose_findings, number_findings
from model.piece import Part, Piece, Way
from model.standard import bearing, dowel

CUBE = Part("X01", "block", Way.CUT, Box(10, 10, 10).solid(), "steel", "", 0.0)


def row(*places: float) -> list[Piece]:
    """Return cubes of 10 mm with their middles along x."""
    return [Piece(CUBE, Location((x, 0, 0))) for x in places]


def test_pieces_that_touch_hold_each_other():
    assert loose_findings(row(0, 10, 20.2)) == []


def test_a_piece_in_the_air_is_loose_and_two_that_touch_each_other_are_loose_together():
    (found,) = loose_findings(row(0, 10, 21))
    assert (found.code, found.amount, found.at) == ("loose", 1, pytest.approx((21, 0, 0)))
    (found,) = loose_findings(row(0, 10, 20, 40, 50))
    assert found.amount == 2


def test_a_pin_in_its_bearing_is_held():
    assert loose_findings([Piece(bearing(6, 13, 5), Location()), Piece(dowel(6, 20), Location((0, 0, -3)))]) == []


def test_a_number_means_one_part():
    other = replace(CUBE, shape=Box(10, 10, 11).solid())
    assert number_findings(row(0, 10)) == []
    (found,) = number_findings([*row(0), Piece(other, Location((20, 0, 0)))])
    assert (found.code, found.amount, found.at) == ("two parts", pytest.approx(100), pytest.approx((20, 0, 0)))
    assert len(number_findings([*row(0), Piece(replace(CUBE, material="brass"), Location())])) == 1
