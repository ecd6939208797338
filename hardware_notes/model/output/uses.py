"""What each hole of a part is for, seen in the assembly: which screw, pin, bearing or axle lies in it."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from model.output.features import Round, rounds
from model.output.meshes import way
from model.piece import Part, Piece

TAP_DRILL = {2: 1.6, 2.5: 2.05, 3: 2.5, 4: 3.3, 5: 4.2, 6: 5.0, 8: 6.8, 10: 8.5}  # ISO 2306, coarse threads
OFF_MM, OVERLAP_MM = 0.06, 0.3  # off the axis at most; in common along it at least
WIDER_MM = 1.3  # a hole than what passes through it, at most
SAME_MM = 0.011
MOST = 2  # uses that are named


@dataclass(frozen=True)
class _Rods:
    """Cylinders of pieces in their places: part and place in the list, ends of their axes, radii."""

    parts: Sequence[Part]
    owner: np.ndarray
    low: np.ndarray
    high: np.ndarray
    radius: np.ndarray


def uses(pieces: Iterable[Piece]) -> dict[str, dict[Round, str]]:
    """Return by part number what its holes are for, in a few words; holes that nothing lies in are missing."""
    pieces = list(pieces)
    found: dict[str, dict[Round, Counter[str]]] = defaultdict(lambda: defaultdict(Counter))
    shapes = {piece.part.number: rounds(piece.part.shape) for piece in pieces}
    rods = _rods(pieces, shapes)
    for index, piece in enumerate(pieces):
        if piece.part.designation.startswith(("ISO", "DIN")):
            continue
        turn, shift = way(piece.where)
        for hole in shapes[piece.part.number]:
            if hole.whole and hole.hollow:
                ends = (turn @ _end(hole, height) + shift for height in (hole.low, hole.high))
                words = _use(hole, tuple(ends), rods, index)
                if words:
                    found[piece.part.number][hole][words] += 1
    return {number: {hole: _told(counts) for hole, counts in holes.items()} for number, holes in found.items()}


def _told(counts: Counter[str]) -> str:
    return " or ".join(words for words, _ in counts.most_common(MOST))


def _end(each: Round, height: float) -> np.ndarray:
    return np.array(each.foot) + np.array(each.axis) * height


def _rods(pieces: Sequence[Piece], shapes: Mapping[str, list[Round]]) -> _Rods:
    """Return every full outer cylinder of the pieces."""
    rows = []
    for index, piece in enumerate(pieces):
        turn, shift = way(piece.where)
        for each in shapes[piece.part.number]:
            if each.whole and not each.hollow:
                rows.append(
                    (index, turn @ _end(each, each.low) + shift, turn @ _end(each, each.high) + shift, each.radius)
                )
    owner, low, high, radius = (np.array(column) for column in zip(*rows, strict=True))
    return _Rods([piece.part for piece in pieces], owner, low, high, radius)


def _use(hole: Round, ends: tuple[np.ndarray, np.ndarray], rods: _Rods, own: int) -> str:
    """Return what lies in a hole, "" if it is nothing: the thickest of what fits."""
    start, axis = ends[0], ends[1] - ends[0]
    length = float(np.linalg.norm(axis))
    axis = axis / length
    fits = (rods.owner != own) & (rods.radius <= hole.radius + SAME_MM) & (rods.radius >= hole.radius - WIDER_MM)
    along = []
    for points in (rods.low, rods.high):
        height = (points - start) @ axis
        off = np.linalg.norm(points - start - np.outer(height, axis), axis=1)
        fits &= off < OFF_MM
        along.append(height)
    common = np.minimum(np.maximum(*along), length) - np.maximum(np.minimum(*along), 0.0)
    fits &= common > OVERLAP_MM
    if not fits.any():
        return ""
    best = np.flatnonzero(fits)[rods.radius[fits].argmax()]
    return _words(rods.parts[rods.owner[best]], float(rods.radius[best]), hole)


def _words(part: Part, radius: float, hole: Round) -> str:
    """Return in words what a part does in a hole."""
    same = abs(radius - hole.radius) <= SAME_MM
    thread = re.search(r"\bM([\d.]+)(x|$|\b)", part.designation)
    if thread and part.designation.startswith(("ISO 4762", "ISO 10642", "ISO 4026", "ISO 7380")):
        d = float(thread[1])
        if abs(2 * radius - d) > 2 * SAME_MM:
            return f"head of M{thread[1]}"
        return f"M{thread[1]} thread, drill {TAP_DRILL.get(d, 0):g}" if same else f"passes M{thread[1]}"
    if part.designation.startswith("ISO 8734"):
        return f"pin {part.designation.split()[-1]}" + (f", ream {2 * radius:g} H7" if same else "")
    if "bearing" in part.designation and same:
        return "seat of the bearing"
    return f"{'for' if same else 'passes'} {part.number} {part.name}"
