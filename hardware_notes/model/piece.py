"""A part of the gauge as the parts list counts it, and a piece: that part in its place in the assembly."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from build123d import Location, Solid

FIXED = "fixed"
DENSITY_G_MM3 = {  # handbook values
    "steel": 7.85e-3, "aluminium": 2.70e-3, "brass": 8.5e-3, "plywood": 0.68e-3, "polycarbonate": 1.20e-3,
    "PETG": 1.27e-3, "acetal": 1.41e-3, "rubber": 1.1e-3, "felt": 0.25e-3, "belt": 1.1e-3,
    "circuit board": 1.9e-3, "shaft": 1.5e-3,
    "wire": 3.0e-3,
}  # fmt: skip


class Way(StrEnum):
    """How a part is come by."""

    PRINTED = "printed"
    CUT = "cut from sheet"
    MACHINED = "sawn, drilled, tapped"
    TURNED = "turned"
    BOUGHT = "bought"


@dataclass(frozen=True)
class Part:
    """A kind of part; the parts list counts how many pieces of it there are.

    `number` is the part's for ever, a letter for where it belongs and two digits, and marks the printed or cut part
    itself. `shape` is one solid in a frame of its own: as it is printed or cut, flat on z = 0. `designation` tells a
    bought part's standard and size, a made part's stock. `mass_g` overrides volume times density, for what is hollow.
    `notes` stand on its drawing: tolerances where a thou depends on them, what to do that no line shows. `colour` is
    its mark in pictures; None is its material's.
    """

    number: str
    name: str
    way: Way
    shape: Solid
    material: str
    designation: str
    price_eur: float
    mass_g: float | None = None
    notes: tuple[str, ...] = ()
    colour: str | None = None

    @property
    def grams(self) -> float:
        """Mass of a piece of it, g."""
        return self.mass_g if self.mass_g is not None else float(self.shape.volume) * DENSITY_G_MM3[self.material]


@dataclass(frozen=True)
class Piece:
    """A part in its place, with the machine at home.

    `moves` names the group of pieces that it moves with (see motions.py). `step` is the step of the assembly that
    puts it in. `fits` are numbers of parts that it may lie in, because the fit is pressed or meant.
    """

    part: Part
    where: Location
    moves: str = FIXED
    step: str = ""
    fits: frozenset[str] = frozenset()

    @property
    def solid(self) -> Solid:
        """The part's solid where it stands."""
        return self.part.shape.moved(self.where)


def moved(pieces: Iterable[Piece], where: Location) -> tuple[Piece, ...]:
    """Return the pieces carried on as a whole, for units that stand in the gauge more than once."""
    return tuple(replace(piece, where=where * piece.where) for piece in pieces)


def of_step(pieces: Iterable[Piece], step: str) -> tuple[Piece, ...]:
    """Return the pieces with their step of the assembly set where none is yet."""
    return tuple(piece if piece.step else replace(piece, step=step) for piece in pieces)
