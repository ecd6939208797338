"""Draws the feeder from the side: hopper, escapement, gate, chute, selector, trays, lift of the check standard."""

from __future__ import annotations

from math import cos, radians, tan

from draw_geometry import Frame
from draw_svg import LIGHT, SHAFT, Point, Sheet, View, polar, turned


def feeder(frame: Frame) -> Sheet:
    """Return the route of a shaft, seen from the gauge's right end, front to the right."""
    sheet = Sheet(1060, 640, "Feeder: hopper, escapement, gate, chute, selector")
    view = sheet.view(190, 430, 1.35)
    _gauge(view, frame)
    _entry(view, frame)
    _gate(view, frame)
    _exit(view, frame)
    _lift(view, frame)
    _dimensions(view, frame)
    sheet.text((530, 620), "From the right end, front to the right. Dashed: the other end of each motion. "
               "In millimetres, from frame.toml.", 11)  # fmt: skip
    return sheet


def hopper_shafts(frame: Frame) -> int:
    """Return how many shafts of the usual size lie in the hopper in one row."""
    return int(frame.feeder["hopper_length"] / frame.shaft["usual"])


def _gauge(view: View, frame: Frame) -> None:
    view.box((-frame.beam["width"] / 2, -frame.beam["height"]), (frame.beam["width"] / 2, 0), fill=LIGHT)
    back, half = frame.press["column_y"], frame.press["column"] / 2
    view.box((back - half, -frame.beam["height"]), (back + half, frame.press["column_height"] - 60), fill=LIGHT)
    for y in (-frame.half_rollers, frame.half_rollers):
        view.circle((y, frame.support["axle_height"]), frame.support["roller_diameter"], fill="#ffffff")
    view.circle((0, frame.shaft_z(frame.shaft["usual"])), frame.shaft["usual"], fill=SHAFT)
    for y in (-frame.press["head_spacing"] / 2, frame.press["head_spacing"] / 2):
        view.circle((y, frame.head_home_z), frame.press["head_bearing"], fill="#ffffff")
    view.box((-4, frame.head_home_z + 6), (4, frame.head_home_z + 50), fill="#ffffff")
    view.part("h", (0, frame.head_home_z + 30), (-36, -50))


def _slope(frame: Frame, start: Point, length: float) -> Point:
    """Return the end of a rail that rises to the front from its start."""
    dy, dz = polar(length, frame.feeder["slope_deg"])
    return start[0] + dy, start[1] + dz


def entry_start(frame: Frame) -> Point:
    """Return the upper face of the entry ramp at its lower end."""
    feeder = frame.feeder
    return feeder["entry_y"], feeder["pivot_z"] + feeder["entry_drop"] + 4.0


def _entry(view: View, frame: Frame) -> None:
    feeder, start = frame.feeder, entry_start(frame)
    ramp = 62.0
    end = _slope(frame, start, ramp + feeder["hopper_length"])
    down = feeder["rail"] / cos(radians(feeder["slope_deg"]))
    view.area(start, end, (end[0], end[1] - down), (start[0], start[1] - down), fill=LIGHT)
    usual, slope = frame.shaft["usual"], feeder["slope_deg"]
    for i in range(14):
        at = _slope(frame, start, ramp + 4 + usual * (i + 0.5))
        lift = polar(usual / 2, slope + 90)
        view.circle((at[0] + lift[0], at[1] + lift[1]), usual, fill=SHAFT, width=0.6)
    pivot = _slope(frame, start, ramp + 2)
    pivot = (pivot[0], pivot[1] - 14)
    view.circle(pivot, 5, fill="#ffffff")
    front, rear = _slope(frame, start, ramp + 1), _slope(frame, start, ramp + 4.5 + usual)
    view.line(pivot, (front[0], front[1] + 8), width=2)
    view.line(pivot, (rear[0], rear[1] - 4), width=2)
    view.part("b", pivot, (96, 4))
    view.part("a", _slope(frame, start, ramp + 200), (0, -40))
    view.part("s1", _slope(frame, start, ramp + 60), (30, -46))


def _finger(frame: Frame, swing_deg: float) -> list[Point]:
    """Return the upper edge of a gate's finger: from pivot over front roller, down into the nip, and the lip."""
    pivot = frame.feeder["pivot_y"], frame.feeder["pivot_z"]
    over = frame.half_rollers, frame.roller_top_z + 1.5
    notch = frame.support["axle_height"] + 1.0
    edge = [(pivot[0] + 12, pivot[1] - 1), pivot, over, (4.5, notch), (-5, notch), (-7, notch + 6)]
    return [turned(point, pivot, -swing_deg) for point in edge]


