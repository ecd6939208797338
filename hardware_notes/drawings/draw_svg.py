"""A sheet of paper in millimetres for drawings that read in black and white: shapes, dimensions, numbered parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from math import atan2, cos, degrees, hypot, radians, sin

Point = tuple[float, float]
INK, GREY, LIGHT = "#000000", "#8a8a8a", "#e4e4e4"
SHAFT = "#b9b9b9"
HALO = 'stroke="#ffffff" stroke-width="3" paint-order="stroke" fill="#000000"'  # lines stop short of words
ARROW, GAP, BEYOND = 5.0, 3.0, 3.0  # of dimension lines


def number(value: float) -> str:
    """A number as it stands in a drawing.

    >>> number(711.2), number(60.0)
    ('711.2', '60')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".") if value else "0"


@dataclass
class View:
    """One view on the sheet: where its own origin lies on the paper, upward y, and its scale."""

    sheet: Sheet
    x: float
    y: float
    scale: float = 1.0

    def at(self, point: Point) -> Point:
        """Return where a point of the view lies on the paper."""
        return self.x + self.scale * point[0], self.y - self.scale * point[1]

    def line(self, *points: Point, width: float = 1.0, dash: str = "", ink: str = INK) -> None:
        """Draw a line through points."""
        self.sheet.path([self.at(point) for point in points], width, dash, ink, "none", closed=False)

    def area(self, *points: Point, fill: str = "none", width: float = 1.0, dash: str = "") -> None:
        """Draw a closed outline."""
        self.sheet.path([self.at(point) for point in points], width, dash, INK, fill, closed=True)

    def box(self, low: Point, high: Point, fill: str = "none", width: float = 1.0, dash: str = "") -> None:
        """Draw a rectangle between two corners."""
        self.area(low, (high[0], low[1]), high, (low[0], high[1]), fill=fill, width=width, dash=dash)

    def circle(self, centre: Point, diameter: float, fill: str = "none", width: float = 1.0, dash: str = "") -> None:
        """Draw a circle."""
        self.sheet.circle(self.at(centre), self.scale * diameter / 2, width, dash, fill)

    def across(self, left: float, right: float, z: float, offset: float, text: str = "") -> None:
        """Draw the dimension between two x, `offset` of paper above the height z (below if negative)."""
        _, base = self.at((0, z))
        ends = self.at((left, z))[0], self.at((right, z))[0]
        self.sheet.dimension((ends[0], base), (ends[1], base), (0, -offset), text or number(abs(right - left)))

    def text(self, at: Point, words: str, size: float = 9, anchor: str = "middle", bold: bool = False) -> None:
        """Write words at a point of the view."""
        self.sheet.text(self.at(at), words, size, anchor, bold=bold)


@dataclass
class Sheet:
    """Paper of the drawing, its size in millimetres; `svg` is the file."""

    width: float
    height: float
    title: str
    body: list[str] = field(default_factory=list)

    def view(self, x: float, y: float, scale: float = 1.0) -> View:
        """Return a view whose origin is at a place of the paper."""
        return View(self, x, y, scale)

    def path(self, points: Sequence[Point], width: float, dash: str, ink: str, fill: str, *, closed: bool) -> None:
        """Draw a line or an outline through points of the paper."""
        steps = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        name = "polygon" if closed else "polyline"
        self.body.append(f'<{name} points="{steps}" {_stroke(width, dash, ink)} fill="{fill}"/>')

    def circle(self, centre: Point, radius: float, width: float, dash: str, fill: str) -> None:
        """Draw a circle on the paper."""
        x, y = (number(value) for value in centre)
        self.body.append(f'<circle cx="{x}" cy="{y}" r="{number(radius)}" {_stroke(width, dash, INK)} fill="{fill}"/>')

    def text(
        self, at: Point, words: str, size: float = 9, anchor: str = "middle", turn: float = 0, *,
        bold: bool = False, kind: str = "words",
    ) -> None:  # fmt: skip
        """Write words on the paper, turned by degrees."""
        x, y = (number(value) for value in at)
        turned = f' transform="rotate({number(turn)} {x} {y})"' if turn else ""
        weight = ' font-weight="bold"' if bold else ""
        self.body.append(
            f'<text class="{kind}" x="{x}" y="{y}" font-size="{number(size)}" text-anchor="{anchor}"'
            f"{weight}{turned} {HALO}>"
            f"{escape(words)}</text>"
        )

    def dimension(self, start: Point, end: Point, offset: Point, text: str) -> None:
        """Draw a dimension line parallel to start and end, `offset` away, with extension lines and text."""
        length = hypot(*offset) or 1.0
        unit = offset[0] / length, offset[1] / length
        for point in (start, end):
            near = point[0] + GAP * unit[0], point[1] + GAP * unit[1]
            far = point[0] + offset[0] + BEYOND * unit[0], point[1] + offset[1] + BEYOND * unit[1]
            self.path([near, far], 0.35, "", INK, "none", closed=False)
        a, b = ((point[0] + offset[0], point[1] + offset[1]) for point in (start, end))
        self.path([a, b], 0.35, "", INK, "none", closed=False)
        self._heads(a, b)
        flat = abs(a[1] - b[1]) < abs(a[0] - b[0])
        middle = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
        self.text((middle[0] - (0 if flat else 3), middle[1] - (3 if flat else 0)), text, 9, turn=0 if flat else -90)

    def _heads(self, a: Point, b: Point) -> None:
        """Draw arrow heads, outside if there is no room between."""
        outward = 1 if hypot(a[0] - b[0], a[1] - b[1]) > 3 * ARROW else -1
        for tip, other in ((a, b), (b, a)):
            angle = atan2((other[1] - tip[1]) * outward, (other[0] - tip[0]) * outward)
            wings = [
                (tip[0] + ARROW * cos(angle + side), tip[1] + ARROW * sin(angle + side))
                for side in (radians(12), -radians(12))
            ]
            self.path([tip, *wings], 0.2, "", INK, INK, closed=True)

    @property
    def svg(self) -> str:
        """Return the whole file; its paper is white, so that dark mode does not hide the lines."""
        w, h = number(self.width), number(self.height)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" width="{w}" height="{h}" '
            f'font-family="Helvetica, Arial, sans-serif" role="img"><title>{escape(self.title)}</title>\n'
            f'<rect width="{w}" height="{h}" fill="#ffffff"/>\n'
        )
        return head + "\n".join(self.body) + "\n</svg>\n"


def _stroke(width: float, dash: str, ink: str) -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'stroke="{ink}" stroke-width="{number(width)}"{dashes}'


def turned(point: Point, about: Point, angle_deg: float) -> Point:
    """Return a point turned about another, counter-clockwise.

    >>> tuple(round(value, 6) for value in turned((2.0, 1.0), (1.0, 1.0), 90.0))
    (1.0, 2.0)
    """
    x, y = point[0] - about[0], point[1] - about[1]
    c, s = cos(radians(angle_deg)), sin(radians(angle_deg))
    return about[0] + c * x - s * y, about[1] + s * x + c * y


def polar(length: float, angle_deg: float) -> Point:
    """A step of this length in this direction, counter-clockwise from the right.

    >>> tuple(round(value, 6) for value in polar(2.0, 90.0))
    (0.0, 2.0)
    """
    return length * cos(radians(angle_deg)), length * sin(radians(angle_deg))


def direction(start: Point, end: Point) -> float:
    """Direction from start to end in degrees.

    >>> direction((0.0, 0.0), (0.0, 5.0))
    90.0
    """
    return degrees(atan2(end[1] - start[1], end[0] - start[0]))
