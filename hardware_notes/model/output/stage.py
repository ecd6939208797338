"""The stage that pictures are taken on: a camera whose parallel lines stay parallel, light, and the shot."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
import pyvista as pv
from PIL import Image

from model.output import meshes
from model.piece import Piece

WIDTH = 900
FINER = 2  # rendered larger and made smaller, which gives smooth edges with every driver
SIDE = 92  # of each margin that part numbers stand in
FAR_MM = 5000.0
LOWEST, HIGHEST = 380, 780  # of pictures


@dataclass(frozen=True)
class Camera:
    """The side that a picture is taken from: direction of the eye, degrees from the front towards +x, and how high.

    `margin` is the size of the picture over that of what fills it.
    """

    around: float = 30.0
    above: float = 25.0
    margin: float = 1.08


@dataclass(frozen=True)
class Window:
    """What a camera sees: the middle, the height of the picture, mm, and that height in pixels."""

    camera: Camera
    middle: np.ndarray
    upward_mm: float
    height: int


def axes(camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the directions to the right, up and towards the eye; seen from the front, x runs to the left.

    >>> [[round(float(value)) for value in axis] for axis in axes(Camera(around=0, above=0))]
    [[-1, 0, 0], [0, 0, 1], [0, 1, 0]]
    """
    around, above = radians(camera.around), radians(camera.above)
    eye = np.array([sin(around) * cos(above), cos(around) * cos(above), sin(above)])
    right = np.array([-cos(around), sin(around), 0.0])
    return right, np.cross(eye, right), eye


def window(pieces: Iterable[Piece], camera: Camera, side: int = 0) -> Window:
    """Return the window that pieces fill between two margins of `side` pixels, as high as they need."""
    right, up, eye = axes(camera)
    points = meshes.corners(pieces)
    across, upward, deep = points @ right, points @ up, points @ eye
    room = WIDTH - 2 * side
    height = int(min(max(room * np.ptp(upward) / np.ptp(across), LOWEST), HIGHEST))
    upward_mm = camera.margin * max(np.ptp(upward), np.ptp(across) * height / room)
    middle = right * _middle(across) + up * _middle(upward) + eye * _middle(deep)
    return Window(camera, middle, float(upward_mm), height)


def stage(seen: Window, *, finer: int = FINER) -> pv.Plotter:
    """Return an empty white stage, lit from the front above, with the camera set up."""
    plotter = pv.Plotter(off_screen=True, window_size=(WIDTH * finer, seen.height * finer), lighting="light kit")
    plotter.set_background("white")
    plotter.enable_parallel_projection()
    _, up, eye = axes(seen.camera)
    plotter.camera.focal_point = seen.middle
    plotter.camera.position = seen.middle + eye * FAR_MM
    plotter.camera.up = up
    return plotter


def shot(plotter: pv.Plotter, seen: Window) -> Image.Image:
    """Return what the stage shows and close it."""
    plotter.camera.parallel_scale = seen.upward_mm / 2
    plotter.camera.clipping_range = (1.0, 2 * FAR_MM)
    image = Image.fromarray(plotter.screenshot(return_img=True))
    plotter.close()
    return image


def _middle(values: np.ndarray) -> float:
    return float(values.min() + values.max()) / 2
