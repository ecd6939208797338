"""Where screws and holes go, and how holes are cut: a place is a location whose +z points out of the material."""

from __future__ import annotations

from build123d import Location, Plane, Pos, Solid, Vector, extrude

from model.letters import lettering
from model.standard.fasteners import COUNTERSUNK_HEAD, SOCKET_HEAD
from model.standard.shapes import cone, cylinder

CLEARANCE = {2: 2.4, 2.5: 2.9, 3: 3.4, 4: 4.5, 5: 5.5, 6: 6.6, 8: 9.0, 10: 11.0}  # ISO 273, medium
_AXES = {"x": Vector(1, 0, 0), "y": Vector(0, 1, 0), "z": Vector(0, 0, 1)}
Direction = str | tuple[float, float, float] | Vector
Place = tuple[float, float, float]


def clearance(d: float) -> float:
    """Return the diameter of the hole that a screw passes through.

    >>> clearance(6)
    6.6
    """
    return CLEARANCE[d]


def tapped(d: float) -> float:
    """Return the diameter at which a tapped hole is modelled: the screw's own.

    >>> tapped(6)
    6.0
    """
    return float(d)


def _vector(direction: Direction) -> Vector:
    """Return the unit vector of "+x", "-z" or of a vector."""
    if isinstance(direction, str):
        return _AXES[direction[1]] * (-1 if direction[0] == "-" else 1)
    return Vector(*direction).normalized()


def facing(direction: Direction, at: Place, along: Direction | None = None) -> Location:
    """Return the place whose +z points in a direction.

    Parameters
    ----------
    direction : str or vector
        "+x", "-x", "+y", "-y", "+z", "-z" or three numbers: where +z points, for a screw from its point to its head.
    at : tuple of float
        The origin, mm.
    along : str or vector or None
        Where its +x points as nearly as it can; None is +x, and +y where +z lies along x.

    Returns
    -------
    Location
        The place.

    Examples
    --------
    >>> place = facing("-y", (1, 2, 3)) * Location((0, 0, 5))
    >>> [round(v, 6) for v in place.position]
    [1.0, -3.0, 3.0]
    """
    out = _vector(direction)
    if along is None:
        along = "+y" if abs(out.X) > 0.99 else "+x"
    sideways = _vector(along)
    sideways = (sideways - out * out.dot(sideways)).normalized()
    return Location(Plane(origin=at, x_dir=sideways, z_dir=out))


def drilled(shape: Solid, where: Location, diameter: float, depth: float) -> Solid:
    """Return a solid with a hole from a place along its -z.

    Parameters
    ----------
    shape : Solid
        What is drilled.
    where : Location
        Middle of the hole's mouth, +z out of the material.
    diameter, depth : float
        Of the hole, mm; a through hole may be deeper than the material.

    Returns
    -------
    Solid
        What is left.
    """
    return (shape - where * cylinder(diameter, -depth, 0)).solid()


def counterbored(shape: Solid, where: Location, d: float, depth: float, sunk: float | None = None) -> Solid:
    """Return a solid with a clearance hole for a cylinder-head screw and room for its head.

    Parameters
    ----------
    shape : Solid
        What is drilled.
    where : Location
        Middle of the mouth, +z out of the material.
    d, depth : float
        Diameter of the screw and depth of the hole, mm.
    sunk : float or None
        Depth of the room for the head, mm; None is the head's height and 0.5.

    Returns
    -------
    Solid
        What is left.
    """
    head, height, _ = SOCKET_HEAD[d]
    sunk = height + 0.5 if sunk is None else sunk
    tool = cylinder(clearance(d), -depth, 0) + cylinder(head + 0.6 + 0.05 * d, -sunk, 0)
    return (shape - where * tool).solid()


def countersunk(shape: Solid, where: Location, d: float, depth: float) -> Solid:
    """Return a solid with a clearance hole for a countersunk screw whose head ends flush.

    Parameters
    ----------
    shape : Solid
        What is drilled.
    where : Location
        Middle of the mouth, +z out of the material.
    d, depth : float
        Diameter of the screw and depth of the hole, mm.

    Returns
    -------
    Solid
        What is left.
    """
    head = COUNTERSUNK_HEAD[d][0]
    tool = cone(0.01, head, -(head - 0.01) / 2, 0) + cylinder(clearance(d), -depth, 0)
    return (shape - where * tool).solid()


def engraved(shape: Solid, text: str, at: Location, size: float = 6.0, depth: float = 0.4) -> Solid:
    """Return a solid with its number cut into the face at a place, +z out of the material.

    Parameters
    ----------
    shape : Solid
        What is marked.
    text : str
        Part number.
    at : Location
        Middle of the text; it reads along x.
    size, depth : float
        Size of the letters, whose capitals are 0.72 of it high, and depth of the cut, mm.

    Returns
    -------
    Solid
        The marked solid.
    """
    letters = extrude(lettering(text, size), depth)
    return (shape - at * Pos(0, 0, -depth) * letters).solid()
