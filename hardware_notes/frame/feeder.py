"""The edges of the feeder that shafts roll over, and the way of a shaft in, out, and of the check standard back."""

from __future__ import annotations

from collections.abc import Iterator
from math import asin, atan2, cos, degrees, pi, radians, sin, sqrt, tan
from typing import NamedTuple

from frame.dimensions import Frame
from frame.rolling import Line, Point, Roll, Surfaces, clearance, rest, roll, turned
from frame.selector import axle, surface, underside

STEP_DEG = 2.0  # between the places that are looked at
GRAVITY = 9810.0  # mm/s2
PUSHED_MOST_DEG = 60.0  # of the check standard's flap: over all that passes under it
RAMP_FROM_DEG = 60.5  # of the round part of the ramp's underside, seen from the lift's axis


class Carried(NamedTuple):
    """A shaft in a part that turns: the part's angle and the shaft's axis."""

    angle_deg: float
    axis: Point


def point(values: list[float]) -> Point:
    """Return a place of the parameters file as y and z."""
    return float(values[0]), float(values[1])


def sloped(start: Point, length: float, slope_deg: float) -> Point:
    """Return the end of an edge that begins at `start`; a positive length leads to the front, a positive slope up."""
    return start[0] + length * cos(radians(slope_deg)), start[1] + length * sin(radians(slope_deg))


# Edges


def rollers(frame: Frame) -> Surfaces:
    """Return the rims of the two rollers of a support."""
    size = float(frame.support.roller_diameter) / 2
    height = float(frame.support.axle_height)
    return Surfaces(discs=tuple(((side * frame.half_rollers, height), size) for side in (-1, 1)))


def head(frame: Frame) -> Surfaces:
    """Return the head's two bearings at home."""
    reach, size = frame.head.spacing / 2, frame.head.bearing[1] / 2
    return Surfaces(discs=tuple(((side * reach, frame.head_home_z), size) for side in (-1, 1)))


def finger(frame: Frame, raised_deg: float = 0.0) -> Line:
    """Return the upper edge of a finger of the gate from its rear tip to its tail."""
    at_rest = [point(getattr(frame.feeder, f"gate_{name}")) for name in ("rear", "pocket", "hump", "tail")]
    return turned(at_rest, point(frame.feeder.gate_pivot), -raised_deg)


def ramp(frame: Frame) -> Line:
    """Return the outline of the ramp: underside, round beside the lift's way, tip, upper edge up to the step."""
    end, middle = point(frame.feeder.ramp_end), point(frame.feeder.lift_pivot)
    under, radius = end[1] - frame.feeder.ramp_tip, float(frame.feeder.ramp_clear)
    steepest = degrees(asin((under - middle[1]) / radius))
    below = [sloped(middle, radius, RAMP_FROM_DEG + (steepest - RAMP_FROM_DEG) * i / 5) for i in range(6)]
    length = (frame.feeder.fork_y - end[0]) / cos(radians(frame.feeder.slope))
    return (*below, (end[0], under), end, sloped(end, length, float(frame.feeder.slope)))


def arms(frame: Frame, raised_deg: float = 0.0) -> Line:
    """Return the upper edge of the lift's arms: end of the way out, rim, foot and front of the pocket."""
    up = [point(values) for values in frame.feeder.lift_pocket]
    return turned(up, point(frame.feeder.lift_pivot), raised_deg - frame.feeder.lift_swing)


def first_flap(frame: Frame, turned_deg: float = 0.0) -> Line:
    """Return the check standard's flap from its free to its lower end; a positive angle lets the free end fall."""
    return surface(frame, 0, turned_deg)


def slot_guide(frame: Frame) -> Line:
    """Return the front edge of the brackets, which keeps the falling check standard in front of the arms' pocket."""
    top, foot = frame.feeder.slot_guide
    return point(top), point(foot)


# Ways


def entry(frame: Frame, diameter: float) -> Roll:
    """Return the way of a shaft from the ramp's end over the finger into the nip.

    >>> way = entry(Frame.load(), 6.0)
    >>> abs(round(way.end[0], 1)), way.flattest_deg > 3
    (0.0, True)
    """
    floor = rollers(frame).with_(Surfaces(lines=(finger(frame), ramp(frame)[-2:])))
    start = frame.feeder.ramp_end[0] + diameter / 2 * sin(radians(frame.feeder.slope)) + 10.0
    return roll(start, -30.0, diameter / 2, floor)


def thrown(frame: Frame, diameter: float) -> tuple[Point, float]:
    """Return where the axis is when a shaft that comes from the fork lands on the finger, and its gap past the head.

    As fast as it can be: a solid rod that rolled all the way without loss, which half as much again slows as it turns.

    >>> (y, _), past_head = thrown(Frame.load(), 6.0)
    >>> 18 < y < 40, past_head > 1
    (True, True)
    """
    slope, end = float(frame.feeder.slope), point(frame.feeder.ramp_end)
    on_tip = sloped(end, diameter / 2, slope + 90)
    run = (frame.feeder.fork_y - end[0]) / cos(radians(slope))
    speed = sqrt(2 * GRAVITY * run * sin(radians(slope)) / 1.5)
    edge, past_head, axis, ms = Surfaces(lines=(finger(frame),)), 1e3, on_tip, 0
    while clearance(axis, diameter / 2, edge) > 0 and axis[0] > 0:
        ms += 1
        gone = sloped((0.0, 0.0), -speed * ms / 1e3, slope)
        axis = on_tip[0] + gone[0], on_tip[1] + gone[1] - GRAVITY * (ms / 1e3) ** 2 / 2
        past_head = min(past_head, clearance(axis, diameter / 2, head(frame)))
    return axis, past_head


