"""What a workshop asks of a solid: its holes, turned faces and steps, found in the geometry."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import degrees, pi

from build123d import Face, GeomType, Solid, Vector
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.gp import gp_Ax1

NEAR = 1e-3  # mm, between what is meant to be the same
WHOLE = 0.97  # of a turn: more than that is a hole, less is a rounded corner or the end of a slot
ENGRAVED_MM = 0.4  # depth of part numbers
LEAST_MM2 = 4.0  # of a face that counts as a step: less is an engraved number


@dataclass(frozen=True)
class Round:
    """A round hole, boss or rounded corner: all faces of one cylinder together.

    `axis` is a unit vector whose largest component is positive; `foot` the axis' point nearest to the origin. It
    reaches from `low` to `high` along the axis and over `turn` as a share of a full turn; `hollow` is true of holes.
    `opens` says whether its ends at `low` and at `high` are free of material.
    """

    axis: tuple[float, float, float]
    foot: tuple[float, float, float]
    radius: float
    low: float
    high: float
    turn: float
    hollow: bool
    opens: tuple[bool, bool]

    @property
    def through(self) -> bool:
        """True of a hole that is open at both ends."""
        return all(self.opens)

    @property
    def whole(self) -> bool:
        """True of a full turn."""
        return self.turn > WHOLE

    @property
    def along(self) -> str:
        """The axis that it is parallel to, "x", "y" or "z", or "" if it is askew."""
        for name, value in zip("xyz", self.axis, strict=True):
            if value > 1 - 1e-6:
                return name
        return ""


def rounds(solid: Solid) -> list[Round]:
    """Return the cylinders of a solid, the largest radius first.

    >>> from build123d import Cylinder
    >>> rod = rounds((Cylinder(5, 10) - Cylinder(2, 10)).solid())
    >>> [(found.radius, found.hollow, found.high - found.low, found.through) for found in rod]
    [(5.0, False, 10.0, True), (2.0, True, 10.0, True)]
    """
    groups: dict[tuple, list[tuple[Face, float, float, float]]] = defaultdict(list)
    for face in solid.faces().filter_by(GeomType.CYLINDER):
        key, turn, low, high = _cylinder(face)
        groups[key].append((face, turn, low, high))
    found = []
    for (axis, foot, radius, hollow), faces in groups.items():
        for part in _in_line(faces):
            low, high = min(face[2] for face in part), max(face[3] for face in part)
            turn = sum(face[1] * (face[3] - face[2]) for face in part) / (high - low)
            ends = tuple(
                not solid.is_inside(Vector(*foot) + Vector(*axis) * height, NEAR)
                for height in (low - 0.05, high + 0.05)
            )
            found.append(Round(axis, foot, radius, low, high, turn, hollow, ends))
    found = [_shouldered(each, found) for each in found]
    return sorted(found, key=lambda each: (-each.radius, each.axis, each.foot, each.low))


def _shouldered(hole: Round, others: list[Round]) -> Round:
    """Return a hole with the end closed at which a narrower one goes on: a counterbore does not go through."""
    narrower = [
        other for other in others
        if other.hollow and hole.hollow and (other.axis, other.foot) == (hole.axis, hole.foot)
        and other.radius < hole.radius
    ]  # fmt: skip
    low = hole.opens[0] and not any(abs(other.high - hole.low) < NEAR for other in narrower)
    high = hole.opens[1] and not any(abs(other.low - hole.high) < NEAR for other in narrower)
    return replace(hole, opens=(low, high))


def _in_line(faces: list[tuple[Face, float, float, float]]) -> Iterator[list[tuple[Face, float, float, float]]]:
    """Yield faces of a cylinder that meet each other along the axis; a gap between them parts two holes in line."""
    faces = sorted(faces, key=lambda face: face[2])
    row = [faces[0]]
    for face in faces[1:]:
        if face[2] > max(other[3] for other in row) + NEAR:
            yield row
            row = []
        row.append(face)
    yield row


def _cylinder(face: Face) -> tuple[tuple, float, float, float]:
    """Return what is common to the faces of a cylinder, and a face's share of a turn and its ends along the axis."""
    surface = BRepAdaptor_Surface(face.wrapped)
    cylinder = surface.Cylinder()
    axis, start = _line(cylinder.Axis())
    along, foot = Vector(*axis), Vector(*start)
    inside = face.position_at(0.5, 0.5)
    outward = inside - foot - along * (inside - foot).dot(along)
    hollow = face.normal_at(inside).dot(outward) < 0
    heights = [vertex.center().dot(along) for vertex in face.vertices()] or [0.0]
    box = face.bounding_box()
    corners = [Vector(x, y, z).dot(along) for x in (box.min.X, box.max.X) for y in (box.min.Y, box.max.Y)
               for z in (box.min.Z, box.max.Z)]  # fmt: skip
    straight = max(axis) > 1 - 1e-9
    low, high = (min(corners), max(corners)) if straight else (min(heights), max(heights))
    turn = (surface.LastUParameter() - surface.FirstUParameter()) / (2 * pi)
    radius = round(cylinder.Radius(), 4)
    return (axis, start, radius, hollow), turn, round(low, 4), round(high, 4)


