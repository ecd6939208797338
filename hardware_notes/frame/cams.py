"""The selector's levers and cams: how far a roller comes down into its notch, and what turns the camshaft.

A lever lies along the runway, its roller's axis along it too, the camshaft below and parallel. Where a lever tilts, its
roller touches the cam with the lower of its two edges.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from numpy.typing import NDArray

from frame.dimensions import Frame
from frame.selector import flaps, notch_deg, swing_deg

FLOOR_RADIUS = 6.0  # of the notch's bottom, mm: the roller's and 1 mm
BELOW = 0.5  # mm, that the notch is deeper than the roller comes down: the flap then lies on it, not on an edge
STEP_DEG = 0.25


def shut_tilt_deg(frame: Frame, flap: int) -> float:
    """Return how much the lever of a shut flap points out of the runway's line."""
    return float(frame.feeder.first_lever_up) if flap == 0 else 0.0


def roller_bottom(frame: Frame, tilt_deg: float) -> tuple[float, float]:
    """Return the lowest point of a lever's roller: away from the flap's axle along the runway, and out of it.

    >>> roller_bottom(Frame.load(), 0.0)[1]
    -5.0
    """
    _, outer, width = frame.feeder.roller
    tilt = radians(tilt_deg)
    edge = frame.feeder.lever + (width / 2 if tilt_deg < 0 else -width / 2)
    return edge * cos(tilt) + outer / 2 * sin(tilt), edge * sin(tilt) - outer / 2 * cos(tilt)


def drop(frame: Frame, flap: int, opened_deg: float | None = None) -> float:
    """Return how far a roller comes down while its flap opens by an angle, or to its end where that is None.

    >>> 7 < drop(Frame.load(), 1) < 9
    True
    """
    shut = shut_tilt_deg(frame, flap)
    opened = abs(swing_deg(frame, flap)) if opened_deg is None else opened_deg
    return roller_bottom(frame, shut)[1] - roller_bottom(frame, shut - opened)[1]


def camshaft_n(frame: Frame) -> float:
    """Return how far out of the runway's line the camshaft's axis is from that of the flaps' axles; below 0."""
    return roller_bottom(frame, 0.0)[1] - float(frame.feeder.cam_radius)


def rim_radius(frame: Frame, flap: int) -> float:
    """Return the radius of a flap's cam, so that its roller shuts the flap.

    >>> rim_radius(Frame.load(), 1)
    38.0
    """
    step = float(frame.feeder.flap_step) if flap == 0 else 0.0
    return roller_bottom(frame, shut_tilt_deg(frame, flap))[1] - camshaft_n(frame) + step


def mouth_deg(frame: Frame, flap: int) -> float:
    """Return to how much each side a notch is open at the rim; the first flap's by what its step is longer."""
    longer = frame.feeder.standard_step - frame.feeder.cam_step if flap == 0 else 0.0
    return float(frame.feeder.cam_mouth + longer)


def notch(frame: Frame, flap: int) -> tuple[tuple[float, float], ...]:
    """Return the right half of a notch in its cam, turned up: bottom, where the flank begins, mouth; x and height."""
    radius = rim_radius(frame, flap)
    floor = radius - drop(frame, flap) - BELOW
    mouth = radians(mouth_deg(frame, flap))
    corner = radius * sin(mouth), radius * cos(mouth)
    up = corner[1] - floor - FLOOR_RADIUS
    away = hypot(corner[0], up)
    side = atan2(up, corner[0]) - np.arccos(FLOOR_RADIUS / away)  # where the tangent from the mouth touches
    begins = FLOOR_RADIUS * cos(side), floor + FLOOR_RADIUS * (1 + sin(side))
    return (0.0, floor), begins, corner


def outline(frame: Frame, flap: int) -> NDArray[np.float64]:
    """Return points all along a cam's edge with its notch up, shape (points, 2): x and height over the camshaft."""
    (_, floor), begins, corner = notch(frame, flap)
    low = np.radians(np.linspace(-90, degrees(atan2(begins[1] - floor - FLOOR_RADIUS, begins[0])), 60))
    bottom = np.column_stack([FLOOR_RADIUS * np.cos(low), floor + FLOOR_RADIUS * (1 + np.sin(low))])
    flank = np.linspace(begins, corner, 60)
    rim = np.radians(np.linspace(mouth_deg(frame, flap), 180, 800))
    round_it = rim_radius(frame, flap) * np.column_stack([np.sin(rim), np.cos(rim)])
    right = np.vstack([bottom, flank, round_it])
    return np.vstack([right, right * [-1, 1]])


