"""Draws how masses load the cell as a shaft does: turned over, by a lever, by a cord over a pulley; and how not."""

from __future__ import annotations

from collections.abc import Callable

from draw_svg import GREY, INK, LIGHT, SHAFT, Point, Sheet, View
from frame.dimensions import Frame

SCALE, MASS, ARROW = 1.1, 30.0, 24.0
STEM = 7.0  # half of the head's stem


def loading(frame: Frame) -> Sheet:
    """Return the arm with cell and head five times: under a shaft, three ways with masses, and the wrong way."""
    sheet = Sheet(1180, 500, "How masses load the cell as a shaft does")
    panels: tuple[tuple[float, float, Callable[[View, Frame], None], tuple[str, ...]], ...] = (
        (145, 105, _shaft, ("What a shaft does", "pushes the head up:", "the count rises")),
        (365, 325, _turned, ("1  Cell turned over", "force = weight, and nothing", "else to know: take this one")),
        (595, 595, _lever, ("2  Lever", "force = weight times b / a:", "measure both arms")),
        (875, 850, _pulley, ("3  Cord over a pulley", "force = weight, less or more", "by the pulley's friction")),
        (1090, 1055, _hung, ("Not so: hung on the head", "pulls the head down:", "the count falls")),
    )
    for x, middle, draw, (title, *below) in panels:
        draw(sheet.view(x, 235, SCALE), frame)
        sheet.text((middle, 30), title, 12, bold=True)
        for i, words in enumerate(below):
            sheet.text((middle, 432 + 14 * i), words, 10)
    level = "Clamp the arm level; cell, stop and head stay on it as they were in the gauge."
    sheet.text((590, 482), f"From the front. The arrow is the force on the head. {level}", 11)
    return sheet


class Cell:
    """Arm, cell, stop and head from the underside of the cell at z = 0; `up` is -1 if all is turned over."""

    def __init__(self, view: View, frame: Frame, up: int = 1) -> None:
        self._view, self._up, cell = view, up, frame.cell
        self.under = frame.arm_z - frame.cell_z
        self.top = self.under + cell.arm[1]
        self.left, self.right = cell.free_end_x - cell.length, frame.press.carriage[0] / 2
        axle, radius, wide = frame.head_home_z - frame.cell_z, frame.head.bearing[1] / 2, frame.head.bearing[2]
        self.tip = axle - radius
        self._box((self.left, self.under), (self.right, self.top), fill=LIGHT)
        self._box((self.left, cell.height), (self.left + sum(cell.hole_from_end), self.under))
        self._box((self.left, 0), (cell.free_end_x, cell.height))
        self._box((-3, cell.height + 1), (3, self.under))
        self._box((-STEM, axle - 3), (STEM, 0))
        self._box((-wide, self.tip), (wide, axle + radius))
        view.text((self.left + 60, up * cell.height / 2 - 2.5), "cell", 9)
        view.text((self.left + 60, up * (self.under + self.top) / 2 - 2.5), "arm", 9)

    def _box(self, low: Point, high: Point, fill: str = "#ffffff") -> None:
        corners = (low, (high[0], low[1]), high, (low[0], high[1]))
        self._view.area(*((x, self._up * z) for x, z in corners), fill=fill)

    def held_from_above(self) -> None:
        """Hatch what the upright arm hangs from."""
        right = self.left + 70
        self._view.line((self.left - 8, self.top), (right, self.top), width=1.4)
        for i in range(int((right - self.left) // 8)):
            x = self.left + 8 * i
            self._view.line((x, self.top), (x + 6, self.top + 6), width=0.5)


def _force(view: View, tip: Point, up: int) -> None:
    """Draw an arrow whose tip is where it pushes."""
    x, z = tip
    view.line((x, z - up * ARROW), (x, z - up * 7), width=2.4)
    view.area((x, z), (x - 4, z - up * 9), (x + 4, z - up * 9), fill=INK, width=0.2)


def _mass(view: View, top: Point) -> None:
    """Draw a mass by its upper middle."""
    x, z = top
    view.box((x - MASS / 2, z - MASS), (x + MASS / 2, z), fill="#ffffff")
    view.text((x, z - MASS / 2 - 2.5), "mass", 9)


def _ground(view: View, left: float, right: float, z: float) -> None:
    """Draw a firm surface, hatched below."""
    view.line((left, z), (right, z), width=1.4)
    for i in range(int((right - left) // 8)):
        view.line((left + 8 * i + 8, z), (left + 8 * i + 2, z - 6), width=0.5)


def _shaft(view: View, frame: Frame) -> None:
    cell = Cell(view, frame)
    thick = frame.shaft.usual
    view.box((-85, cell.tip - thick), (45, cell.tip), fill=SHAFT)
    view.text((-66, cell.tip - thick - 10), "shaft", 9)
    _force(view, (0, cell.tip - thick), 1)


def _turned(view: View, frame: Frame) -> None:
    cell = Cell(view, frame, up=-1)
    tray = -cell.tip
    view.box((-24, tray), (24, tray + 4), fill="#ffffff")
    _mass(view, (0, tray + 4 + MASS))
    view.text((-28, tray), "tray", 9, "end")
    _ground(view, cell.left - 6, 52, -cell.top)
    arm, x = -cell.under, cell.right - 7
    view.line((x, arm), (x, arm + 7), (x + 18, arm + 7), (x + 18, -cell.top - 16), (x, -cell.top - 16),
              (x, -cell.top - 7), width=2.4)  # fmt: skip
    view.text((x + 20, arm + 11), "clamp", 9, "start")
    _force(view, (33, tray + 2), -1)


def _lever(view: View, frame: Frame) -> None:
    cell = Cell(view, frame)
    cell.held_from_above()
    beam = cell.tip - 6
    view.box((-14, beam), (112, beam + 6), fill="#ffffff")
    view.area((50, beam), (43, beam - 14), (57, beam - 14), fill=LIGHT)
    _ground(view, 32, 72, beam - 14)
    view.line((100, beam), (100, beam - 46))
    _mass(view, (100, beam - 46))
    _force(view, (0, beam), 1)
    view.across(0, 50, beam - 22, -18, "a")
    view.across(50, 100, beam - 22, -18, "b")


def _pulley(view: View, frame: Frame) -> None:
    cell = Cell(view, frame)
    cell.held_from_above()
    wheel, axle, pin = 22.0, cell.top + 36, frame.shaft.usual
    view.circle((wheel, axle), 2 * wheel, fill="#ffffff")
    view.circle((wheel, axle), 5, fill=LIGHT)
    view.line((0, axle), (0, cell.top + 3), width=1.6)
    view.line((0, cell.top + 3), (0, cell.tip - pin / 2), width=1.6, dash="4 3")  # before and behind arm and cell
    view.box((-12, cell.tip - pin), (12, cell.tip), fill=SHAFT)
    view.line((2 * wheel, axle), (2 * wheel, cell.tip + 12), width=1.6)
    _mass(view, (2 * wheel, cell.tip + 12))
    _force(view, (0, cell.tip - pin), 1)
    view.text((-20, cell.tip - 4), "stirrup", 9, "end")


def _hung(view: View, frame: Frame) -> None:
    cell = Cell(view, frame)
    view.line((0, cell.tip + 6), (0, cell.tip - 20), width=1.6)
    _mass(view, (0, cell.tip - 20))
    _force(view, (22, cell.tip - 16), -1)
    for low, high in (((-90, cell.tip - 56), (36, cell.top + 6)), ((36, cell.tip - 56), (-90, cell.top + 6))):
        view.line(low, high, width=2.5, ink=GREY)
