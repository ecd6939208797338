"""Look whether a hexagon key reaches each screw, with what stands there when the screw goes in."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence

import numpy as np
from manifold3d import Manifold

from model.checks.finding import Finding, label
from model.checks.meshes import boxes_meet, boxes_of, matrix, placed
from model.checks.screws import screw_of
from model.piece import Piece
from model.standard.fasteners import SOCKET_HEAD

SHORT_LEG = {2: 14, 2.5: 16, 3: 18, 4: 20, 5: 25, 6: 28, 8: 32}  # of the key by the screw, ISO 2936, from memory
ROUND = 1.16  # a hexagon's corners over its flats
SHARE = 0.02  # of the key's way may be touched


def unreached_findings(
    pieces: Iterable[Piece], steps: Sequence[str], put_on_afterwards: Container[tuple[str, str]] = ()
) -> list[Finding]:
    """Return the cylinder-head screws whose head a key's short leg does not reach, each with what is in its way.

    Pieces of later steps are not there yet; those of the screw's own step are, but for pairs of a screw's and a piece's
    number in `put_on_afterwards`. A piece without a step of the assembly is found as "no step".
    """
    pieces = tuple(pieces)
    found = [Finding("no step", (label(p),), 0.0, _origin(p)) for p in pieces if p.step not in steps]
    order = [steps.index(p.step) if p.step in steps else -1 for p in pieces]
    boxes = boxes_of(pieces)
    for i, piece in enumerate(pieces):
        leg = _leg(piece)
        if leg is None:
            continue
        for j in np.flatnonzero(boxes_meet(np.array([leg.bounding_box()]), boxes)[0]):
            afterwards = (piece.part.number, pieces[j].part.number) in put_on_afterwards
            if j == i or order[j] > order[i] or afterwards:
                continue
            share = float((leg ^ placed(pieces[j])).volume()) / float(leg.volume())
            if share > SHARE:
                found.append(Finding("no key", (label(piece), label(pieces[j])), share, _origin(piece)))
    return found


def _leg(piece: Piece) -> Manifold | None:
    """Return where a key's short leg is when it stands in a screw's head; None for a piece that takes no such key."""
    screw = screw_of(piece)
    if screw is None or not screw.kind.startswith("ISO 4762"):
        return None
    _, height, key = SOCKET_HEAD[screw.d]
    leg = Manifold.cylinder(SHORT_LEG[screw.d], key * ROUND / 2, key * ROUND / 2, 24).translate((0, 0, height))
    return leg.transform(matrix(piece.where))


def _origin(piece: Piece) -> tuple[float, float, float]:
    """Return where a piece's origin stands."""
    at = piece.where.position
    return at.X, at.Y, at.Z
