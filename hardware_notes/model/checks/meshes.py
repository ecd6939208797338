"""Pieces as closed meshes in their places: what overlaps is cut out of meshes far faster than out of exact solids."""

from __future__ import annotations

from typing import cast

import numpy as np
from build123d import Location, Solid
from manifold3d import Error, Manifold, Mesh64
from numpy.typing import NDArray

from model.piece import Piece

Array = NDArray[np.float64]
CHORD_MM, CHORD_RAD = 0.02, 0.3  # at most, between a mesh and the surface that it stands for

_meshes: dict[int, tuple[Solid, Manifold]] = {}  # the solid is kept so that its id stays its own


class OpenMeshError(ValueError):
    """A solid whose mesh does not close, so that nothing can be cut out of it."""


def triangles(solid: Solid) -> tuple[Array, NDArray[np.int64]]:
    """Return a solid's surface: corners, shape (corners, 3), and each triangle's by their number, (triangles, 3)."""
    corners, faces = solid.tessellate(CHORD_MM, CHORD_RAD)
    points = np.array([(p.X, p.Y, p.Z) for p in corners])
    _, first, where = np.unique(np.round(points, 6), axis=0, return_index=True, return_inverse=True)
    numbers = where.reshape(-1)[np.array(faces)]
    whole = (numbers != np.roll(numbers, 1, axis=1)).all(axis=1)
    return points[first], numbers[whole]


def mesh_of(solid: Solid) -> Manifold:
    """Return the closed mesh of a solid in its own frame."""
    if id(solid) not in _meshes:
        corners, faces = triangles(solid)
        mesh = Manifold(Mesh64(corners, faces.astype(np.uint64)))
        if mesh.status() != Error.NoError or mesh.is_empty():
            raise OpenMeshError(f"The mesh of a solid of {solid.volume:.0f} mm3 is not closed: {mesh.status()}.")
        _meshes[id(solid)] = solid, mesh
    return _meshes[id(solid)][1]


def matrix(where: Location) -> Array:
    """Return a place as a matrix, shape (3, 4): turned by its left part, then moved by its right column."""
    move = where.wrapped.Transformation()
    return np.array([[move.Value(i, j) for j in (1, 2, 3, 4)] for i in (1, 2, 3)])


def placed(piece: Piece, carried: Location | None = None) -> Manifold:
    """Return a piece's mesh where it stands, or where a motion has carried it."""
    where = piece.where if carried is None else carried * piece.where
    return mesh_of(piece.part.shape).transform(matrix(where))


def own_box(solid: Solid) -> Array:
    """Return the eight corners of a solid's box in its own frame, shape (8, 3)."""
    box = np.array(mesh_of(solid).bounding_box()).reshape(2, 3)
    return np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])


def outer_box(corners: Array, place: Array) -> Array:
    """Return the limits low x, y, z, high x, y, z of corners carried to a place, shape (6,)."""
    moved = corners @ place[:, :3].T + place[:, 3]
    return np.concatenate([moved.min(axis=0), moved.max(axis=0)])


def boxes_meet(boxes: Array, others: Array, margin: float = 0.0) -> NDArray[np.bool_]:
    """Return which boxes meet which others, shape (boxes, others)."""
    low = boxes[:, None, :3] < others[None, :, 3:] + margin
    high = boxes[:, None, 3:] > others[None, :, :3] - margin
    return cast("NDArray[np.bool_]", low.all(axis=2) & high.all(axis=2))


def boxes_of(pieces: tuple[Piece, ...], carried: list[Location | None] | None = None) -> Array:
    """Return the outer box of each piece where it stands or has been carried, shape (pieces, 6)."""
    carry = carried or [None] * len(pieces)
    return np.array(
        [
            outer_box(own_box(p.part.shape), matrix(p.where if c is None else c * p.where))
            for p, c in zip(pieces, carry, strict=True)
        ]
    ).reshape(-1, 6)