def _gate(view: View, frame: Frame) -> None:
    swing = frame.feeder["finger_swing_deg"]
    shut, raised = _finger(frame, 0), _finger(frame, swing)
    view.line(*shut, width=2.4)
    view.line(*raised, width=1.2, dash="5 3")
    pivot = frame.feeder["pivot_y"], frame.feeder["pivot_z"]
    view.circle(pivot, 6, fill="#ffffff")
    view.part("c", pivot, (20, 96))
    spot = raised[2]
    view.circle((spot[0] - 4, spot[1] + 3.6), frame.shaft["usual"], dash="2 2", width=0.6)
    view.part("s2", (-8, frame.shaft_z(frame.shaft["usual"]) - 5), (-60, 24))
    view.part("s3", (6, frame.roller_top_z + 12), (70, -84))


def exit_end(frame: Frame) -> Point:
    """Return the upper face of the chute at its lower end, where the selector begins."""
    feeder = frame.feeder
    y = feeder["pivot_y"] + 10
    return y + feeder["exit_length"], feeder["pivot_z"] - 6 - feeder["exit_length"] * tan(radians(feeder["slope_deg"]))


def _exit(view: View, frame: Frame) -> None:
    feeder, end = frame.feeder, exit_end(frame)
    start = (feeder["pivot_y"] + 10, feeder["pivot_z"] - 6)
    view.area(start, end, (end[0], end[1] - feeder["rail"]), (start[0], start[1] - feeder["rail"]), fill=LIGHT)
    view.part("d", ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2), (-6, 62))
    view.part("s4", (end[0] - 14, end[1] + 4), (20, -44))
    pivot = end[0] + 5, end[1] - 5
    for i, angle in enumerate(feeder["flap_deg"]):
        dy, dz = polar(feeder["flap_length"], angle)
        view.line(pivot, (pivot[0] + dy, pivot[1] + dz), width=2.4 if i == 1 else 0.9, dash="" if i == 1 else "5 3")
    view.circle(pivot, 6, fill="#ffffff")
    view.part("e", pivot, (90, 4))
    _trays(view, frame, pivot)


def tray_left(frame: Frame, place: int) -> float:
    """Return the rear edge of the tray of a place, counted from 1, the farthest."""
    places = len(frame.feeder["flap_deg"])
    return exit_end(frame)[0] - 20 + float((places - place) * frame.feeder["tray_width"])


def _trays(view: View, frame: Frame, pivot: Point) -> None:
    wide, low = frame.feeder["tray_width"], frame.feeder["tray_z"]
    for place in range(1, len(frame.feeder["flap_deg"])):
        left = tray_left(frame, place)
        view.line((left, low + 46), (left + 4, low), (left + wide - 4, low), (left + wide, low + 46), width=1.4)
        view.text((left + wide / 2, low + 8), str(place), 11, bold=True)


def lift_pivot(frame: Frame) -> Point:
    """Return the pivot of the arms that bring the check standard from the selector's foot to the gate's fingers."""
    low, high = lift_ends(frame)
    middle = (low[0] + high[0]) / 2, (low[1] + high[1]) / 2
    half = ((high[0] - low[0]) ** 2 + (high[1] - low[1]) ** 2) ** 0.5 / 2
    away = (frame.feeder["lift_radius"] ** 2 - half**2) ** 0.5
    across = (high[1] - low[1]) / (2 * half), -(high[0] - low[0]) / (2 * half)
    return middle[0] + away * across[0], middle[1] + away * across[1]


def lift_ends(frame: Frame) -> tuple[Point, Point]:
    """Return where the arms' tips are down, and up."""
    foot = exit_end(frame)
    return (foot[0] + 4, foot[1] - frame.feeder["flap_length"] - 8), (
        frame.feeder["pivot_y"] + 6,
        frame.feeder["pivot_z"] + 4,
    )


def _lift(view: View, frame: Frame) -> None:
    low, high = lift_ends(frame)
    pivot = lift_pivot(frame)
    view.line(pivot, low, width=2.4)
    view.line((low[0] - 7, low[1] + 9), low, (low[0] + 7, low[1] + 9), width=2.4)
    view.circle((low[0], low[1] + 5), frame.shaft["usual"], fill=SHAFT)
    view.line(pivot, high, width=0.9, dash="5 3")
    view.circle(pivot, 6, fill="#ffffff")
    view.part("f", ((pivot[0] + low[0]) / 2, (pivot[1] + low[1]) / 2), (-60, -10))
    view.part("s5", (low[0] - 6, low[1] + 2), (-50, 30))
    view.text((low[0], low[1] - 14), "5", 11, bold=True)


def _dimensions(view: View, frame: Frame) -> None:
    feeder, start = frame.feeder, entry_start(frame)
    view.across(0, feeder["pivot_y"], frame.head_home_z + 60, 6)
    lowest = frame.head_home_z - frame.press["head_bearing"] / 2
    view.upright(lowest - frame.press["home_clearance"], lowest, -12, -36)
    end = _slope(frame, start, 62.0 + feeder["hopper_length"])
    view.across(
        start[0] + 62, end[0], end[1], 24, f"hopper {feeder['hopper_length']:g}, slope {feeder['slope_deg']:g}°"
    )
    left = tray_left(frame, 1)
    view.across(left, left + feeder["tray_width"], feeder["tray_z"], -22)
