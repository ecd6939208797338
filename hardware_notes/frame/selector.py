"""The selector's flaps on their axles, how each stands shut and open, and the angles and pulses of its places.

Flap 0 is the check standard's; the flaps from 1 lie over the trays, one less than there are trays, because the last
tray takes what rolls over all of them. Along the runway: s down to the front, n out of it.
"""

from __future__ import annotations

from math import atan2, cos, degrees, radians, sin

from frame.dimensions import Frame
from frame.rolling import Line, Point, Surfaces, turned

UNDER = 2.0  # mm, how far below its axle a flap begins at its hub


def along(frame: Frame, start: Point, s: float, n: float) -> Point:
    """Return the place `s` down the runway from another and `n` out of it.

    >>> [round(v, 2) for v in along(Frame.load(), (0.0, 0.0), 10.0, 0.0)]
    [9.66, -2.59]
    """
    slope = radians(frame.feeder.slope)
    return start[0] + s * cos(slope) + n * sin(slope), start[1] - s * sin(slope) + n * cos(slope)


def pitch_along(frame: Frame) -> float:
    """Return the distance between two axles, measured along the runway."""
    return float(frame.feeder.pitch) / cos(radians(frame.feeder.slope))


def flaps(frame: Frame) -> range:
    """Return the numbers of the flaps.

    >>> list(flaps(Frame.load()))
    [0, 1, 2, 3, 4, 5, 6]
    """
    return range(int(frame.feeder.places))


def axle(frame: Frame, flap: int) -> Point:
    """Return where a flap's axle is; the number after the last flap gives the runway's end.

    >>> axle(Frame.load(), 0)
    (123.8, 70.9)
    >>> y1, y2 = axle(Frame.load(), 1)[0], axle(Frame.load(), 2)[0]
    >>> round(y2 - y1, 6)
    60.0
    """
    first = float(frame.feeder.first_flap[0]), float(frame.feeder.first_flap[1])
    if flap == 0:
        return first
    s = float(frame.feeder.first_spacing) + (flap - 1) * pitch_along(frame)
    return along(frame, first, s, -float(frame.feeder.flap_step))


def flap_x(frame: Frame, flap: int) -> float:
    """Return how far a pair of flaps stands from midspan.

    >>> [flap_x(Frame.load(), flap) for flap in (0, 1, 2)]
    [248.0, 232.0, 248.0]
    """
    return float(frame.feeder.flap_x if flap % 2 else frame.feeder.even_flap_x)


def reach(frame: Frame, flap: int) -> tuple[float, float]:
    """Return how far a flap's surface reaches down the runway and up it, from its axle."""
    if flap == 0:
        return float(frame.feeder.first_flap_tail), float(frame.feeder.first_flap_length)
    return pitch_along(frame) - float(frame.feeder.flap_gap), 0.0


def swing_deg(frame: Frame, flap: int) -> float:
    """Return the turn about +x that opens a flap.

    >>> swing_deg(Frame.load(), 0), swing_deg(Frame.load(), 1)
    (76.0, -40.0)
    """
    return float(frame.feeder.first_flap_swing) if flap == 0 else -float(frame.feeder.flap_swing)


def shut_deg(frame: Frame, flap: int) -> float:
    """Return the slope of a shut flap's surface as a turn about +x: a little flatter than the line of the axles.

    >>> shut_deg(Frame.load(), 0), round(shut_deg(Frame.load(), 1), 2)
    (-15.0, -14.5)
    """
    if flap == 0:
        return -float(frame.feeder.slope)
    return -float(frame.feeder.slope) + degrees(atan2(frame.feeder.flap_step, reach(frame, flap)[0]))


def surface(frame: Frame, flap: int, turned_deg: float = 0.0) -> Line:
    """Return the upper edge of a flap from its upper to its lower end, turned by so much from where it is shut."""
    down, up = reach(frame, flap)
    y, z = axle(frame, flap)
    depth = float(frame.feeder.axle_depth)
    return turned([(y - up, z + depth), (y + down, z + depth)], (y, z), shut_deg(frame, flap) + turned_deg)


