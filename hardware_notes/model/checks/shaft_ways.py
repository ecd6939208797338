"""Look for what stands in the way of a shaft: at rest, rolling in, lifted out, or carried back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from build123d import Location
from manifold3d import Manifold

from model.checks.finding import Finding, label
from model.checks.meshes import Array, boxes_meet, boxes_of, matrix, mesh_of, outer_box, own_box
from model.checks.overlap import shared
from model.piece import Piece

SIDES = 64


@dataclass(frozen=True)
class ShaftAt:
    """A shaft's axis, y and z, and where the groups that have moved are while it is there; `shift` is along x, mm."""

    axis: tuple[float, float]
    carry: Mapping[str, Location] = field(default_factory=dict)
    shift: float = 0.0


def in_the_way(
    pieces: Iterable[Piece], diameter: float, length: float, places: Iterable[ShaftAt], way: str
) -> list[Finding]:
    """Return the pieces that a shaft cuts into at any of its places, each with the worst of them.

    What it only rolls on is not in the way: a depth of a few hundredths is left out as with other overlaps. `way` goes
    into the findings' pose.
    """
    pieces = tuple(pieces)
    body = Manifold.cylinder(length, diameter / 2, diameter / 2, SIDES, center=True).rotate((0, 90, 0))
    homes = [matrix(piece.where) for piece in pieces]
    corners = [own_box(piece.part.shape) for piece in pieces]
    boxes_at_home = boxes_of(pieces)
    found: dict[int, Finding] = {}
    for place in places:
        spots, boxes = list(homes), boxes_at_home.copy()
        for i, piece in enumerate(pieces):
            if piece.moves in place.carry:
                spots[i] = _carried(homes[i], matrix(place.carry[piece.moves]))
                boxes[i] = outer_box(corners[i], spots[i])
        shaft = body.translate((place.shift, *place.axis))
        for i in np.flatnonzero(boxes_meet(np.array([shaft.bounding_box()]), boxes)[0]):
            both = shared(shaft, mesh_of(pieces[i].part.shape).transform(spots[i]))
            if both and (i not in found or found[i].amount < both[0]):
                pose = f"{way}, {diameter:g} mm at ({place.axis[0]:.1f}, {place.axis[1]:.1f})"
                found[i] = Finding("in the way", (label(pieces[i]),), both[0], both[1], pose)
    return list(found.values())


def _carried(home: Array, move: Array) -> Array:
    """Return a piece's place after a move."""
    place = move[:, :3] @ home
    place[:, 3] += move[:, 3]
    return place
