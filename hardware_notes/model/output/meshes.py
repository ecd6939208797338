"""Triangles and sharp edges of parts, for pictures: made once a part, then carried to each of its places."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pyvista as pv
from build123d import Location
from model.piece import Part

SAG_MM, TURN_RAD = 0.15, 0.3  # of the triangles under a curved face
SHARP_DEG = 25.0  # above the turn between two triangles of a curved face, so that only real edges are drawn

_made: dict[int, tuple[Part, pv.PolyData, pv.PolyData]] = {}


def skin(part: Part) -> pv.PolyData:
    """Return a part's surface as triangles, in the part's own frame."""
    return _of(part)[0]


def edges(part: Part) -> pv.PolyData:
    """Return the lines along a part's sharp edges, in the part's own frame."""
    return _of(part)[1]


def placed(meshes: Iterable[tuple[pv.PolyData, Location]]) -> pv.PolyData:
    """Return meshes, each carried to its place, as a single mesh that is drawn in one go."""
    carried = [mesh.transform(matrix(where), inplace=False) for mesh, where in meshes if mesh.n_points]
    return pv.merge(carried, merge_points=False) if carried else pv.PolyData()


def matrix(where: Location) -> np.ndarray:
    """Return a place as the matrix that carries points there, shape (4, 4).

    >>> matrix(Location((1, 2, 3)))[:3, 3].tolist()
    [1.0, 2.0, 3.0]
    """
    shift = where.wrapped.Transformation()
    rows = [[shift.Value(row, column) for column in (1, 2, 3, 4)] for row in (1, 2, 3)]
    return np.array([*rows, [0.0, 0.0, 0.0, 1.0]])


def _of(part: Part) -> tuple[pv.PolyData, pv.PolyData]:
    """Return surface and sharp edges; the part is kept too, so that its identity is never given to another."""
    if id(part.shape) not in _made:
        points, triangles = part.shape.tessellate(SAG_MM, TURN_RAD)
        corners = np.array([point.to_tuple() for point in points])
        mesh = pv.PolyData.from_regular_faces(corners, np.array(triangles)).clean(tolerance=1e-4, absolute=True)
        sharp = mesh.extract_feature_edges(
            SHARP_DEG, boundary_edges=False, non_manifold_edges=False, manifold_edges=False
        )
        _made[id(part.shape)] = part, mesh, sharp
    return _made[id(part.shape)][1:]
