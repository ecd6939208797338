"""Triangles and sharp edges of parts, for pictures: made once a part, then carried to each of its places."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pyvista as pv
from build123d import Location

from model.piece import Part, Piece

SAG_MM, TURN_RAD = 0.1, 0.2  # of the triangles under a curved face
SHARP_DEG = 25.0  # above the turn between two triangles of a curved face, so that only real edges are drawn

_made: dict[int, tuple[Part, pv.PolyData, pv.PolyData]] = {}


def skin(part: Part) -> pv.PolyData:
    """Return a part's surface as triangles, in the part's own frame."""
    return _of(part)[1]


def edges(part: Part) -> pv.PolyData:
    """Return the lines along a part's sharp edges, in the part's own frame."""
    return _of(part)[2]


def skins(pieces: Iterable[Piece]) -> pv.PolyData:
    """Return the surfaces of pieces in their places as a single mesh, which is drawn in one go."""
    return _together((skin(piece.part), piece.where) for piece in pieces)


def outlines(pieces: Iterable[Piece]) -> pv.PolyData:
    """Return the sharp edges of pieces in their places as a single mesh."""
    return _together((edges(piece.part), piece.where) for piece in pieces)


def corners(pieces: Iterable[Piece]) -> np.ndarray:
    """Return the points of the surfaces of pieces in their places, mm, shape (points, 3)."""
    return np.vstack(
        [skin(piece.part).points @ turn.T + shift for piece in pieces for turn, shift in [way(piece.where)]]
    )


def way(where: Location) -> tuple[np.ndarray, np.ndarray]:
    """Return a place as turn and shift: matrix of shape (3, 3) and vector of shape (3,), mm.

    >>> way(Location((1, 2, 3)))[1].tolist()
    [1.0, 2.0, 3.0]
    """
    found = where.wrapped.Transformation()
    rows = np.array([[found.Value(row, column) for column in (1, 2, 3, 4)] for row in (1, 2, 3)])
    return rows[:, :3], rows[:, 3]


def _together(meshes: Iterable[tuple[pv.PolyData, Location]]) -> pv.PolyData:
    carried = []
    for mesh, where in meshes:
        if mesh.n_points:
            turn, shift = way(where)
            carried.append(mesh.copy(deep=True))
            carried[-1].points = mesh.points @ turn.T + shift
    return carried[0].append_polydata(*carried[1:]) if carried else pv.PolyData()


def _of(part: Part) -> tuple[Part, pv.PolyData, pv.PolyData]:
    """Return a part with surface and edges; the part is kept, so that its identity never passes to another."""
    if id(part.shape) not in _made:
        points, triangles = part.shape.tessellate(SAG_MM, TURN_RAD)
        places = np.array([tuple(point) for point in points])
        mesh = pv.PolyData.from_regular_faces(places, np.array(triangles)).clean(tolerance=1e-4, absolute=True)
        sharp = mesh.extract_feature_edges(
            SHARP_DEG, boundary_edges=False, non_manifold_edges=False, manifold_edges=False
        )
        sharp.clear_data()
        _made[id(part.shape)] = part, mesh, sharp
    return _made[id(part.shape)]
