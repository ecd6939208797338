"""The trays under the selector, the dividers over them, and what both lie in."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from build123d import Location, Pos, Solid
from frame.dimensions import Frame
from frame.selector import flap_x
from frame.trays import OVER_TRAY, UNDER_AXLE, bottom, bounds, divider, inner_width, tray_height

from model.holes import clearance, engraved, facing
from model.motion import STEP_MM, Motion
from model.piece import Part, Piece, Way, of_step
from model.selector_parts import BRIDGE_SCREW
from model.standard import dowel
from model.standard.shapes import box, cylinder

STEP, BEFORE = "15 trays", "14 selector"  # the dividers carry bridges through which the axles pass
RIM, STEP_IN = 3.0, 5.0  # of a tray's end: its outer board, and what walls and floor are glued to
HOLE = (30.0, 15.0)  # to pull the tray by
HOLE_SHARE = 0.65  # of the tray's height at which it is
PIN, PIN_AT = (6.0, 16.0), (18.0, 12.0)  # pressed into the side plate: a tray's end lies on two; across and up in it
PIN_GOES_IN = 6.5
GAP = 1.0  # between trays and left side plate
CLIP = (28.0, 24.0, 12.0)  # width, height, depth of what holds a divider's end
BEHIND = 2.0  # of the clip behind the divider
CLIP_OVER = 1.0  # mm, from a divider's lower edge up to its clips
NOTCH = (20.0, 8.0)  # in a divider under each flap's hub


def tray_x(frame: Frame) -> tuple[float, float]:
    """Return the ends of the trays: left before its side plate, right flush with the side plate."""
    side = float(frame.feeder.side_x)
    return -side + GAP, side + float(frame.feeder.side_sheet)


def hole_z(frame: Frame) -> float:
    """Return the height of the hole's middle over a tray's underside."""
    return float(round(HOLE_SHARE * tray_height(frame)))


# Trays


@cache
def tray_end(frame: Frame) -> Part:
    """Return a tray's end as printed: the outside down, x across the tray, y up from its underside."""
    sheet, high = float(frame.feeder.tray_sheet), tray_height(frame)
    half = inner_width(frame) / 2
    shape = box((-half - sheet, half + sheet), (0, high), (0, RIM)) + box(
        (-half, half), (sheet, high), (RIM, RIM + STEP_IN)
    )
    middle = hole_z(frame)
    shape -= box((-HOLE[0] / 2, HOLE[0] / 2), (middle - HOLE[1] / 2, middle + HOLE[1] / 2), (0, RIM + STEP_IN))
    for x in (-PIN_AT[0], PIN_AT[0]):
        shape -= Pos(x, PIN_AT[1], 0) * cylinder(PIN[0], 0, PIN_GOES_IN)
    marked = engraved(shape.solid(), "F50", facing("+z", (0, 12, RIM + STEP_IN)))
    notes = ("Glue walls and floor on with two-part epoxy, squarely.", "Both blind holes 6.4, their mouths beveled.")
    return Part("F50", "tray end", Way.PRINTED, marked, "PETG", "PETG, printed", 1.2, notes=notes)


def _sheet(number: str, name: str, size: tuple[float, float, float], eur: float, cuts: Solid | None = None) -> Part:
    """Return a rectangle of plywood with what is cut out of it."""
    shape = box((0, size[0]), (0, size[1]), (0, size[2]))
    shape = (shape - cuts if cuts else shape).solid()
    return Part(number, name, Way.CUT, shape, "plywood", f"plywood {size[2]:g}", eur)


@cache
def tray_wall(frame: Frame) -> Part:
    """Return a long wall of a tray."""
    low, high = tray_x(frame)
    return _sheet("F51", "tray wall", (high - low - 2 * RIM, tray_height(frame), float(frame.feeder.tray_sheet)), 0.8)


@cache
def tray_floor(frame: Frame) -> Part:
    """Return a tray's floor, between its walls."""
    low, high = tray_x(frame)
    return _sheet("F52", "tray floor", (high - low - 2 * RIM, inner_width(frame), float(frame.feeder.tray_sheet)), 0.8)


STANDING = Location((0, 0, 0), (90, 0, 0))  # a sheet's y becomes z, its thickness reaches to -y


def tray(frame: Frame, number: int) -> tuple[Piece, ...]:
    """Return the pieces of a tray in its place."""
    low, high = bounds(frame, number)
    (left, right), under, sheet = tray_x(frame), bottom(frame, number), float(frame.feeder.tray_sheet)
    middle, moves = (low + high) / 2, f"tray {number}"
    end, wall = tray_end(frame), tray_wall(frame)
    on_left = facing("+x", (left, middle, under), along="+y")
    on_right = facing("-x", (right, middle, under), along="-y")
    inner = inner_width(frame) / 2
    return (
        Piece(end, on_left, moves), Piece(end, on_right, moves),
        Piece(wall, Pos(left + RIM, middle - inner, under) * STANDING, moves),
        Piece(wall, Pos(left + RIM, middle + inner + sheet, under) * STANDING, moves),
        Piece(tray_floor(frame), Pos(left + RIM, middle - inner, under), moves),
    )  # fmt: skip


def pins(frame: Frame, number: int) -> list[tuple[float, float]]:
    """Return where the pins in the left side plate are on which a tray's end lies, y and z."""
    middle = sum(bounds(frame, number)) / 2
    return [(middle + dy, bottom(frame, number) + PIN_AT[1]) for dy in (-PIN_AT[0], PIN_AT[0])]


