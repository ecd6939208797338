"""A picture of pieces from a side, rendered without a display: what is new in colour, its part numbers at the margins."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import cycle
from math import cos, radians, sin

import numpy as np
import pyvista as pv
from build123d import Location
from model.output import meshes
from model.output.labels import with_labels
from model.piece import Piece, Way
from PIL import Image

WIDTH, HEIGHT = 900, 640
FINER = 2  # rendered larger and made smaller: smooth edges that do not depend on the driver
COLOURS = 40  # of the file's palette
MATERIALS = {
    "steel": "#8d949c", "aluminium": "#cdd3d8", "brass": "#d9b65a", "plywood": "#e3c58f", "polycarbonate": "#a9d3e8",
    "PETG": "#f0913a", "acetal": "#f4f4ee", "rubber": "#3b3b3b", "belt": "#3b3b3b", "circuit board": "#2f8f5b",
    "shaft": "#7a4b2a",
}  # fmt: skip
THERE = "#dcdcdc"  # what was put in before
NEW = {Way.PRINTED: "#f0913a", Way.BOUGHT: "#5fae7d"}  # everything else is made by sawing, drilling, cutting, turning
MADE = "#5b8ed6"
CLEAR = {"polycarbonate": 0.22}


@dataclass(frozen=True)
class Camera:
    """Where a picture is taken from.

    `around` is the direction it is seen from, degrees from the front towards the right end; `above` how high. What
    lies in the box of the pieces that `frame` accepts fills the picture, widened by `margin`.
    """

    around: float = 30.0
    above: float = 25.0
    margin: float = 1.12
    height: int = HEIGHT


def picture(
    pieces: Sequence[Piece], camera: Camera, highlight: Callable[[Piece], bool] | None = None
) -> Image.Image:
    """Return a picture; with `highlight` the pieces that it accepts are coloured, numbered and in the middle.

    Without it every piece has the colour of its material and no number.
    """
    new = [piece for piece in pieces if highlight is None or highlight(piece)]
    plotter = _stage(camera)
    for colour, clear, group in _groups(pieces, highlight):
        surface = meshes.placed((meshes.skin(piece.part), piece.where) for piece in group)
        plotter.add_mesh(surface, color=colour, opacity=clear, smooth_shading=False, ambient=0.35, diffuse=0.75)
        lines = meshes.placed((meshes.edges(piece.part), piece.where) for piece in group)
        if lines.n_points:
            faint = highlight is not None and not highlight(group[0])
            plotter.add_mesh(lines, color="#9a9a9a" if faint else "#202020", line_width=1.6, opacity=max(clear, 0.6))
    _aim(plotter, new, camera)
    image = _shot(plotter)
    if highlight is not None:
        image = with_labels(image, _anchors(pieces, new, camera))
    return image.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)


def _groups(
    pieces: Iterable[Piece], highlight: Callable[[Piece], bool] | None
) -> Iterable[tuple[str, float, list[Piece]]]:
    """Yield colour, opacity and pieces of what is drawn in one go, the clear ones last."""
    groups: dict[tuple[float, str], list[Piece]] = defaultdict(list)
    for piece in pieces:
        if highlight is None:
            colour = MATERIALS[piece.part.material]
        else:
            colour = NEW.get(piece.part.way, MADE) if highlight(piece) else THERE
        groups[-CLEAR.get(piece.part.material, 1.0), colour].append(piece)
    for (clear, colour), group in sorted(groups.items(), key=lambda item: item[0]):
        yield colour, -clear, group


def _stage(camera: Camera) -> pv.Plotter:
    """Return an empty white stage with light from the front above, whose parallel lines stay parallel."""
    plotter = pv.Plotter(off_screen=True, window_size=(WIDTH * FINER, camera.height * FINER), lighting="light kit")
    plotter.set_background("white")
    plotter.enable_parallel_projection()
    return plotter


def axes(camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the directions to the right, up and towards the eye of a picture; from the front, x runs to the left.

    >>> [[round(float(value)) for value in axis] for axis in axes(Camera(around=0, above=0))]
    [[-1, 0, 0], [0, 0, 1], [0, 1, 0]]
    """
    around, above = radians(camera.around), radians(camera.above)
    eye = np.array([sin(around) * cos(above), cos(around) * cos(above), sin(above)])
    right = np.array([-cos(around), sin(around), 0.0])
    return right, np.cross(eye, right), eye


def _aim(plotter: pv.Plotter, pieces: Iterable[Piece], camera: Camera) -> None:
    """Turn the camera so that the pieces fill the picture between the margins for the numbers."""
    right, up, eye = axes(camera)
    corners = np.vstack([meshes.matrix_applied(piece.part, piece.where) for piece in pieces])
    across, upward = corners @ right, corners @ up
    middle = right * _middle(across) + up * _middle(upward) + eye * _middle(corners @ eye)
    room = (1 - 2 * SIDE) * WIDTH / camera.height if camera.numbered else WIDTH / camera.height
    plotter.camera.focal_point = middle
    plotter.camera.position = middle + eye * 3000.0
    plotter.camera.up = up
    plotter.camera.parallel_scale = camera.margin * max(np.ptp(upward), np.ptp(across) / room) / 2
    plotter.camera.clipping_range = (1.0, 8000.0)


def _middle(values: np.ndarray) -> float:
    return float(values.min() + values.max()) / 2


def _shot(plotter: pv.Plotter) -> Image.Image:
    """Return what the stage shows, made smaller to its width, and close the stage."""
    large = Image.fromarray(plotter.screenshot(return_img=True))
    plotter.close()
    return large.resize((large.width // FINER, large.height // FINER), Image.Resampling.LANCZOS)
