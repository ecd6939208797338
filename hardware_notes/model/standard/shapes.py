"""The few solids that standard parts are put together from."""

from __future__ import annotations

from build123d import Align, Box, Circle, Cone, Cylinder, Location, Plane, Polygon, RegularPolygon, Solid, extrude

ALONG_X = Location(Plane((0, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)))  # x, y, z of a section become y, z, x
_UP = (Align.CENTER, Align.CENTER, Align.MIN)


def cylinder(diameter: float, low: float, high: float) -> Cylinder:
    """Return a cylinder about z between two heights."""
    return Location((0, 0, low)) * Cylinder(diameter / 2, high - low, align=_UP)


def cone(lower: float, upper: float, low: float, high: float) -> Cone:
    """Return a truncated cone about z between two heights, by its diameters there."""
    return Location((0, 0, low)) * Cone(lower / 2, upper / 2, high - low, align=_UP)


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Box:
    """Return a box between its limits along x, y and z."""
    middle = Location(((x[0] + x[1]) / 2, (y[0] + y[1]) / 2, (z[0] + z[1]) / 2))
    return middle * Box(x[1] - x[0], y[1] - y[0], z[1] - z[0])


def hexagon(across_flats: float, low: float, high: float) -> Solid:
    """Return a hexagonal prism about z between two heights."""
    return Location((0, 0, low)) * extrude(RegularPolygon(across_flats / 2, 6, major_radius=False), high - low)


def ring(outer: float, inner: float, low: float, high: float) -> Solid:
    """Return a ring about z between two heights, by its diameters."""
    return Location((0, 0, low)) * extrude(Circle(outer / 2) - Circle(inner / 2), high - low)


def prism(corners: list[tuple[float, float]], low: float, high: float) -> Solid:
    """Return a prism along z between two heights over a polygon in x and y."""
    return Location((0, 0, low)) * extrude(Polygon(*corners, align=None), high - low, dir=(0, 0, 1))
