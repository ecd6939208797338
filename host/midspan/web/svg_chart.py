"""Draw charts of the live page as SVG text: light enough to be redrawn with each shaft, legible without colour.

Colours and letters are the page's, so that they follow its light and dark mode. Screen readers read out the title.

>>> ticks(493.2, 505.1), ticks(0.0, 0.0)
([494.0, 496.0, 498.0, 500.0, 502.0, 504.0], [0.0])
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 640, 86, 26, 14, 42  # LEFT has room for 501.5 in the size for telephones
FEWEST_TICKS = 4
Points = Iterable[tuple[float, float]]


def ticks(low: float, high: float) -> list[float]:
    """Return four to ten round numbers from low to high.

    Parameters
    ----------
    low : float
        Low end of an axis.
    high : float
        High end of the axis.

    Returns
    -------
    list[float]
        Ascending; only `low` if the axis has no length.
    """
    if not high > low:
        return [low]
    power = 10.0 ** math.floor(math.log10((high - low) / FEWEST_TICKS))
    step = next(n * power for n in (5.0, 2.0, 1.0) if n * power <= (high - low) / FEWEST_TICKS * (1 + 1e-9))
    return [round(n * step, 9) for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def with_room(values: Sequence[float], least: float, share: float = 0.08) -> tuple[float, float]:
    """Return a range that shows all values with some room.

    Parameters
    ----------
    values : Sequence[float]
        Values to show; infinite values and NaN are ignored.
    least : float
        Smallest width of the range.
    share : float
        Room at each end, as a share of the range of the values.

    Returns
    -------
    tuple[float, float]
        Low and high end.

    Examples
    --------
    >>> with_room([1.0, 1.0], 2.0)
    (0.0, 2.0)
    """
    finite = [value for value in values if math.isfinite(value)] or [0.0]
    low, high = min(finite), max(finite)
    room = max((high - low) * share, (least - (high - low)) / 2)
    return low - room, high + room


@dataclass
class SvgChart:
    """A chart that is being drawn.

    Parameters
    ----------
    title : str
        What a screen reader reads out.
    x : tuple[float, float]
        Low and high end of the horizontal axis.
    y : tuple[float, float]
        Low and high end of the vertical axis.
    height : int
        Height of the picture, in units of which it is WIDTH wide.
    parts : list[str]
        SVG elements drawn so far.
    """

    title: str
    x: tuple[float, float]
    y: tuple[float, float]
    height: int = 230
    parts: list[str] = field(default_factory=list)

    def at(self, x: float, y: float) -> str:
        """Return a point in the picture's units, as SVG writes it.

        Parameters
        ----------
        x : float
            Value on the horizontal axis.
        y : float
            Value on the vertical axis.

        Returns
        -------
        str
            Distance from the left and from the top.
        """
        across = (x - self.x[0]) / (self.x[1] - self.x[0])
        return f"{LEFT + across * (WIDTH - LEFT - RIGHT):.1f} {self.down_to(y):.1f}"

    def down_to(self, y: float) -> float:
        """Return the distance of a value from the top of the picture.

        Parameters
        ----------
        y : float
            Value on the vertical axis.

        Returns
        -------
        float
            Distance in the picture's units.
        """
        return self.height - BOTTOM - (y - self.y[0]) / (self.y[1] - self.y[0]) * self._tall

    @property
    def _tall(self) -> int:
        """Height of the plotting area, in the picture's units."""
        return self.height - TOP - BOTTOM

    def line(self, points: Points, kind: str = "line") -> None:
        """Draw a line through points; nothing if there are none.

        Parameters
        ----------
        points : Points
            Values on both axes.
        kind : str
            Its look: line, dashed, thin or band.
        """
        path = " L".join(self.at(*point) for point in points)
        if path:
            self.parts.append(f'<path class="{kind}" d="M{path}"/>')

    def dots(self, points: Points, kind: str = "dots") -> None:
        """Draw dots as a single path, which a browser draws fast; nothing if there are none.

        Parameters
        ----------
        points : Points
            Values on both axes.
        kind : str
            Their look: "dots" or "dots out".
        """
        path = "".join(f"M{self.at(*point)}h0" for point in points)
        if path:
            self.parts.append(f'<path class="{kind}" d="{path}"/>')

    def bar(self, x: float, low: float, high: float, *, open_mark: bool) -> None:
        """Draw a value with its uncertainty: a bar with a mark in its middle.

        Parameters
        ----------
        x : float
            Value on the horizontal axis.
        low : float
            Low end of the bar.
        high : float
            High end of the bar.
        open_mark : bool
            True for a ring, False for a filled square.
        """
        self.line([(x, low), (x, high)], "thin")
        across, up = self.at(x, (low + high) / 2).split()
        mark = f'<circle class="ring" cx="{across}" cy="{up}" r="4.5"/>'
        if not open_mark:
            mark = f'<rect class="bad" x="{float(across) - 5:.1f}" y="{float(up) - 5:.1f}" width="10" height="10"/>'
        self.parts.append(mark)

    def across(self, y: float, words: str = "") -> None:
        """Draw a dashed level with its name.

        Parameters
        ----------
        y : float
            Value on the vertical axis.
        words : str
            Name of the level; may be empty.
        """
        self.line([(self.x[0], y), (self.x[1], y)], "dashed")
        if words:
            right, up = WIDTH - RIGHT - 2, self.down_to(y) - 4
            self.parts.append(f'<text class="name" x="{right}" y="{up:.1f}">{escape(words)}</text>')

    def done(self, x_words: str, y_words: str, x_ticks: Sequence[tuple[float, str]] | None = None) -> str:
        """Return the whole picture as an SVG element.

        Parameters
        ----------
        x_words : str
            Name of the horizontal axis.
        y_words : str
            Name of the vertical axis.
        x_ticks : Sequence[tuple[float, str]] | None
            Values and words along the horizontal axis; None for round numbers.

        Returns
        -------
        str
            SVG.
        """
        floor = self.height - BOTTOM
        marks = [(value, f"{value:g}") for value in ticks(*self.x)] if x_ticks is None else x_ticks
        axes = [f'<path class="axis" d="M{LEFT} {TOP}V{floor}H{WIDTH - RIGHT}"/>']
        for value, words in marks:
            across = self.at(value, self.y[0]).split()[0]
            axes.append(f'<path class="axis" d="M{across} {floor}v5"/>')
            axes.append(f'<text class="under" x="{across}" y="{floor + 19}">{escape(words)}</text>')
        for value in ticks(*self.y):
            up = self.down_to(value)
            axes.append(f'<path class="grid" d="M{LEFT} {up:.1f}H{WIDTH - RIGHT}"/>')
            axes.append(f'<text class="beside" x="{LEFT - 7}" y="{up + 4:.1f}">{value:g}</text>')
        middle = (LEFT + WIDTH - RIGHT) // 2
        axes.append(f'<text class="under" x="{middle}" y="{self.height - 5}">{escape(x_words)}</text>')
        halfway = TOP + self._tall // 2
        axes.append(f'<text class="along" transform="translate(15 {halfway}) rotate(-90)">{escape(y_words)}</text>')
        opening = (
            f'<svg class="chart" viewBox="0 0 {WIDTH} {self.height}" role="img" aria-label="{escape(self.title)}">'
        )
        return "".join([opening, *axes, *self.parts, "</svg>"])
