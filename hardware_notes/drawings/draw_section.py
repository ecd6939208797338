"""Draws the frame cut at midspan, with details of the rollers, the head and the stop."""

from __future__ import annotations

from draw_geometry import Frame
from draw_svg import LIGHT, SHAFT, Sheet, View, number, polar


def section(frame: Frame) -> Sheet:
    """Return the gauge cut at midspan, and three details."""
    sheet = Sheet(1060, 700, "Frame cut at midspan, with details of rollers, head and stop")
    _cut(sheet.view(230, 520, 1.15), frame)
    _rollers(sheet.view(560, 220, 3.2), frame)
    _head(sheet.view(890, 220, 3.6), frame)
    _rim(sheet.view(560, 520, 14.0), frame)
    _stop(sheet.view(880, 520, 3.2), frame)
    return sheet


def _cut(view: View, frame: Frame) -> None:
    beam, press = frame.beam, frame.press
    view.box((-beam["width"] / 2, -beam["height"]), (beam["width"] / 2, 0), fill=LIGHT)
    back, half = press["column_y"], press["column"] / 2
    view.box((back - half, -beam["height"]), (back + half, press["column_height"]), fill=LIGHT)
    view.box((back + half, -beam["height"]), (-beam["width"] / 2, -8), fill="#ffffff")
    view.part(15, (back + half + 12, -40), (10, 78))
    motor, top = press["motor"], press["column_height"]
    view.box((back - half, top), (press["screw_y"] + motor / 2, top + 8), fill="#ffffff")
    view.box((press["screw_y"] - motor / 2, top + 8), (press["screw_y"] + motor / 2, top + 8 + motor), fill="#ffffff")
    view.part(7, (press["screw_y"], top + 30), (60, -6))
    screw = press["screw_diameter"] / 2
    view.box((press["screw_y"] - screw, 70), (press["screw_y"] + screw, top), fill="#ffffff")
    view.part(16, (press["screw_y"], top - 40), (66, 0))
    _carriage(view, frame)
    for y in (-frame.half_rollers, frame.half_rollers):
        view.circle((y, frame.support["axle_height"]), frame.support["roller_diameter"], dash="4 3", width=0.6)
    view.circle((frame.support["layshaft_y"], frame.support["layshaft_z"]), 8, fill="#ffffff")
    view.part(14, (frame.support["layshaft_y"], frame.support["layshaft_z"]), (110, 40))
    view.part(4, (frame.half_rollers + 10, frame.support["axle_height"] - 8), (70, 26))
    view.circle((0, frame.shaft_z(frame.shaft["usual"])), frame.shaft["usual"], fill=SHAFT)
    _dimensions_cut(view, frame)
    view.text((0, -150), "Cut at midspan, front to the right", 11 / view.scale * 1.15)


def _carriage(view: View, frame: Frame) -> None:
    press, home = frame.press, frame.head_home_z
    face = press["column_y"] + press["column"] / 2
    rail = face + press["rail_depth"]
    front = rail + press["carriage_depth"]
    cell_z, (foot, under, top) = frame.cell_z, frame.carriage_z
    view.box((face, 60), (rail, press["column_height"] - 10), fill="#ffffff")
    view.part(17, (face + 4, 90), (-92, 50))
    view.box((rail, foot), (front, top), fill="#ffffff")
    view.box((front, under), (8, top), fill="#ffffff")
    side = press["cell_section"] / 2
    view.box((-side, cell_z), (side, cell_z + press["cell_section"]), fill="#ffffff")
    view.box((-3, cell_z + press["cell_section"] + 2), (3, under), fill="#ffffff")
    for y in (-press["head_spacing"] / 2, press["head_spacing"] / 2):
        view.circle((y, home), press["head_bearing"], fill="#ffffff")
    view.box((-13, home - 4), (13, home + 8), fill="#ffffff")
    view.box((-4, home + 8), (4, cell_z), fill="#ffffff")
    low = home - press["travel"]
    for y in (-press["head_spacing"] / 2, press["head_spacing"] / 2):
        view.circle((y, low), press["head_bearing"], dash="3 2", width=0.5)
    collar = foot - press["travel"] - press["collar_beyond"]
    view.box((rail, collar - 10), (front, collar), fill=LIGHT)
    view.part(18, (rail + 6, collar - 5), (-98, -20))
    view.part(8, (rail + 6, cell_z + 20), (-98, -20))


def _dimensions_cut(view: View, frame: Frame) -> None:
    press = frame.press
    view.upright(frame.head_home_z - press["travel"], frame.head_home_z, 16, 40, f"travel {number(press['travel'])}")
    view.across(press["column_y"], 0, -frame.beam["height"], -22)
    view.across(press["screw_y"], 0, press["column_height"] + 50, 26)
    rail = press["column_y"] + press["column"] / 2 + press["rail_depth"]
    foot, under, top = frame.carriage_z
    view.upright(foot, top, 8, 62)
    view.upright(under, top, 8, 34)
    view.upright(frame.head_home_z + press["head_bearing"] / 2, frame.cell_z, 8, 34)
    view.across(rail, rail + press["carriage_depth"], foot, -16)