def _line(line: gp_Ax1) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Return an axis as its direction, largest component positive, and its point nearest to the origin."""
    along = Vector(line.Direction().X(), line.Direction().Y(), line.Direction().Z())
    if max((abs(along.X), along.X), (abs(along.Y), along.Y), (abs(along.Z), along.Z))[1] < 0:
        along = along * -1
    place = Vector(line.Location().X(), line.Location().Y(), line.Location().Z())
    return _rounded(along, 6), _rounded(place - along * place.dot(along), 3)


def _rounded(vector: Vector, digits: int) -> tuple[float, float, float]:
    """Return a vector's components without noise and without a minus before zero."""
    return tuple(round(value, digits) + 0.0 for value in (vector.X, vector.Y, vector.Z))


@dataclass(frozen=True)
class Cone:
    """A countersink, chamfer or taper around an axis: full angle, degrees, and largest diameter."""

    axis: tuple[float, float, float]
    foot: tuple[float, float, float]
    angle: float
    diameter: float
    low: float
    high: float


def cones(solid: Solid) -> list[Cone]:
    """Return the conical faces of a solid whose axes run along x, y or z."""
    found = set()
    for face in solid.faces().filter_by(GeomType.CONE):
        cone = BRepAdaptor_Surface(face.wrapped).Cone()
        axis, foot = _line(cone.Axis())
        if max(axis) < 1 - 1e-6:
            continue
        name = "XYZ"[axis.index(max(axis))]
        box = face.bounding_box()
        across = max(getattr(box.size, other) for other in "XYZ" if other != name)
        angle = round(2 * degrees(abs(cone.SemiAngle())), 1)
        low, high = _tidy(getattr(box.min, name)), _tidy(getattr(box.max, name))
        found.add(Cone(axis, foot, angle, round(across, 2), low, high))
    return sorted(found, key=lambda cone: (cone.axis, cone.foot, cone.low))


def crowns(solid: Solid) -> list[float]:
    """Return the radii of what is rounded around an axis: the small radii of the solid's tori, each once."""
    faces = solid.faces().filter_by(GeomType.TORUS)
    return sorted({round(BRepAdaptor_Surface(face.wrapped).Torus().MinorRadius(), 3) for face in faces})


def steps(solid: Solid) -> dict[str, list[float]]:
    """Return where along x, y and z the flat faces lie that look that way, in order; the box's ends among them.

    >>> steps(Solid.make_box(40, 20, 5))
    {'x': [0.0, 40.0], 'y': [0.0, 20.0], 'z': [0.0, 5.0]}
    """
    box = solid.bounding_box()
    found = {name: {_tidy(getattr(box.min, name.upper())), _tidy(getattr(box.max, name.upper()))} for name in "xyz"}
    for face in solid.faces().filter_by(GeomType.PLANE):
        normal, centre = face.normal_at(), face.center()
        for name in "xyz":
            if abs(getattr(normal, name.upper())) > 1 - 1e-6 and face.area > LEAST_MM2:
                found[name].add(_tidy(getattr(centre, name.upper())))
    return {name: [value for value in sorted(values) if not _engraved(value, values)] for name, values in found.items()}


def _engraved(value: float, others: Iterable[float]) -> bool:
    """Return whether a step is the bottom of an engraved number: at its depth below an end of the box."""
    low, high = min(others), max(others)
    return min(abs(value - low - ENGRAVED_MM), abs(high - value - ENGRAVED_MM)) < NEAR


def slants(solid: Solid) -> list[tuple[str, tuple[tuple[float, float], tuple[float, float]]]]:
    """Return the flat faces that slant about x, y or z: that axis, and the ends of the face across it.

    >>> from build123d import Axis, chamfer
    >>> slants(chamfer(Solid.make_box(40, 20, 5).edges().filter_by(Axis.Z)[:1], 2, 3).solid())
    [('z', ((0.0, 2.0), (3.0, 0.0)))]
    """
    found = set()
    for face in solid.faces().filter_by(GeomType.PLANE):
        normal = tuple(face.normal_at())
        flat = [i for i in range(3) if abs(normal[i]) < 1e-6]
        if len(flat) != 1 or face.area < LEAST_MM2:
            continue
        across = [i for i in range(3) if i != flat[0]]
        points = sorted({tuple(_tidy(tuple(vertex.center())[i]) for i in across) for vertex in face.vertices()})
        found.add(("xyz"[flat[0]], (points[0], points[-1])))
    return sorted(found)


def _tidy(value: float) -> float:
    return round(value, 3) + 0.0
