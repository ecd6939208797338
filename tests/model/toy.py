"""A beam with two plates, printed brackets and a roller: pieces enough to try every kind of output on."""

from build123d import Cylinder, Location, Pos, Rot, Solid
from model.holes import drilled, facing
from model.piece import Part, Piece, Way
from model.standard.fasteners import socket_screw
from model.standard.profiles import profile


def plate() -> Part:
    """Return a plate with four holes 6.6, two of 4 that are 8 deep, a counterbore 13, and one of 3 from the front."""
    solid = Solid.make_box(80, 48, 10)
    for x, y, diameter, depth in (
        (10, 10, 6.6, 20), (70, 10, 6.6, 20), (10, 38, 6.6, 20), (70, 38, 6.6, 20),
        (25, 24, 4, 8), (55, 24, 4, 8), (40, 24, 13, 5), (40, 24, 8, 12),
    ):  # fmt: skip
        solid = drilled(solid, facing("+z", (x, y, 10)), diameter, depth)
    solid = drilled(solid, facing("-y", (20, 0, 5)), 3, 12)
    return Part("S01", "plate", Way.CUT, solid, "aluminium", "sheet 10", 4.0, notes=("flat to 0.05",))


def roller() -> Part:
    """Return a roller: 30 over 8 mm, 16 over the next 6, bore 6."""
    solid = Pos(0, 0, 4) * Cylinder(15, 8) + Pos(0, 0, 11) * Cylinder(8, 6) - Cylinder(3, 60)
    return Part("S02", "roller", Way.TURNED, solid.solid(), "steel", "round bar 32", 6.0)


def bracket() -> Part:
    """Return a printed angle 40 x 30 x 40 of 5 mm."""
    solid = (Solid.make_box(40, 30, 5) + Solid.make_box(5, 30, 40)).solid()
    return Part("S03", "bracket", Way.PRINTED, solid, "PETG", "", 0.5)


def beam() -> Part:
    """Return a sawn profile."""
    return profile(40, 80, 400, number="B01")


def pieces() -> tuple[Piece, ...]:
    """Return a beam, on it two plates with four screws each, and later a roller and a screw in each plate."""
    flat, wheel, angle, screws = plate(), roller(), bracket(), socket_screw(6, 16)
    placed = [Piece(beam(), Location((0, 0, -40)), step="1 base")]
    for x in (-120, 120):
        at = Location((x - 40, -24, 0))
        placed.append(Piece(flat, at, step="2 stands"))
        placed += [
            Piece(screws, at * facing("+z", (px, py, 10)), step="2 stands") for px in (10, 70) for py in (10, 38)
        ]
        placed.append(Piece(wheel, Location((x, 0, 60)) * Rot(0, 90, 0), step="3 drive"))
        placed.append(Piece(socket_screw(4, 12), at * facing("+z", (25, 24, 14)), step="3 drive"))
        placed.append(Piece(angle, Location((x - 30, -15, 10)), step="3 drive"))
    return tuple(placed)


def builds() -> dict[str, tuple[Piece, ...]]:
    """Return two builds: all, and what the first two steps put in."""
    everything = pieces()
    return {"bare": tuple(piece for piece in everything if piece.step < "3"), "whole": everything}
