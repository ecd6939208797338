"""Sheet that every picture is drawn on: its inks, its style, and how it is written as PNG, PDF or SVG.

There are no colours. Lines differ by their style and areas by their shade, so copiers and all eyes see the same.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from midspan.base.errors import OutputError
from midspan.base.files import writing

INK, SHADE, LIGHT, FAINT = "#1b1b1b", "#7f9cb5", "#d9e2ea", "#8a8a8a"
STYLE: Any = {
    "font.size": 10, "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": INK,
    "text.parse_math": False,  # a dollar sign in a label does not begin a formula
}  # fmt: skip
ENDINGS = (".png", ".pdf", ".svg")


def check_ending(path: Path) -> None:
    """Refuse a file name that no picture can have.

    Parameters
    ----------
    path : Path
        File to write.

    Raises
    ------
    OutputError
        It does not end in .png, .pdf or .svg.

    Examples
    --------
    >>> check_ending(Path("shaft-12.bmp"))
    Traceback (most recent call last):
    midspan.base.errors.OutputError: shaft-12.bmp: a picture's name ends in .png, .pdf or .svg
    """
    if path.suffix.lower() not in ENDINGS:
        endings = f"{', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}"
        raise OutputError(f"{path}: a picture's name ends in {endings}", code="picture_ending")


@contextmanager
def paper(path: Path, width_in: float, height_in: float) -> Iterator[Figure]:
    """Yield an empty figure that is written when the block ends.

    Parameters
    ----------
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    width_in : float
        Width, inches.
    height_in : float
        Height, inches.

    Yields
    ------
    Figure
        The empty figure.

    Raises
    ------
    OutputError
        Another ending, before anything is drawn; or the file cannot be written.
    """
    check_ending(path)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        FigureCanvasAgg(figure)
        yield figure
        with writing(path):
            figure.savefig(path, dpi=130)
