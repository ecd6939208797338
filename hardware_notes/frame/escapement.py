"""The fork that lets one shaft at a time out of the hopper: it lifts the first over a step, its end holds the next.

Places are counted along the hopper's slope from the foot of the step, and square to it.
"""

from __future__ import annotations

from math import atan2, degrees, hypot, radians, sqrt, tan

from frame.dimensions import Frame
from frame.feeder import Carried, angles, point, sloped
from frame.rolling import Line, Point, Surfaces, rest, turned

FACE_DEG = 20.0  # of the arms' round end, which holds the row while they are up


def on_slope(frame: Frame, along: float, square: float) -> Point:
    """Return the place with these distances from the foot of the step, along the slope and square to it.

    >>> frame = Frame.load()
    >>> top = on_slope(frame, 0.0, frame.feeder.fork_step)
    >>> round(top[0], 6) == frame.feeder.fork_y
    True
    """
    slope, end = float(frame.feeder.slope), point(frame.feeder.ramp_end)
    up = frame.feeder.fork_y - end[0]
    foot = sloped((end[0] + up, end[1] + up * tan(radians(slope))), -float(frame.feeder.fork_step), slope + 90)
    return sloped(sloped(foot, along, slope), square, slope + 90)


def rail_edge(frame: Frame) -> Line:
    """Return the upper edge of the rails: ramp, step, floor of the hopper up to its end."""
    step = float(frame.feeder.fork_step)
    corners = [(0.0, step), (0.0, 0.0), (float(frame.feeder.hopper_length), 0.0)]
    return (point(frame.feeder.ramp_end), *(on_slope(frame, s, n) for s, n in corners))


def axis(frame: Frame) -> Point:
    """Return the place of the fork's rod."""
    return on_slope(frame, *frame.feeder.fork_axis)


def face(frame: Frame, raised_deg: float = 0.0) -> Line:
    """Return the arms' upper edge and round end, whose middle is the rod: it does not move the shaft that it holds."""
    rod = axis(frame)
    inner, corner = (on_slope(frame, *values) for values in frame.feeder.fork_top)
    edge = [inner, *(turned([corner], rod, -FACE_DEG * i / 10)[0] for i in range(11))]
    return turned(edge, rod, raised_deg)


def forward(frame: Frame, diameter: float) -> float:
    """Return how far uphill of the step the stops are set for shafts of that diameter; 0 for most.

    >>> forward(Frame.load(), 6.0)
    0.0
    """
    return float(frame.feeder.fork_forward) if diameter < frame.feeder.fork_thinnest else 0.0


def lifted(frame: Frame, diameter: float) -> tuple[Carried, ...]:
    """Return the first shaft's places while the arms lift it, until it rolls over the step.

    >>> places = lifted(Frame.load(), 6.0)
    >>> places[-1].angle_deg <= Frame.load().feeder.fork_swing
    True
    """
    places, rail, away = [], rail_edge(frame), forward(frame, diameter)
    rail = (rail[0], on_slope(frame, away, frame.feeder.fork_step), on_slope(frame, away, 0.0), rail[3])
    at = on_slope(frame, away + diameter / 2, diameter / 2)
    for angle in angles(float(frame.feeder.fork_swing)):
        at = rest(at[0], diameter / 2, Surfaces(lines=(rail, face(frame, angle)[:2])), reach=20.0)
        places.append(Carried(angle, at))
        if at[0] < rail[0][0]:
            break
    return tuple(places)


def holds_next(frame: Frame, diameter: float) -> float:
    """Return the gap along the slope between the rising arms and the second shaft in a row; below 0 they lift it too.

    >>> holds_next(Frame.load(), 4.0) > 0
    True
    """
    rod, corner = frame.feeder.fork_axis, frame.feeder.fork_top[1]
    reach = hypot(corner[0] - rod[0], corner[1] - rod[1])
    heights = [corner[1] + (diameter / 2 - corner[1]) * i / 10 for i in range(11)]
    gaps = []
    for n in heights:
        left = forward(frame, diameter) + 1.5 * diameter - sqrt(max(0.0, (diameter / 2) ** 2 - (n - diameter / 2) ** 2))
        gaps.append(left - rod[0] - sqrt(reach**2 - (n - rod[1]) ** 2))
    return min(gaps)


def climbs_deg(frame: Frame, diameter: float) -> float:
    """Return by how many degrees off the slope the arms' end pushes the row that it holds; positive lifts it.

    >>> climbs_deg(Frame.load(), 10.0) < 8
    True
    """
    rod = frame.feeder.fork_axis
    reach = hypot(frame.feeder.fork_top[1][0] - rod[0], frame.feeder.fork_top[1][1] - rod[1])
    height = diameter / 2 - rod[1]
    return degrees(atan2(height, sqrt((reach + diameter / 2) ** 2 - height**2)))


def top_slope_deg(frame: Frame, raised_deg: float) -> float:
    """Return how steeply the arms' upper edge leads down to the front of the gauge."""
    inner, corner = face(frame, raised_deg)[:2]
    return degrees(atan2(corner[1] - inner[1], corner[0] - inner[0]))
