"""Draws the frame from the front: beam, supports, press, rotate motor."""

from __future__ import annotations

from draw_geometry import Frame
from draw_svg import LIGHT, SHAFT, Sheet, View, number

FOOT = 24.0
SWITCH = (14.0, 8.0)


def front(frame: Frame) -> Sheet:
    """Return the gauge from the front: beam, supports, press at midspan."""
    sheet = Sheet(1060, 640, "Frame of the gauge from the front")
    view = sheet.view(530, 440)
    _beam_front(view, frame)
    for side in (-1, 1):
        _support_front(view, frame, side)
    _column_front(view, frame)
    _shaft_front(view, frame)
    _press_front(view, frame)
    _rotate_front(view, frame)
    _dimensions_front(view, frame)
    sheet.text(
        (530, 620), "From the front. All in millimetres, from frame.toml. Guards, feeder and wires left out.", 11
    )
    return sheet


def _beam_front(view: View, frame: Frame) -> None:
    half, deep = frame.beam["length"] / 2, -frame.beam["height"]
    view.box((-half, deep), (half, 0), fill=LIGHT)
    for x in (-half + 60, half - 60):
        view.box((x - 20, deep - FOOT), (x + 20, deep))
    view.part(1, (-200, deep / 2), (-20, 70))
    view.part(2, (half - 60, deep - FOOT / 2), (40, 40))


def _support_front(view: View, frame: Frame, side: int) -> None:
    at, half = side * frame.support["span"] / 2, frame.support["plate"] / 2
    outer = at + side * (half + frame.support["roller_width"] / 2)
    view.box((outer - half, 0), (outer + half, frame.support["height"]), fill=LIGHT)
    radius, wide = frame.support["roller_diameter"] / 2, frame.support["roller_width"] / 2
    axle = frame.support["axle_height"]
    view.area(
        (at - wide, axle - radius + wide), (at, axle - radius), (at + wide, axle - radius + wide),
        (at + wide, axle + radius - wide), (at, axle + radius), (at - wide, axle + radius - wide), fill="#ffffff",
    )  # fmt: skip
    view.line((at, -frame.beam["height"]), (at, frame.support["height"] + 20), width=0.35, dash="8 2 1 2")
    if side > 0:
        view.part(4, (at - wide + 1, axle), (-46, -44))
        view.part(3, (outer, 24), (50, 0))


def _shaft_front(view: View, frame: Frame) -> None:
    z, radius, half = frame.shaft_z(frame.shaft["usual"]), frame.shaft["usual"] / 2, frame.shaft["longest"] / 2
    view.box((-half, z - radius), (half, z + radius), fill=SHAFT)
    view.part(5, (-180, z), (0, -60))


def _column_front(view: View, frame: Frame) -> None:
    press = frame.press
    half, top = press["column"] / 2, press["column_height"]
    view.box((-half, 0), (half, top), fill=LIGHT)
    view.part(6, (half - 4, 40), (90, -20))
    motor = press["motor"]
    view.box((-motor / 2, top), (motor / 2, top + motor), fill="#ffffff")
    view.part(7, (motor / 2 - 6, top + 20), (80, -10))


def _press_front(view: View, frame: Frame) -> None:
    press = frame.press
    half = press["column"] / 2
    cell_z, (foot, under, top) = frame.cell_z, frame.carriage_z
    end, left = -press["cell_length"] + 4, -press["cell_length"] + 8
    view.box((end, foot), (end + press["bracket_foot"], top), fill="#ffffff")
    view.box((end, under), (half + 6, top), fill="#ffffff")
    view.part(8, (end + 8, top - 10), (-70, -40))
    view.across(end, end + press["bracket_foot"], foot, -20)
    view.across(left, left + press["cell_length"], top, 40, f"cell {number(press['cell_length'])}")
    view.box((left, cell_z), (left + press["cell_length"], cell_z + press["cell_section"]), fill="#ffffff")
    view.part(9, (left + 36, cell_z + 6), (-80, 4))
    view.box((-3, cell_z + press["cell_section"] + 2), (3, under), fill="#ffffff")  # the stop over the cell
    view.part(10, (2, cell_z + 30), (70, 14))
    _head_front(view, frame, cell_z)
    view.box((half + 2, top), (half + 2 + SWITCH[1], top + SWITCH[0]))
    view.part(12, (half + 8, top + 8), (70, -30))


def _head_front(view: View, frame: Frame, cell_z: float) -> None:
    home, radius, wide = frame.head_home_z, frame.press["head_bearing"] / 2, frame.press["head_bearing_width"] / 2
    view.box((-7, home - 3), (7, cell_z), fill="#ffffff")
    view.box((-wide, home - radius), (wide, home + radius), fill="#ffffff")
    low = home - frame.press["travel"]
    view.box((-wide, low - radius), (wide, low + radius), dash="3 2", width=0.5)
    view.part(11, (0, home - 2), (70, -12))
    view.line((0, -6), (0, frame.press["column_height"] + 70), width=0.35, dash="8 2 1 2")


def _rotate_front(view: View, frame: Frame) -> None:
    motor, z = frame.press["motor"], frame.support["layshaft_z"]
    reach = frame.support["span"] / 2 + frame.support["plate"] + 12
    view.line((-reach, z), (reach, z), width=0.5, dash="6 3")
    view.box((-reach - motor, z - motor / 2), (-reach, z + motor / 2), fill="#ffffff")
    view.part(13, (-reach - motor / 2, z), (-30, 46))
    view.part(14, (200, z), (24, 90))


def _dimensions_front(view: View, frame: Frame) -> None:
    half, deep, span = frame.beam["length"] / 2, -frame.beam["height"], frame.support["span"] / 2
    view.across(-half, half, deep, -62, f"beam {number(frame.beam['length'])}")
    view.across(-span, span, deep, -36, f"span {number(frame.support['span'])}")
    z = frame.shaft_z(frame.shaft["usual"])
    view.upright(0, z, half, 22, f"shaft {z:.1f}")
    view.upright(deep, 0, half, 22)
    view.upright(0, frame.press["column_height"], -half, -40, f"column {number(frame.press['column_height'])}")
    view.upright(z, z + frame.press["home_clearance"], 46, 0)
