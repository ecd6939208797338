"""Views of a solid as lines on paper, hidden ones apart, from the geometry kernel's hidden-line removal."""

from __future__ import annotations

from dataclasses import dataclass

from build123d import Edge, GeomType, Solid

Line = tuple[tuple[float, float], ...]
SAG_MM = 0.03  # of a chord under its curve
EYES = {  # direction of the eye, and what is up in the view
    "from above": ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
    "from the front": ((0.0, -1.0, 0.0), (0.0, 0.0, 1.0)),
    "from the right": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    "askew": ((-0.5, -0.75, 0.65), (0.0, 0.0, 1.0)),
}
FAR = 10000.0


@dataclass(frozen=True)
class Outline:
    """A view's lines, mm, about the middle of the solid's box: x to the right and y up on the paper."""

    seen: tuple[Line, ...]
    hidden: tuple[Line, ...]

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the view."""
        xs, ys = zip(*(point for line in self.seen for point in line), strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def view(solid: Solid, eye: str) -> Outline:
    """Return the view of a solid from one of the sides in EYES."""
    middle = solid.bounding_box().center()
    direction, up = EYES[eye]
    origin = tuple(m + FAR * d for m, d in zip(middle, direction, strict=True))
    seen, hidden = solid.project_to_viewport(origin, viewport_up=up, look_at=tuple(middle))
    return Outline(tuple(map(_line, seen)), tuple(map(_line, hidden)))


def _line(edge: Edge) -> Line:
    """Return an edge's points, no more than it takes to look round."""
    if edge.geom_type == GeomType.LINE:
        count = 1
    elif edge.geom_type == GeomType.CIRCLE:
        count = max(4, round(edge.length / (8 * SAG_MM * edge.radius) ** 0.5))
    else:
        count = max(16, min(48, round(edge.length / 2)))
    points = (edge @ (i / count) for i in range(count + 1))
    return tuple((round(point.X, 3), round(point.Y, 3)) for point in points)
