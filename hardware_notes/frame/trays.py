"""Where trays and the dividers over them stand, where a shaft comes down, and how many a tray holds."""

from __future__ import annotations

from math import cos, hypot, pi, radians, sin, sqrt

from frame.dimensions import Frame
from frame.feeder import GRAVITY, finger
from frame.selector import along, axle, pitch_along, surface, swing_deg

PLAY = 1.0  # mm, between two trays
UNDER_FLAP = 6.0  # mm, from the lowest open flap down to the trays' upper edge
UNDER_LAST = 28.0  # mm, from the last axle down to where the last tray may reach
OVER_BEAM = 4.0  # mm, from the cross beams up to the trays over them
OVER_TRAY = 2.0  # mm, from there up to the dividers
UNDER_AXLE = 5.5  # mm, from an axle down to the divider under it
FILL = 0.7  # share of a tray's section that shafts fill when they fell as they liked (estimated)


def bounds(frame: Frame, tray: int) -> tuple[float, float]:
    """Return the middles of the dividers behind and before a tray's place, y.

    >>> low, high = bounds(Frame.load(), 1)
    >>> round(high - low, 6)
    60.0
    """
    low = axle(frame, 1)[0] + (tray - 1) * frame.feeder.pitch
    return low, low + float(frame.feeder.pitch)


def bottom(frame: Frame, tray: int) -> float:
    """Return the height of a tray's underside: over the gauge's cross beams, or low down before their ends.

    >>> frame = Frame.load()
    >>> bottom(frame, 1) > -frame.beam.height, bottom(frame, 7)
    (True, -127.0)
    """
    if bounds(frame, tray)[0] < frame.base.cross_length / 2:
        return OVER_BEAM - float(frame.beam.height)
    return float(frame.feeder.tray_floor)


def tray_height(frame: Frame) -> float:
    """Return the height of all trays: each stays below its open flap, or below what rolls off the last.

    >>> 60 < tray_height(Frame.load()) < 70
    True
    """
    last = int(frame.feeder.places)
    lowest = [surface(frame, tray, swing_deg(frame, tray))[1][1] for tray in range(1, last)]
    lowest.append(along(frame, axle(frame, last), 0.0, -UNDER_LAST)[1])
    return float(round(min(z - UNDER_FLAP - bottom(frame, tray) for tray, z in enumerate(lowest, 1))))


def tray_top(frame: Frame, tray: int) -> float:
    """Return the height of a tray's upper edge."""
    return bottom(frame, tray) + tray_height(frame)


def divider(frame: Frame, before: int) -> tuple[float, float]:
    """Return the lower and upper edge of the divider before a tray; the number after the last is the end wall.

    >>> frame = Frame.load()
    >>> low, high = divider(frame, 1)
    >>> high < axle(frame, 1)[1], divider(frame, 8)[1] > axle(frame, 7)[1]
    (True, True)
    """
    last = int(frame.feeder.places)
    beside = {max(1, before - 1), min(last, before)}
    low = max(tray_top(frame, tray) for tray in beside) + OVER_TRAY
    if before > last:
        return low, axle(frame, last)[1] + float(frame.feeder.end_wall_over)
    return low, axle(frame, before)[1] - UNDER_AXLE


def inner_width(frame: Frame) -> float:
    """Return the width between a tray's walls."""
    return float(frame.feeder.pitch) - PLAY - 2 * float(frame.feeder.tray_sheet)


def holds(frame: Frame, diameter: float) -> int:
    """Return how many shafts of a diameter a tray holds, level with its walls.

    >>> holds(Frame.load(), 6.0) >= 80
    True
    """
    section = inner_width(frame) * (tray_height(frame) - frame.feeder.tray_sheet)
    return int(FILL * section / (pi / 4 * diameter**2))


def falls_mm(frame: Frame, tray: int) -> float:
    """Return how deep a shaft falls from the edge of the open flap, or of the last, onto the floor of its tray."""
    last = tray == frame.feeder.places
    free = surface(frame, tray - 1)[1] if last else surface(frame, tray, swing_deg(frame, tray))[1]
    return free[1] - bottom(frame, tray) - float(frame.feeder.tray_sheet)


def speed_mm_s(frame: Frame, at: float, solid: bool) -> float:
    """Return how fast a shaft at most rolls at a height: from the gate's hump all the way without loss.

    Parameters
    ----------
    frame : Frame
        The frame's dimensions.
    at : float
        Height of the edge it rolls on, mm.
    solid : bool
        A solid rod, which turning slows less than a thin tube.

    Returns
    -------
    float
        The speed, mm/s.
    """
    hump = finger(frame, float(frame.feeder.gate_swing))[2][1]
    return sqrt(2 * GRAVITY * max(0.0, hump - at) / (1.5 if solid else 2.0))


def caught_mm(frame: Frame, place: int, diameter: float, solid: bool = True) -> float:
    """Return how much higher a shaft would have to rise to pass over the opened flap's place, flying into the next hub.

    It comes as fast as it can, hits the hub, keeps all speed along the hub's face and none against it.

    Parameters
    ----------
    frame : Frame
        The frame's dimensions.
    place : int
        Place whose flap is open.
    diameter : float
        Of the shaft, mm.
    solid : bool
        A solid rod, which is faster than a thin tube.

    Returns
    -------
    float
        What it lacks, mm; below 0 it passes over.

    Examples
    --------
    >>> caught_mm(Frame.load(), 6, 10.0) > 0
    True
    """
    slope, pitch = radians(frame.feeder.slope), pitch_along(frame)
    reach = frame.feeder.axle_depth + diameter / 2
    s, n, seconds = 0.0, reach, 0.0
    speed = speed_mm_s(frame, surface(frame, place)[0][1], solid)
    while hypot(s - pitch, n) > reach and s < pitch:
        seconds += 1e-4
        s = speed * seconds + GRAVITY * sin(slope) * seconds**2 / 2
        n = reach - GRAVITY * cos(slope) * seconds**2 / 2
    along_s, along_n = speed + GRAVITY * sin(slope) * seconds, -GRAVITY * cos(slope) * seconds
    out = (s - pitch) / reach, n / reach
    upward = along_s * out[1] - along_n * out[0]  # along the face, towards the hub's top
    height = n * cos(slope) - (s - pitch) * sin(slope)
    return reach - height - max(0.0, upward) ** 2 / (2 * GRAVITY)