def loaded(frame: Frame, diameter: float) -> float:
    """Return the gap between the fingers at rest and a shaft that is pressed down as far as the press reaches.

    >>> loaded(Frame.load(), 4.0) > 1.0
    True
    """
    down = frame.bent_share(frame.feeder.finger_x) * (frame.press.travel - frame.press.home_clearance)
    edges = Surfaces(lines=(finger(frame),))
    steps = [down * i / 20 for i in range(21)]
    return min(clearance((0.0, frame.shaft_z(diameter) - step), diameter / 2, edges) for step in steps)


def angles(swing_deg: float) -> Iterator[float]:
    """Yield the angles of a swing from rest to its end.

    >>> list(angles(5.0))
    [0.0, 2.0, 4.0, 5.0]
    """
    steps = int(swing_deg / STEP_DEG)
    yield from (STEP_DEG * i for i in range(steps + 1))
    if STEP_DEG * steps < swing_deg:
        yield swing_deg


def carried_out(frame: Frame, diameter: float) -> tuple[Carried, ...]:
    """Return the shaft's places while the gate lifts it, until it rolls off the fingers to the front.

    >>> places = carried_out(Frame.load(), 6.0)
    >>> places[0].angle_deg, 60 < places[-1].angle_deg < 80
    (0.0, True)
    """
    places = []
    axis: Point = (0.0, frame.shaft_z(diameter))
    for angle in angles(float(frame.feeder.gate_swing)):
        edge = finger(frame, angle)
        axis = rest(axis[0], diameter / 2, rollers(frame).with_(Surfaces(lines=(edge, first_flap(frame)))))
        if axis[0] > edge[2][0]:
            break
        places.append(Carried(angle, axis))
    return tuple(places)


def exit_way(frame: Frame, diameter: float, onto: Line) -> Roll:
    """Return the way of a shaft from the raised fingers to the front, onto a flap."""
    edge = finger(frame, float(frame.feeder.gate_swing))
    start = edge[1][0] + diameter / 2 / tan(radians(40))
    return roll(start, onto[-1][0], diameter / 2, Surfaces(lines=(edge, onto)))


def in_pocket(frame: Frame, diameter: float, raised_deg: float = 0.0) -> Point:
    """Return the axis of a shaft that touches both walls of the pocket in the lift's arms."""
    _, rim, foot, front = arms(frame, raised_deg)
    walls = [atan2(end[1] - foot[1], end[0] - foot[0]) for end in (rim, front)]
    half = (walls[0] - walls[1]) % (2 * pi) / 2
    away = diameter / 2 / sin(half)
    return foot[0] + away * cos(walls[1] + half), foot[1] + away * sin(walls[1] + half)


def leans_back_at(frame: Frame) -> float:
    """Return the angle of the lift at which the pocket's rear wall is level; from there on the shaft rolls off it.

    >>> round(leans_back_at(Frame.load()))
    112
    """
    _, rim, foot, _ = arms(frame)
    return 180 - degrees(atan2(rim[1] - foot[1], rim[0] - foot[0]))


def carried_back(frame: Frame, diameter: float) -> tuple[Carried, ...]:
    """Return the check standard's places while the lift's arms raise it, in the pocket until the end.

    >>> places = carried_back(Frame.load(), 8.0)
    >>> places[0].axis[1] < 30, places[-1].axis[1] > 110
    (True, True)
    """
    return tuple(Carried(angle, in_pocket(frame, diameter, angle)) for angle in angles(float(frame.feeder.lift_swing)))


def flap_pushed(frame: Frame, diameter: float, axis: Point) -> float:
    """Return by how many degrees a shaft that rises under the check standard's shut flap holds it up; 0 if not at all.

    >>> frame = Frame.load()
    >>> flap_pushed(frame, 6.0, (80.0, 20.0)), flap_pushed(frame, 6.0, (85.0, 84.0)) > 5
    (0.0, True)
    """
    shut, hinge = underside(frame, 0), axle(frame, 0)
    angle = PUSHED_MOST_DEG  # comes down from over the shaft, so that it stops on it and not below it
    while angle > 0 and clearance(axis, diameter / 2, Surfaces(lines=(turned(shut, hinge, 0.25 - angle),))) >= 0:
        angle -= 0.25
    return angle


def return_way(frame: Frame, diameter: float) -> Roll:
    """Return the way of the check standard from the raised arms over the finger into the nip."""
    up = arms(frame, float(frame.feeder.lift_swing))[:3]
    floor = rollers(frame).with_(Surfaces(lines=(up, finger(frame))))
    start = carried_back(frame, diameter)[-1].axis[0]
    return roll(start, -30.0, diameter / 2, floor)