def belly(frame: Frame, flap: int) -> Line:
    """Return the lower edge of a flap with its axle at the origin and its surface level, from hub to free end."""
    down, up = reach(frame, flap)
    side, free = (1, down) if flap else (-1, up)
    depth, tip = float(frame.feeder.axle_depth), float(frame.feeder.flap_tip)
    full = free - (float(frame.feeder.flap_bevel) if flap else 2 * float(frame.feeder.flap_bevel))
    knee = -UNDER if flap else 0.0
    return (side * depth, -UNDER), (side * full, knee), (side * free, depth - tip), (side * free, depth)


def underside(frame: Frame, flap: int, turned_deg: float = 0.0) -> Line:
    """Return the lower edge of a flap from where its hub ends to its free end, and the edge of that."""
    y, z = axle(frame, flap)
    edge = [(y + s, z + n) for s, n in belly(frame, flap)]
    return turned(edge, (y, z), shut_deg(frame, flap) + turned_deg)


def bridges(frame: Frame) -> range:
    """Return the numbers of the axles that pass through bridges; the last bridge has none and ends the runway."""
    return range(1, int(frame.feeder.places) + 1)


def bridge(frame: Frame, number: int) -> Line:
    """Return the flat top of a bridge, which ends over the axle."""
    at, depth = axle(frame, number), float(frame.feeder.axle_depth)
    return along(frame, at, -float(frame.feeder.bridge), depth), along(frame, at, 0.0, depth)


def runway(frame: Frame, opened: int | None = None) -> Surfaces:
    """Return all flaps, hubs and bridges with one of them open, or shut where it is None.

    Parameters
    ----------
    frame : Frame
        The frame's dimensions.
    opened : int or None
        Number of the open flap.

    Returns
    -------
    Surfaces
        Edges of flaps and bridges, and their round ends as discs.
    """
    lines = [surface(frame, i, swing_deg(frame, i) if i == opened else 0.0) for i in flaps(frame)]
    lines += [bridge(frame, i) for i in bridges(frame)]
    hubs = (axle(frame, i) for i in (0, *bridges(frame)))
    return Surfaces(tuple(lines), tuple((at, float(frame.feeder.axle_depth)) for at in hubs))


# Places


def stations(frame: Frame) -> int:
    """Return how many places the selector has: the trays, and last the check standard's."""
    return int(frame.feeder.places) + 1


def flap_of(frame: Frame, place: int) -> int | None:
    """Return the flap that is open at a place, or None where all are shut: at the last tray.

    >>> frame = Frame.load()
    >>> flap_of(frame, 1), flap_of(frame, 7), flap_of(frame, 8)
    (1, None, 0)
    """
    if place == stations(frame):
        return 0
    return place if place < frame.feeder.places else None


def cam_deg(frame: Frame, place: int) -> float:
    """Return the camshaft's angle at a place, from that at the first.

    >>> [cam_deg(Frame.load(), place) for place in (1, 2, 7, 8)]
    [0.0, 18.0, 108.0, 135.0]
    """
    trays = min(place, int(frame.feeder.places)) - 1
    return frame.feeder.cam_step * trays + (frame.feeder.standard_step if place == stations(frame) else 0.0)


def notch_deg(frame: Frame, flap: int) -> float:
    """Return the camshaft's angle at which a flap's roller lies in the middle of its notch."""
    return cam_deg(frame, stations(frame) if flap == 0 else flap)


def pulses_us(frame: Frame) -> list[int]:
    """Return the servo's pulse for each place; the middle of all lies in the middle of its turn.

    >>> pulses_us(Frame.load())
    [750, 950, 1150, 1350, 1550, 1750, 1950, 2250]
    """
    low, high = frame.feeder.servo_us
    middle = cam_deg(frame, stations(frame)) / 2
    us_per_deg = (high - low) / frame.feeder.servo_deg
    angles = (cam_deg(frame, place) for place in range(1, stations(frame) + 1))
    return [round((low + high) / 2 + (angle - middle) * us_per_deg) for angle in angles]


def most_trays(frame: Frame) -> int:
    """Return how many trays fit in the servo's turn.

    >>> most_trays(Frame.load())
    9
    """
    return int((frame.feeder.servo_deg - frame.feeder.standard_step) / frame.feeder.cam_step) + 1