def _pin(frame: Frame, side: int, y: float, z: float) -> Piece:
    """Return a pin pressed into a side plate, flush with its outside; side is 1 where x is above 0."""
    outside = side * float(frame.feeder.side_x + frame.feeder.side_sheet)
    return Piece(dowel(*PIN), facing("-x" if side > 0 else "+x", (outside, y, z)))


def _pins(frame: Frame, number: int) -> Iterator[Piece]:
    """Yield a tray's pins, flush with the outside of the left side plate."""
    for y, z in pins(frame, number):
        yield _pin(frame, -1, y, z)


# Dividers


def _divider_y(frame: Frame, before: int) -> float:
    """Return the middle of a divider's thickness."""
    return bounds(frame, before)[0]


@cache
def divider_board(frame: Frame, before: int) -> Part:
    """Return the divider before a tray, or the end wall after the last."""
    low, high = divider(frame, before)
    half, last = float(frame.feeder.side_x) - BEHIND, before > frame.feeder.places
    shape = box((-half, half), (0, high - low), (0, float(frame.feeder.divider_sheet)))
    for side in () if last else (-1, 1):
        x = side * flap_x(frame, before)
        shape -= box((x - NOTCH[0] / 2, x + NOTCH[0] / 2), (high - low - NOTCH[1], high - low), (0, 10))
        screw = high + UNDER_AXLE + BRIDGE_SCREW - low
        shape -= Pos(side * float(frame.feeder.bridge_x), screw, 0) * cylinder(clearance(3), 0, 10)
    number, name = f"F{56 + before}", "end wall" if last else f"divider {before}"
    stock = f"plywood {frame.feeder.divider_sheet:g}"
    return Part(number, name, Way.CUT, shape.solid(), "plywood", stock, 2.0)


@cache
def clip(frame: Frame) -> Part:
    """Return what holds a divider's end as printed: its back down, x along y, y up."""
    wide, high, deep = CLIP
    gap = float(frame.feeder.divider_sheet) / 2
    shape = box((-wide / 2, wide / 2), (0, high), (0, deep)) - box((-gap, gap), (0, high), (BEHIND, deep))
    for x in (-_clip_pin(), _clip_pin()):
        shape -= Pos(x, high / 2, 0) * cylinder(PIN[0], 0, PIN[1])
    return Part("F54", "divider clip", Way.PRINTED, shape.solid(), "PETG", "PETG, printed", 0.4)


def _clip_pin() -> float:
    """Return how far a clip's pins are from its middle."""
    return CLIP[0] / 2 - 5.0


def _clip_pins(frame: Frame, before: int) -> list[tuple[float, float]]:
    """Return where the pins of a divider's clips are, y and z."""
    y, z = _divider_y(frame, before), divider(frame, before)[0] + CLIP_OVER + CLIP[1] / 2
    return [(y - _clip_pin(), z), (y + _clip_pin(), z)]


def _divider(frame: Frame, before: int) -> Iterator[Piece]:
    """Yield a divider with its clips, which it keeps against the side plates, and their pins."""
    y, low, half = _divider_y(frame, before), divider(frame, before)[0], float(frame.feeder.divider_sheet) / 2
    yield Piece(divider_board(frame, before), Pos(0, y + half, low) * STANDING)
    for side in (-1, 1):
        back = (side * float(frame.feeder.side_x), y, low + CLIP_OVER)
        yield Piece(clip(frame), facing("-x" if side > 0 else "+x", back, along="-y" if side > 0 else "+y"))
        for at in _clip_pins(frame, before):
            yield _pin(frame, side, *at)


def numbers(frame: Frame) -> range:
    """Return the numbers of the trays."""
    return range(1, int(frame.feeder.places) + 1)


def trays(frame: Frame) -> tuple[Piece, ...]:
    """Return all trays with their pins, the dividers and the end wall."""
    pieces = [piece for number in numbers(frame) for piece in (*tray(frame, number), *_pins(frame, number))]
    walls = [piece for before in (*numbers(frame), int(frame.feeder.places) + 1) for piece in _divider(frame, before)]
    return of_step(pieces, STEP) + of_step(walls, BEFORE)


def motions(frame: Frame) -> tuple[Motion, ...]:
    """Return each tray as it is pulled out, mm."""
    far = tray_x(frame)[1] - tray_x(frame)[0]
    return tuple(_pulled(f"tray {number}", far) for number in numbers(frame))


def _pulled(name: str, far: float) -> Motion:
    """Return the motion of a tray."""
    return Motion(name, 0.0, far, STEP_MM, lambda by: {name: Pos(by, 0, 0)})


# For the side plates


def bores(frame: Frame) -> dict[str, list[tuple[float, float, float]]]:
    """Return the holes in each side plate, y, z and diameter."""
    clips = [at for before in (*numbers(frame), int(frame.feeder.places) + 1) for at in _clip_pins(frame, before)]
    beds = [at for number in numbers(frame) for at in pins(frame, number)]
    return {"left": [(y, z, PIN[0]) for y, z in clips + beds], "right": [(y, z, PIN[0]) for y, z in clips]}


def windows(frame: Frame) -> dict[str, list[tuple[float, float, float, float]]]:
    """Return the openings in each side plate, y and z from and to: the right one has one for trays of one height."""
    heights = sorted({bottom(frame, number) for number in numbers(frame)}, reverse=True)
    found = []
    for low in heights:
        level = [number for number in numbers(frame) if bottom(frame, number) == low]
        top = low + tray_height(frame) + OVER_TRAY / 2
        found.append((bounds(frame, level[0])[0], bounds(frame, level[-1])[1], low, top))
    return {"left": [], "right": found}
