"""A close-up names the part and the wires that end at it, and leaves out those that pass elsewhere."""

from build123d import Location, Solid
from model.output.close_ups import reaching
from model.piece import Part, Piece, Way


def piece(number, material, size, at):
    shape = Solid.make_box(*size)
    return Piece(Part(number, "piece", Way.BOUGHT, shape, material, "a piece", 1.0), Location(at))


def test_only_wires_that_end_at_the_part_are_named():
    board = piece("E02", "circuit board", (40, 20, 2), (0, 0, 0))
    ends = piece("E30", "wire", (1, 80, 1), (10, 10, 2))
    passes = piece("E31", "wire", (80, 1, 1), (0, 40, 2))
    screw = piece("N01", "steel", (2, 2, 8), (5, 5, 0))
    assert reaching([board], [board, ends, passes, screw]) == [ends]