def lift(frame: Frame, flap: int, off_deg: float) -> float:
    """Return how far the roller lies below its place on the rim when the cam is turned out of its notch by an angle.

    >>> frame = Frame.load()
    >>> abs(round(lift(frame, 1, 18.0), 3)), lift(frame, 1, 0.0) == -drop(frame, 1)
    (0.0, True)
    """
    return _lifts(_key(frame), flap)(off_deg)


def open_deg(frame: Frame, flap: int, off_deg: float) -> float:
    """Return by how much a flap is open when its cam is turned out of its notch by an angle.

    >>> open_deg(Frame.load(), 1, 0.0), open_deg(Frame.load(), 1, -18.0)
    (40.0, 0.0)
    """
    down = -lift(frame, flap, off_deg)
    if down < 1e-3:
        return 0.0
    low, high = 0.0, abs(swing_deg(frame, flap))
    if down >= drop(frame, flap) - 1e-6:
        return high
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if drop(frame, flap, middle) < down else (low, middle)
    return (low + high) / 2


def open_at(frame: Frame, cam_deg: float) -> dict[int, float]:
    """Return by how much each flap is open, degrees, with the camshaft at an angle from its first place.

    >>> sorted(i for i, angle in open_at(Frame.load(), 36.0).items() if angle > 0)
    [3]
    """
    return {flap: open_deg(frame, flap, cam_deg - notch_deg(frame, flap)) for flap in flaps(frame)}


def spare_deg(frame: Frame, flap: int) -> float:
    """Return by how much the camshaft may stand wrong at the next place before a flap begins to open.

    >>> spare_deg(Frame.load(), 1) > 3
    True
    """
    step = float(frame.feeder.standard_step if flap == 0 else frame.feeder.cam_step)
    angle = step
    while angle > 0 and open_deg(frame, flap, angle) == 0:
        angle -= STEP_DEG
    return step - angle


def rise_mm_per_rad(frame: Frame, flap: int) -> float:
    """Return the most that a roller rises per radian of the camshaft: the arm at which its force loads the servo."""
    angles = np.arange(0.0, mouth_deg(frame, flap) + 3, STEP_DEG)
    heights = np.array([lift(frame, flap, angle) for angle in angles])
    return float(np.diff(heights).max() / radians(STEP_DEG))


def pressure_angle_deg(frame: Frame, flap: int) -> float:
    """Return the most by which a notch's flank pushes the roller sideways, from the direction in which it moves."""
    angles = np.arange(0.0, mouth_deg(frame, flap) + 3, STEP_DEG)
    middle = rim_radius(frame, flap) + frame.feeder.roller[1] / 2
    heights = np.array([lift(frame, flap, angle) for angle in angles])
    rise = np.diff(heights) / radians(STEP_DEG)
    return float(np.degrees(np.arctan2(rise, middle + heights[1:])).max())


def _key(frame: Frame) -> tuple[tuple[str, object], ...]:
    """Return what the cams follow from, as a key to what was computed before."""
    return tuple((name, tuple(v) if isinstance(v, list) else v) for name, v in vars(frame.feeder).items()
                 if not (isinstance(v, list) and v and isinstance(v[0], list)))  # fmt: skip


@lru_cache(maxsize=64)
def _lifts(key: tuple[tuple[str, object], ...], flap: int) -> Callable[[float], float]:
    """Return the function from a cam's angle to the roller's place below the rim, -drop at the lowest."""
    frame = Frame({"feeder": dict(key)})
    edge, size = outline(frame, flap), frame.feeder.roller[1] / 2
    on_rim, lowest = rim_radius(frame, flap) + size, -drop(frame, flap)

    def lifted(off_deg: float) -> float:
        off = radians(off_deg)
        x = edge[:, 0] * cos(off) + edge[:, 1] * sin(off)
        z = edge[:, 1] * cos(off) - edge[:, 0] * sin(off)
        under = np.abs(x) < size
        return max(lowest, float((z[under] + np.sqrt(size**2 - x[under] ** 2)).max()) - on_rim)

    return lifted
