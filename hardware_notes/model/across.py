"""Parts that stand across the shaft: drawn flat as a side view, y to the right and z up, and then set upright."""

from __future__ import annotations

from collections.abc import Iterable
from math import cos, radians, sin
from typing import NamedTuple

from build123d import Location, Solid
from frame.dimensions import Frame
from frame.rolling import Point

from model.holes import drilled, facing, tapped
from model.motion import turned_about_x
from model.piece import Part, Piece
from model.standard import set_screw
from model.standard.shapes import ALONG_X, cylinder, prism

PLATE, HUB = 6.0, 14.0  # thickness of arms and levers, and of their hubs
SIDES = (1, -1)  # right, left


class Hole(NamedTuple):
    """A hole through a side plate."""

    y: float
    z: float
    diameter: float


def upright(x: float) -> Location:
    """Return the place of a flat part whose lower face stands at x: its x, y and z become y, z and x."""
    return Location((x, 0, 0)) * ALONG_X


def plate(corners: Iterable[Point], thickness: float, holes: Iterable[Hole] = ()) -> Solid:
    """Return a plate with an outline and holes, lying on z = 0."""
    shape = prism(list(corners), 0, thickness)
    for hole in holes:
        shape -= Location((hole.y, hole.z, 0)) * cylinder(hole.diameter, -1, thickness + 1)
    return shape.solid()


def with_hub(flat: Solid, at: Point, rod: float, outer: float, screw: float, screw_deg: float = 90.0) -> Solid:
    """Return a plate of thickness `PLATE` with a hub for a rod and a set screw in the hub, seen from `screw_deg`."""
    middle = Location((at[0], at[1], 0))
    shape = flat + middle * cylinder(outer, 0, HUB) - middle * cylinder(rod, -1, HUB + 1)
    return drilled(shape.solid(), _screw_place(at, outer, screw_deg), tapped(screw), (outer - rod) / 2 + 0.5)


def _screw_place(at: Point, outer: float, screw_deg: float) -> Location:
    """Return the mouth of the set screw's hole in a hub, above the plate."""
    out = cos(radians(screw_deg)), sin(radians(screw_deg)), 0.0
    height = (PLATE + HUB) / 2
    return facing(out, (at[0] + out[0] * outer / 2, at[1] + out[1] * outer / 2, height))


def on_rod(
    part: Part, where: Location, at: Point, outer: float, screw: tuple[float, float, float]
) -> tuple[Piece, ...]:
    """Return a part with a hub in its place, and its set screw: diameter, length, direction as in `with_hub`."""
    d, length, screw_deg = screw
    return [Piece(part, where), Piece(set_screw(d, length), where * _screw_place(at, outer, screw_deg))]


def side_x(frame: Frame, outside: float) -> float:
    """Return the x of a distance beyond the outer face of the right side plate."""
    return float(frame.feeder.side_x + frame.feeder.side_sheet) + outside


def turned(pivot: Point, angle_deg: float) -> Location:
    """Return the turn about an axis along x, positive for what lies in front to go up."""
    return turned_about_x(pivot[0], pivot[1], angle_deg)
