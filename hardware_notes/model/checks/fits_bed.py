"""Look whether each printed part fits the bed and prints without supports, and whether each sheet part can be cut."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from manifold3d import Manifold

from model.checks.finding import Finding
from model.checks.meshes import Array, mesh_of
from model.piece import Part, Way

STEEPEST_DEG = 47.0  # of an overhang, from the vertical: 45 degrees, and 2 for the facets of a curve
BRIDGE_MM = 12.0  # a gap that a printer spans in the air
LEDGE_MM = 0.8  # an overhang that narrow is laid over the edge: engraved letters, small chamfers
LAYER_MM = 0.2
FOOTPRINT = 0.15  # least share of the part's outline that lies on the bed
ENGRAVED_MM = 0.4
GRAIN_MM = 1.5  # between the points of an overhang that are looked at
_TURNS = np.radians(np.arange(0, 180, 15))


def made_findings(parts: Iterable[Part], bed_mm: float) -> list[Finding]:
    """Return the printed parts that do not fit or do not print, and the sheet parts that are not cut from a sheet."""
    found = []
    for part in parts:
        if part.way is Way.PRINTED:
            found += print_findings(part, bed_mm)
        elif part.way is Way.CUT:
            found += sheet_findings(part)
    return found


def _finding(code: str, part: Part, amount: float, at: Array) -> Finding:
    """Return a finding with a part, its place in the part's own frame."""
    return Finding(code, (f"{part.number} {part.name}",), float(amount), (float(at[0]), float(at[1]), float(at[2])))


def print_findings(part: Part, bed_mm: float) -> list[Finding]:
    """Return what keeps a part from being printed.

    "bed" has its longest side, mm; "floor" the height of its lowest point, mm; "footprint" the share of its outline
    that lies on the bed; "overhang" the area that nothing carries, mm2.
    """
    mesh = mesh_of(part.shape)
    box = np.array(mesh.bounding_box()).reshape(2, 3)
    size, middle = box[1] - box[0], box.mean(axis=0)
    found = []
    if size.max() > bed_mm:
        found.append(_finding("bed", part, size.max(), middle))
    if abs(box[0, 2]) > 0.01:
        return [*found, _finding("floor", part, box[0, 2], middle)]
    share = mesh.slice(LAYER_MM / 2).area() / mesh.project().area()
    if share < FOOTPRINT:
        found.append(_finding("footprint", part, share, middle))
    return found + _overhangs(part, mesh)


def _overhangs(part: Part, mesh: Manifold) -> list[Finding]:
    """Return the overhangs of a part, those of one height together."""
    raw = mesh.to_mesh64()
    corners = np.asarray(raw.vert_properties)[:, :3][np.asarray(raw.tri_verts).astype(np.int64)]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(across, axis=1) / 2
    down = -across[:, 2] / np.maximum(2 * area, 1e-12)
    hangs = (down > np.sin(np.radians(STEEPEST_DEG))) & (corners[:, :, 2].max(axis=1) > LAYER_MM) & (area > 1e-4)
    groups: dict[float, list[Array]] = {}
    for triangle in corners[hangs]:
        groups.setdefault(_support_height(triangle), []).append(triangle)
    found = []
    for height, triangles in groups.items():
        points = np.concatenate([_grains(triangle) for triangle in triangles])
        loose = ~_carried(mesh, points[:, :2], height)
        if loose.any():
            total = sum(_area(triangle) for triangle in triangles)
            found.append(_finding("overhang", part, total * loose.mean(), points[loose].mean(axis=0)))
    return found


def _support_height(triangle: Array) -> float:
    """Return the height of the layer under a triangle, mm."""
    return round(float(triangle[:, 2].min()) - LAYER_MM / 2, 1)


def _area(triangle: Array) -> float:
    """Return the area of a triangle, mm2."""
    return float(np.linalg.norm(np.cross(triangle[1] - triangle[0], triangle[2] - triangle[0])) / 2)


def _grains(triangle: Array) -> Array:
    """Return points spread evenly over a triangle, shape (points, 3); its middle if it is small."""
    sides = np.linalg.norm(triangle - np.roll(triangle, 1, axis=0), axis=1)
    n = int(np.ceil(sides.max() / GRAIN_MM))
    shares = [((i + 1 / 3) / n, (j + 1 / 3) / n) for i in range(n) for j in range(n - i)]
    weights = np.array([(a, b, 1 - a - b) for a, b in shares])
    return weights @ triangle


def _carried(mesh: Manifold, points: Array, height: float) -> Array:
    """Return which points lie over material, near its edge or under a bridge between two edges, shape (points,)."""
    layer = mesh.slice(max(height, LAYER_MM / 4)).to_polygons()
    if not layer:
        return np.zeros(len(points), dtype=bool)
    starts = np.concatenate([np.asarray(polygon)[:, :2] for polygon in layer])
    ends = np.concatenate([np.roll(np.asarray(polygon)[:, :2], -1, axis=0) for polygon in layer])
    carried = np.zeros(len(points), dtype=bool)
    for turn in _TURNS:
        ahead, behind, inside = _hits(points, np.array([np.cos(turn), np.sin(turn)]), starts, ends)
        carried |= inside | (ahead + behind <= BRIDGE_MM) | (np.minimum(ahead, behind) <= LEDGE_MM)
    return carried


def _hits(points: Array, along: Array, starts: Array, ends: Array) -> tuple[Array, Array, Array]:
    """Return how far the edges lie ahead and behind of each point, mm, and which points lie inside; shape (points,)."""
    across = np.array([-along[1], along[0]])
    first, last = starts @ across, ends @ across  # an edge is crossed where its two ends lie on two sides
    level = points @ across
    crossed = (first[None] > level[:, None]) != (last[None] > level[:, None])
    share = (level[:, None] - first[None]) / np.where(first == last, 1.0, last - first)[None]
    where = (starts @ along)[None] + share * ((ends - starts) @ along)[None] - (points @ along)[:, None]
    ahead = np.where(crossed & (where >= 0), where, np.inf).min(axis=1)
    behind = np.where(crossed & (where < 0), -where, np.inf).min(axis=1)
    return ahead, behind, (crossed & (where >= 0)).sum(axis=1) % 2 == 1


def sheet_findings(part: Part) -> list[Finding]:
    """Return what keeps a part from being cut from a sheet: "sheet" with the area of its faces that lie aslant, mm2."""
    raw = mesh_of(part.shape).to_mesh64()
    corners = np.asarray(raw.vert_properties)[:, :3][np.asarray(raw.tri_verts).astype(np.int64)]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(across, axis=1) / 2
    upright = np.abs(across[:, 2]) < 0.02 * 2 * area
    low, high = corners[:, :, 2].min(), corners[:, :, 2].max()
    depth = np.minimum(corners[:, :, 2].max(axis=1) - low, high - corners[:, :, 2].min(axis=1))
    wrong = ~upright & (depth > ENGRAVED_MM + 0.01) & (area > 1e-4)
    found = [_finding("floor", part, low, corners.mean(axis=(0, 1)))] if abs(low) > 0.01 else []
    if wrong.any():
        found.append(_finding("sheet", part, area[wrong].sum(), corners[wrong].mean(axis=(0, 1))))
    return found