def _rollers(view: View, frame: Frame) -> None:
    support, axle = frame.support, frame.support["axle_height"]
    low = axle  # the view's origin is the axles' height
    for y in (-frame.half_rollers, frame.half_rollers):
        view.circle((y, 0), support["roller_diameter"], fill="#ffffff")
        view.circle((y, 0), 6, fill=LIGHT)
        view.cross((y, 0), support["roller_diameter"] / 2 + 3)
    for diameter, dash in (
        (frame.shaft["usual"], ""),
        (frame.shaft["thickest"], "3 2"),
        (frame.shaft["thinnest"], "1 2"),
    ):
        filled = SHAFT if not dash else "none"
        view.circle((0, frame.shaft_z(diameter) - low), diameter, fill=filled, dash=dash)
    view.across(-frame.half_rollers, frame.half_rollers, -support["roller_diameter"] / 2, -26)
    view.upright(0, frame.shaft_z(frame.shaft["usual"]) - low, frame.half_rollers + 15, 26,
                 f"{frame.shaft_z(frame.shaft['usual']) - low:.2f}")  # fmt: skip
    reach = frame.half_rollers + support["roller_diameter"] / 2
    view.upright(-support["roller_diameter"] / 2, support["roller_diameter"] / 2, -reach, -16)
    view.text((0, 23), "Rollers of a support", 11)
    view.text(
        (0, 20), "drawn shafts " + ", ".join(number(frame.shaft[k]) for k in ("thinnest", "usual", "thickest")), 9
    )


def _head(view: View, frame: Frame) -> None:
    press, usual = frame.press, frame.shaft["usual"]
    up = frame.head_above(usual)
    view.circle((0, 0), usual, fill=SHAFT)
    for y in (-press["head_spacing"] / 2, press["head_spacing"] / 2):
        view.circle((y, up), press["head_bearing"], fill="#ffffff")
        view.circle((y, up), 4, fill=LIGHT)
        view.cross((y, up), press["head_bearing"] / 2 + 2)
    holder = [(4, up + 18), (4, up + 9), (14, up + 9), (14, up - 3)]
    view.area(*holder, *((-y, z) for y, z in reversed(holder)), dash="5 2")
    view.across(-press["head_spacing"] / 2, press["head_spacing"] / 2, up - 8, -24)
    view.upright(0, up, 15, 22, f"{up:.2f}")
    view.upright(up - press["head_bearing"] / 2, up + press["head_bearing"] / 2, -15, -16)
    view.text((0, up + 25), "Head: two ball bearings", 11)
    view.text((0, up + 22.4), "seen along the shaft, pressing", 9)


def _rim(view: View, frame: Frame) -> None:
    radius, slope = frame.support["rim_radius"], 9.0
    view.area((-5, -5), (-radius - 1.2, -1.9), (-0.45, -0.14), *[polar_at(radius, a) for a in range(120, 50, -10)],
              (0.45, -0.14), (radius + 1.2, -1.9), (5, -5), fill=LIGHT)  # fmt: skip
    dx, dy = polar(11, -slope)
    view.line((-dx * 0.8, -dy * 0.8 + 0.02), (dx * 0.8, dy * 0.8 + 0.02), width=1.4)
    view.line((-10, 0.02), (10, 0.02), width=0.5, dash="4 3")
    view.line((0, -5), (0, 3), width=0.35, dash="8 2 1 2")
    view.text((0, 4.4), f"Rim of a roller: edge radius {number(radius)} or less", 11)
    view.text((0, 3.5), "the bent shaft rolls the contact inward", 9)
    view.text((7.2, -2.4), "midspan", 9)
    view.line((5.4, -2.9), (9.2, -2.9), width=0.5)
    view.line((8.6, -2.7), (9.2, -2.9), (8.6, -3.1), width=0.5)


def polar_at(radius: float, angle: float) -> tuple[float, float]:
    """Return a point of the rim's edge, whose top is the origin."""
    x, z = polar(radius, angle)
    return x, z - radius


def _stop(view: View, frame: Frame) -> None:
    press = frame.press
    side, gap = press["cell_section"], press["stop_gap"]
    view.box((-38, 0), (12, side), fill="#ffffff")
    view.box((-38, side), (-22, side + 20), fill=LIGHT)
    view.box((-38, side + 14), (12, side + 20), fill=LIGHT)
    view.box((-2.5, side + 1.6), (2.5, side + 22), fill="#ffffff")
    view.box((-3.5, -16), (3.5, 0), fill="#ffffff")
    view.line((0, -26), (0, -17), width=1.2)
    view.area((0, -16.5), (-1.5, -20), (1.5, -20), fill="#000000")
    view.text((4, -24), "force of the shaft", 9, "start")
    view.text((17, side + 1.2), f"gap {number(gap)}", 9, "start")
    view.line((2.5, side + 0.8), (16, side + 0.8), width=0.35)
    view.text((-8, side + 27), "Stop over the cell's free end", 11)
    view.text((-30, 4), "cell", 9)
    view.part(10, (0, side + 17), (50, -16))
    view.part(9, (-16, 6), (-40, 46))
