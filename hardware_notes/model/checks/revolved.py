"""Tell bodies of revolution: a turn about their axis changes nothing, so their overlaps are looked for only once."""

from __future__ import annotations

import numpy as np
from build123d import Axis, Face, GeomType, Solid

from model.checks.meshes import Array

CLOSE = 1e-4  # mm, and as a sine
_axes: dict[int, tuple[Solid, Array | None]] = {}  # the solid is kept so that its id stays its own


def axis_of(solid: Solid) -> Array | None:
    """Return a point on a body's axis and its direction, shape (3, 2), in its own frame; None if it has no axis."""
    if id(solid) not in _axes:
        _axes[id(solid)] = solid, _axis(solid)
    return _axes[id(solid)][1]


def _axis(solid: Solid) -> Array | None:
    """Return the axis that all faces share."""
    faces = solid.faces()
    axes = [face.axis_of_rotation for face in faces if face.geom_type != GeomType.PLANE]
    if not axes or axes[0] is None or not all(axis is not None and axis.is_coaxial(axes[0]) for axis in axes):
        return None
    if not all(_turns(face, axes[0]) for face in faces if face.geom_type == GeomType.PLANE):
        return None
    at, along = axes[0].position, axes[0].direction
    return np.array([(at.X, along.X), (at.Y, along.Y), (at.Z, along.Z)])


def _turns(face: Face, axis: Axis) -> bool:
    """Return True for a flat face across an axis with round edges about it."""
    if face.normal_at().cross(axis.direction).length > CLOSE:
        return False
    for edge in face.edges():
        if edge.geom_type != GeomType.CIRCLE:
            return False
        off = (edge.arc_center - axis.position).cross(axis.direction)
        if off.length > CLOSE:
            return False
    return True
