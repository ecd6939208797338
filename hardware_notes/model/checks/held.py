"""Look whether each piece touches the rest of its machine, and whether a part number means one part only."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from model.checks.finding import Finding, label
from model.checks.meshes import boxes_meet, boxes_of, placed
from model.piece import Part, Piece

TOUCH_MM = 0.3  # gaps of sliding fits count as touching


def loose_findings(pieces: Iterable[Piece]) -> list[Finding]:
    """Return a piece of each group that touches nothing of the largest group; its amount counts the group's pieces."""
    pieces = tuple(pieces)
    boxes = boxes_of(pieces)
    meshes = [placed(piece) for piece in pieces]
    group = list(range(len(pieces)))
    for i, j in np.argwhere(np.triu(boxes_meet(boxes, boxes, margin=TOUCH_MM), 1)):
        mine, other = _first(group, int(i)), _first(group, int(j))
        if mine != other and meshes[i].min_gap(meshes[j], 2 * TOUCH_MM) <= TOUCH_MM:
            group[other] = mine
    members = defaultdict(list)
    for i in range(len(pieces)):
        members[_first(group, i)].append(i)
    found = []
    for loose in sorted(members.values(), key=len)[:-1]:
        x, y, z = ((boxes[loose[0], :3] + boxes[loose[0], 3:]) / 2).tolist()
        found.append(Finding("loose", tuple(label(pieces[i]) for i in loose[:3]), float(len(loose)), (x, y, z)))
    return found


def _first(group: list[int], i: int) -> int:
    """Return the piece that stands for the group of piece `i`."""
    while group[i] != i:
        group[i] = group[group[i]]
        i = group[i]
    return i


def number_findings(pieces: Iterable[Piece]) -> list[Finding]:
    """Return the pieces whose part differs from another of the same number; their amount is the volume's difference."""
    first: dict[str, Piece] = {}
    found: dict[tuple[str, str], Finding] = {}
    for piece in pieces:
        known = first.setdefault(piece.part.number, piece)
        mine, other = piece.part, known.part
        differs = float(mine.shape.volume) - float(other.shape.volume)
        if abs(differs) > 0.01 or _kind(mine) != _kind(other):
            names = (label(known), label(piece))
            place = piece.where.position
            found[names] = Finding("two parts", names, differs, (place.X, place.Y, place.Z))
    return list(found.values())


def _kind(part: Part) -> tuple[str, ...]:
    """Return what the parts list says of a part."""
    return part.name, part.way, part.designation, part.material
