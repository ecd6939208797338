"""Letters of straight strokes for part numbers: a fine nozzle makes them, and no system's fonts change them."""

from __future__ import annotations

from itertools import pairwise
from math import atan2, degrees, hypot

from build123d import Pos, Rectangle, Rot, Sketch

CAP, WIDE, NEXT, STROKE = 0.72, 0.46, 0.68, 0.12  # height, width, distance, stroke: shares of the size
GRID = 4.0, 6.0  # of the points below
Point = tuple[float, float]
_S = [(4, 6), (0, 6), (0, 3), (4, 3), (4, 0), (0, 0)]
_O = [(0, 0), (4, 0), (4, 6), (0, 6), (0, 0)]
STROKES: dict[str, list[list[Point]]] = {
    "0": [_O],
    "1": [[(2, 0), (2, 6), (1, 5)]],
    "2": [[(0, 6), (4, 6), (4, 3), (0, 3), (0, 0), (4, 0)]],
    "3": [[(0, 6), (4, 6), (4, 0), (0, 0)], [(1, 3), (4, 3)]],
    "4": [[(0, 6), (0, 3), (4, 3)], [(4, 6), (4, 0)]],
    "5": [_S],
    "6": [[(4, 6), (0, 6), (0, 0), (4, 0), (4, 3), (0, 3)]],
    "7": [[(0, 6), (4, 6), (4, 0)]],
    "8": [_O, [(0, 3), (4, 3)]],
    "9": [[(4, 3), (0, 3), (0, 6), (4, 6), (4, 0), (0, 0)]],
    "B": [[(0, 3), (3, 3), (4, 4), (4, 5), (3, 6), (0, 6), (0, 0), (3, 0), (4, 1), (4, 2), (3, 3)]],
    "D": [[(0, 0), (0, 6), (2.5, 6), (4, 4.5), (4, 1.5), (2.5, 0), (0, 0)]],
    "E": [[(4, 6), (0, 6), (0, 0), (4, 0)], [(0, 3), (3, 3)]],
    "F": [[(0, 0), (0, 6), (4, 6)], [(0, 3), (3, 3)]],
    "H": [[(0, 0), (0, 6)], [(4, 0), (4, 6)], [(0, 3), (4, 3)]],
    "L": [[(0, 6), (0, 0), (4, 0)]],
    "N": [[(0, 0), (0, 6), (4, 0), (4, 6)]],
    "P": [[(0, 0), (0, 6), (4, 6), (4, 3), (0, 3)]],
    "S": [_S],
}


def lettering(text: str, size: float) -> Sketch:
    """Return a part number as flat strokes in z = 0, centred on the origin, reading along x.

    >>> box = lettering("S02", 6.0).bounding_box().size
    >>> round(box.X, 2), round(box.Y, 2)
    (11.64, 5.04)
    """
    start = -(NEXT * (len(text) - 1) + WIDE) * size / 2
    written = Sketch()
    for index, letter in enumerate(text):
        for line in STROKES[letter]:
            for ends in pairwise(line):
                written += _stroke(ends, start + index * NEXT * size, size)
    return written


def _stroke(ends: tuple[Point, Point], left: float, size: float) -> Sketch:
    """Return a stroke between two points of the grid, beyond its ends by half its width, or less if it slants."""
    (x0, y0), (x1, y1) = (
        (left + x / GRID[0] * WIDE * size, (y / GRID[1] - 0.5) * CAP * size) for x, y in ends
    )  # fmt: skip
    width, length = STROKE * size, hypot(x1 - x0, y1 - y0)
    turn = Rot(0, 0, degrees(atan2(y1 - y0, x1 - x0)))
    return (
        Pos((x0 + x1) / 2, (y0 + y1) / 2)
        * turn
        * Rectangle(length + (width if x0 == x1 or y0 == y1 else 0.4 * width), width)
    )
