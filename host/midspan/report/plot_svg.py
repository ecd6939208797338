"""Pictures inside a page: SVG with the page's own colours and letters, on paper and in dark mode."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from midspan.report.picture import FAINT, INK, LIGHT, SHADE, STYLE

PAPER = "#ffffff"
COLOURS = {INK: "--ink", SHADE: "--shade", LIGHT: "--light", FAINT: "--faint", PAPER: "--paper"}
PAGE_STYLE: Any = STYLE | {
    "svg.fonttype": "none", "svg.hashsalt": "midspan", "text.color": INK, "axes.labelcolor": INK, "xtick.color": INK,
    "ytick.color": INK, "legend.frameon": False, "hatch.linewidth": 0.8, "hatch.color": INK,
    "path.simplify": False,
}  # fmt: skip
WIDTH_IN = 4.7  # width of a telephone


def drawn(draw: Callable[[Figure], None], height_in: float, what: str) -> str:
    """Return an SVG element that `draw` fills, from an empty figure; `what` is its name for screen readers.

    Parameters
    ----------
    draw : Callable[[Figure], None]
        Draws on the empty figure.
    height_in : float
        Height, inches.
    what : str
        Name for screen readers.

    Returns
    -------
    str
        The SVG element.
    """
    with mpl.rc_context(PAGE_STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # the browser has letters that matplotlib's font lacks
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure)
        text = io.StringIO()
        figure.savefig(text, format="svg", transparent=True, metadata={"Date": None})
    svg = re.sub(r"<metadata>.*?</metadata>", "", text.getvalue(), flags=re.DOTALL)
    for colour, name in COLOURS.items():
        svg = svg.replace(colour, f"var({name})")
    head = re.search(r'<svg[^>]*(viewBox="[^"]*")[^>]*>', svg)
    assert head is not None
    # Without width and height the picture takes the width of the page; parts of it refer to each other by xlink.
    opening = f'<svg {head[1]} role="img" aria-label="{what}" xmlns:xlink="http://www.w3.org/1999/xlink">'
    return opening + svg[head.end() :]
