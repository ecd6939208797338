"""Where the selector's parts stand, as locations: sections along the runway become solids across the feeder."""

from __future__ import annotations

from math import cos, radians, sin

from build123d import Location, Plane, Pos
from frame.cams import camshaft_n
from frame.dimensions import Frame
from frame.rolling import Point
from frame.selector import along, axle, pitch_along

from model.standard.shapes import ALONG_X

DISC_FROM = 7.2  # mm along the lever, from a flap's axle to the face of its cam
CAM_HUB = 8.0  # length of a cam's hub beside its disc
BRACKET = 12.0  # length of a camshaft's bearing
COLLAR = 8.0
FROM_LAST_CAM, AFTER_BRACKET, ROD_IN_COUPLING, COUPLING = 1.0, 2.0, 14.0, 22.0
HORN_FACE = 14.3  # over the servo's ears
INDEX_RADIUS = 15.0


def across(at: Point, turned_deg: float, x: float) -> Location:
    """Return where a section about an axle lies: its x along the runway, its y out of it, its thickness towards +x."""
    return Location((0, at[0], at[1])) * Location((0, 0, 0), (turned_deg, 0, 0)) * ALONG_X * Pos(0, 0, x)


def runway_s(frame: Frame, flap: int) -> float:
    """Return how far down the runway an axle is from the first."""
    return 0.0 if flap == 0 else float(frame.feeder.first_spacing) + (flap - 1) * pitch_along(frame)


def on_camshaft(frame: Frame, s: float, up: bool = False) -> Location:
    """Return the place on the camshaft's axis `s` down the runway from the first axle, +z down the runway.

    Its +y points out of the runway; with `up`, +z points up the runway and +x to the right.
    """
    slope = radians(frame.feeder.slope)
    y, z = along(frame, axle(frame, 0), s, camshaft_n(frame) - frame.feeder.flap_step)
    down = (0, cos(slope), -sin(slope))
    towards = tuple(-v for v in down) if up else down
    x_dir = (1, 0, 0) if up else (-1, 0, 0)
    return Location(Plane((-frame.feeder.lever_x, y, z), x_dir=x_dir, z_dir=towards))


def disc_s(frame: Frame, flap: int) -> float:
    """Return where a cam's disc begins along the runway, from the first axle."""
    if flap == 0:
        return -DISC_FROM - float(frame.feeder.cam_width)
    return runway_s(frame, flap) + DISC_FROM


def last_hub_s(frame: Frame) -> float:
    """Return where the last cam's hub ends."""
    return disc_s(frame, int(frame.feeder.places) - 1) + float(frame.feeder.cam_width) + CAM_HUB


def bracket_s(frame: Frame) -> tuple[float, ...]:
    """Return where the camshaft's bearings begin: above the first cam, in the middle of many, below the last."""
    first = disc_s(frame, 0) - 2 - BRACKET
    last = last_hub_s(frame) + FROM_LAST_CAM + COLLAR
    if frame.feeder.places < 5:
        return first, last
    middle = int(frame.feeder.places) // 2
    return first, disc_s(frame, middle) + float(frame.feeder.cam_width) + CAM_HUB + 6, last


def rod_ends(frame: Frame) -> tuple[float, float]:
    """Return where the camshaft begins and ends."""
    first, *_, last = bracket_s(frame)
    return first - 2, last + BRACKET + COLLAR + AFTER_BRACKET + ROD_IN_COUPLING


def servo_s(frame: Frame) -> float:
    """Return where the lower face of the servo's ears is."""
    return rod_ends(frame)[1] - ROD_IN_COUPLING + COUPLING + HORN_FACE
