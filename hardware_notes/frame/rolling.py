"""A shaft as a disc that rolls over the narrow rails of a feeder, seen along the shaft: y to the front, z up."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import cos, hypot, radians, sin
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
Line = tuple[Point, ...]
Disc = tuple[Point, float]  # middle and radius
Values = NDArray[np.float64]

GRID = 0.02  # mm, between the places at which a height is looked up
NOTHING = -1000.0  # height where no surface is


class Surfaces(NamedTuple):
    """Edges and discs that a shaft may touch."""

    lines: tuple[Line, ...] = ()
    discs: tuple[Disc, ...] = ()

    def with_(self, other: Surfaces) -> Surfaces:
        """Return the surfaces of both."""
        return Surfaces(self.lines + other.lines, self.discs + other.discs)


class Roll(NamedTuple):
    """A way that a shaft rolls by itself: where its axis ends, its flattest slope, deg, and its longest fall, mm."""

    end: Point
    flattest_deg: float
    fall: float


def turned(points: Iterable[Point], pivot: Point, angle_deg: float) -> Line:
    """Return the points turned about a pivot, counterclockwise with y to the right and z up.

    >>> turned([(2.0, 0.0)], (1.0, 0.0), 90.0)
    ((1.0, 1.0),)
    """
    c, s = cos(radians(angle_deg)), sin(radians(angle_deg))
    gone = ((y - pivot[0], z - pivot[1]) for y, z in points)
    return tuple((round(pivot[0] + y * c - z * s, 9), round(pivot[1] + y * s + z * c, 9)) for y, z in gone)


def height(y: Values, radius: float, on: Surfaces) -> Values:
    """Return the lowest height of a shaft's axis over each y at which the shaft cuts into none of the surfaces.

    >>> flat = Surfaces(lines=(((0.0, 1.0), (10.0, 1.0)),))
    >>> height(np.array([5.0, 13.0, 14.0]), 3.0, flat).tolist()
    [4.0, 1.0, -1000.0]
    """
    highest = np.full_like(y, NOTHING)
    for line in on.lines:
        for end in line:
            highest = np.maximum(highest, _over_disc(y, end, radius))
        for start, end in pairwise(line):
            highest = np.maximum(highest, _over_edge(y, radius, start, end))
    for middle, disc_radius in on.discs:
        highest = np.maximum(highest, _over_disc(y, middle, disc_radius + radius))
    return highest


def _over_disc(y: Values, middle: Point, reach: float) -> Values:
    under = reach**2 - (y - middle[0]) ** 2
    return np.where(under >= 0, middle[1] + np.sqrt(np.maximum(under, 0)), NOTHING)


def _over_edge(y: Values, radius: float, start: Point, end: Point) -> Values:
    (y0, z0), (y1, z1) = sorted((start, end))
    length = hypot(y1 - y0, z1 - z0)
    if y1 - y0 < 1e-9:
        return np.full_like(y, NOTHING)  # upright: only its ends carry
    touched = y + radius * (z1 - z0) / length
    lifted = z0 + (touched - y0) * (z1 - z0) / (y1 - y0) + radius * (y1 - y0) / length
    return np.where((touched >= y0) & (touched <= y1), lifted, NOTHING)


def clearance(axis: Point, radius: float, past: Surfaces) -> float:
    """Return the gap between a shaft and the nearest of the surfaces; below 0 it cuts in.

    >>> round(clearance((0.0, 0.0), 3.0, Surfaces(discs=(((10.0, 0.0), 5.0),))), 6)
    2.0
    """
    gaps = [_to_edge(axis, start, end) for line in past.lines for start, end in pairwise(line)]
    gaps += [hypot(axis[0] - middle[0], axis[1] - middle[1]) - size for middle, size in past.discs]
    return min(gaps) - radius


def _to_edge(point: Point, start: Point, end: Point) -> float:
    along = end[0] - start[0], end[1] - start[1]
    to = point[0] - start[0], point[1] - start[1]
    share = (to[0] * along[0] + to[1] * along[1]) / (along[0] ** 2 + along[1] ** 2)
    share = min(1.0, max(0.0, share))
    return hypot(to[0] - share * along[0], to[1] - share * along[1])


def rest(near_y: float, radius: float, on: Surfaces, reach: float = 150.0) -> Point:
    """Return where the axis comes to rest when a shaft is laid on the surfaces at `near_y` and rolls downhill.

    >>> valley = Surfaces(lines=(((-10.0, 10.0), (0.0, 0.0), (10.0, 10.0)),))
    >>> y, z = rest(4.0, 2.0, valley)
    >>> round(y, 1), round(z, 2)
    (0.0, 2.83)
    """
    y, z = _heights(near_y, radius, on, reach)
    at = len(y) // 2
    step = 1 if z[at + 1] < z[at] else -1
    while 0 < at < len(y) - 1 and z[at + step] < z[at]:
        at += step
    return float(y[at]), float(z[at])


def roll(start_y: float, towards_y: float, radius: float, on: Surfaces) -> Roll:
    """Return how far a shaft laid on the surfaces at `start_y` rolls towards a place without climbing anywhere.

    >>> step_up = Surfaces(lines=(((-20.0, 4.0), (-8.0, 1.0)), ((-8.0, 2.0), (10.0, 0.0))))
    >>> roll(-18.0, 5.0, 3.0, step_up).end[0] < -5.0
    True
    """
    count = round(abs(towards_y - start_y) / GRID)
    y = np.linspace(start_y, towards_y, count + 1)
    z = height(y, radius, on)
    down = z[:-1] - z[1:]
    climbs = np.flatnonzero(down <= 0)
    last = int(climbs[0]) if len(climbs) else count
    if not last:
        return Roll((start_y, float(z[0])), 0.0, 0.0)
    flattest = float(np.degrees(np.arctan2(down[:last].min(), GRID)))
    steep = down[:last] > 4 * GRID  # steeper than 76 degrees is a fall
    falls = np.split(down[:last], np.flatnonzero(np.diff(steep.astype(int))) + 1)
    longest = max((float(piece.sum()) for piece in falls if piece[0] > 4 * GRID), default=0.0)
    return Roll((float(y[last]), float(z[last])), flattest, longest)


def _heights(near_y: float, radius: float, on: Surfaces, reach: float) -> tuple[Values, Values]:
    count = round(reach / GRID)
    y = near_y + GRID * np.arange(-count, count + 1)
    return y, height(y, radius, on)


def bow_that_stops(
    diameter: float, slope_deg: float, rails_x: float, length: float, friction_mm: float = 0.02
) -> float:
    """Return the bow over its whole length at which a shaft stays where it lies on two sloping rails.

    A bowed shaft turns about the line through its two places on the rails. Its centre of mass lies off that line: for a
    parabola of bow b by b ((2 x / L)^2 - 1/3). The slope turns it over the dead point only while that is below the
    radius times the slope's sine, less the arm of the rolling friction. So the rails stand best at 0.29 of the length
    from the middle. `friction_mm` is that arm: 0.02 on hard edges, about 0.3 on felt, both estimated.

    >>> round(bow_that_stops(6.0, 12.0, 310.0, 760.0), 1), round(bow_that_stops(6.0, 12.0, 310.0, 760.0, 0.3), 1)
    (1.8, 1.0)
    >>> round(bow_that_stops(6.0, 15.0, 250.0, 740.0), 1)
    6.1
    """
    off = abs((2 * rails_x / length) ** 2 - 1 / 3)
    drive = diameter / 2 * sin(radians(slope_deg)) - friction_mm * cos(radians(slope_deg))
    return drive / max(off, 1e-3)
