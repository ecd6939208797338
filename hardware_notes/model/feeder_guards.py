"""What keeps hands from the feeder: a hood over the fork, a panel under the hopper, and what closes the side plates.

A cap stands over the hopper's servo, and an angle closes the gap between each side plate and the lid's side. Hood and
panel are sheets of polycarbonate on printed blocks. A block is fixed to a side plate by a chipboard screw, and the
sheet is screwed on the block, so that a guard comes off with an M4 key and not without it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from math import cos, radians, sin
from typing import NamedTuple

from build123d import Location, Plane, Pos
from frame.dimensions import Frame
from frame.escapement import on_slope
from frame.feeder_places import front_stay, front_y

from model import fork
from model.across import SIDES, Hole
from model.holes import clearance, engraved, facing
from model.lid.parts import BOLT, FROM_CORNER, Sheet, Spot, bolt, one_leg_angle, sheet, upright_x
from model.piece import Part, Piece, Way, of_step
from model.selector_parts import bored_for_wood
from model.standard import slot_nut, socket_screw, wood_screw
from model.standard.profiles import SLOT_6
from model.standard.shapes import box, cylinder, prism

STEP = "15 trays"
BLOCK = (16.0, 32.0, 12.0)  # off the side plate, along it, off the sheet
SHEET_AT, PLATE_AT = (10.0, 8.0), (-8.0, 6.0)  # screws of the sheet, x and y, and of the side plate, y and z
PLATE_SCREW, PILOT = (4.0, 25.0), 4.0  # chipboard screw; its hole in the side plate: drill 2.5
HOOD_BLOCKS = (12.0, 86.0)  # along the slope, clear of the opening lid
HOOD_SCREWS = (-270.0, -140.0, 0.0, 140.0, 270.0)  # of lip and stiffener, between the guides
LIP, LIP_AT = (15.0, 2.0), 9.0  # angle at the hood's front, its screws from the corner
STIFFENER, STIFFENER_AT, STIFFENER_HALF = (20.0, 2.0), 30.0, 425.0  # angle on the hood, between its blocks
PANEL_BLOCKS, PANEL_SCREWS = (150.0, -40.0), (-300.0, 0.0, 300.0)
CAP_DEEP, CAP_WALL = 62.0, 2.4
CAP_REAR, CAP_END, CAP_WIDE_TO = -35.2, 56.0, 24.0  # inside, along the servo from its shaft; to where it is wide
CAP_HALF, CAP_NARROW = 14.5, 10.8  # half its width beside the coupling, and beside the posts
CAP_SCREW, CAP_FOOT = (4.0, 16.0), 8.0  # chipboard screw; what it clamps
CAP_SCREW_X, CAP_SCREWS_Y, CAP_WELL, CAP_COLUMN = 8.0, (-21.5, 21.5), 9.0, 14.0  # screws, driver's way, column around
CAP_LEAD = 6.0  # notch for the servo's lead
STRIP, STRIP_AT = (20.0, 2.0), 16.0  # angle beside the lid; its screws, from its corner
STRIP_UP_TO = 95.0  # height up to which it lies on the plate at the servo
STRIP_SCREWS = {1: (-115.0, 0.0, 60.0), -1: (0.0, 60.0, 120.0)}  # heights


class Held(NamedTuple):
    """A block's place: its x off the side plate, its z off the sheet that is screwed on it."""

    where: Location

    @property
    def sheet_screw(self) -> Location:
        """Middle of the screw that holds the sheet, on the block's face."""
        return self.where * Pos(*SHEET_AT, 0)

    @property
    def plate_screw(self) -> Location:
        """Middle of the screw that holds the block, on the side plate."""
        return self.where * Pos(0, *PLATE_AT)


Direction = tuple[float, float, float]


def _held(at: Spot, off_plate: Direction, off_sheet: Direction) -> Held:
    return Held(Plane(origin=at, x_dir=off_plate, z_dir=off_sheet).location)


def guards(frame: Frame) -> tuple[Piece, ...]:
    """Return hood, front panel, the cap over the hopper's servo and the angles beside the lid."""
    pieces = [*_hood(frame), *_panel(frame), *_cap(frame)]
    for side in SIDES:
        pieces += _strip(frame, side)
    return of_step(pieces, STEP)


def bores(frame: Frame) -> dict[str, list[Hole]]:
    """Return the holes in each side plate for the screws of blocks, cap and angles."""
    found: dict[str, list[Hole]] = {"left": [], "right": []}
    places = [held.plate_screw for held in (*_hood_blocks(frame), *_panel_blocks(frame))]
    places += [*_cap_screws(frame), *(where for side in SIDES for where in _strip_screws(frame, side))]
    for where in places:
        at = where.position
        found["right" if at.X > 0 else "left"].append(Hole(at.Y, at.Z, PILOT))
    return found


# Blocks


@cache
def block() -> Part:
    """Return a block: the side plate at x = 0, the sheet at z = 0."""
    x, y, z = BLOCK
    shape = box((0, x), (-y / 2, y / 2), (0, z)) - Pos(*SHEET_AT, 0) * cylinder(BOLT, 0, z)
    solid = bored_for_wood(shape.solid(), facing("+x", (x, *PLATE_AT)), PLATE_SCREW[0], x)
    solid = engraved(solid, "L33", Location((7, -8, z), (0, 0, 90)), 5)
    return Part("L33", "block of a guard", Way.PRINTED, solid, "PETG", "PETG, printed", 0.2)


def _blocks(frame: Frame, blocks: Sequence[Held]) -> Iterator[Piece]:
    """Yield blocks with their screws and those of their sheets."""
    thick = float(frame.lid.sheet)
    for held in blocks:
        yield Piece(block(), held.where)
        yield Piece(socket_screw(BOLT, 12), held.sheet_screw * Location((0, 0, -thick), (180, 0, 0)))
        yield Piece(wood_screw(*PLATE_SCREW), held.plate_screw * facing("+x", (BLOCK[0], 0, 0)))


# Hood


def _hood_place(frame: Frame) -> Location:
    """Return the place of the hood: x as in the gauge, y up the hopper from its rear edge, z off the hopper's floor."""
    slope, rear = radians(frame.feeder.slope), float(frame.guards.hood[0])
    at = (0.0, *on_slope(frame, rear, float(frame.guards.hood_under)))
    return facing((0.0, -sin(slope), cos(slope)), at, along="+x")


def _hood_blocks(frame: Frame) -> list[Held]:
    place, x, rear = _hood_place(frame), float(frame.feeder.side_x), float(frame.guards.hood[0])
    found = []
    for side in SIDES:
        for s in HOOD_BLOCKS:
            held = _held((side * x, s - rear, float(frame.lid.sheet)), (-side, 0, 0), (0, 0, 1))
            found.append(Held(place * held.where))
    return found


def _hood(frame: Frame) -> Iterator[Piece]:
    """Yield the hood with its lip, its stiffener and its blocks."""
    rear, front = frame.guards.hood
    place, half, thick = _hood_place(frame), float(frame.feeder.side_x) - 1, float(frame.lid.sheet)
    blocks = _hood_blocks(frame)
    spots = [(place.inverse() * held.sheet_screw).position for held in blocks]
    holes = [(at.X, at.Y, clearance(BOLT)) for at in spots]
    lip_y, stiff_y = front + LIP[1] - LIP_AT - rear, STIFFENER_AT + FROM_CORNER - rear
    holes += [(x, y, clearance(BOLT)) for y in (lip_y, stiff_y) for x in HOOD_SCREWS]
    yield Piece(sheet(frame, "L30", "hood over the fork", Sheet((-half, half), (0, front - rear), holes)), place)
    lip = one_leg_angle("L31", "lip of the hood", (*LIP, 2 * half), [x + half for x in HOOD_SCREWS], LIP_AT)
    at = (-half, front + LIP[1] - rear, thick + LIP[1])
    yield Piece(lip, place * Plane(origin=at, x_dir=(0, -1, 0), z_dir=(1, 0, 0)).location)
    size, along = (*STIFFENER, 2 * STIFFENER_HALF), [x + STIFFENER_HALF for x in HOOD_SCREWS]
    stiffener = one_leg_angle("L32", "stiffener of the hood", size, along, FROM_CORNER)
    at = (-STIFFENER_HALF, STIFFENER_AT - rear, thick)
    yield Piece(stiffener, place * Plane(origin=at, x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location)
    for y in (lip_y, stiff_y):
        for x in HOOD_SCREWS:
            for piece in bolt(Pos(x, y, thick + LIP[1]), thick + LIP[1], 12):
                yield Piece(piece.part, place * piece.where)
    yield from _blocks(frame, blocks)


# Front panel


def _panel_blocks(frame: Frame) -> list[Held]:
    back, x = front_y(frame) - frame.lid.sheet, float(frame.feeder.side_x)
    return [_held((side * x, back, z), (-side, 0, 0), (0, -1, 0)) for side in SIDES for z in PANEL_BLOCKS]


def _panel(frame: Frame) -> Iterator[Piece]:
    """Yield the panel under the hopper, between the side plates before the front stay."""
    front, half, blocks = front_y(frame), float(frame.feeder.side_x) - 2, _panel_blocks(frame)
    low, (notch_x, notch_z), stay_z = float(frame.guards.panel_low), frame.guards.panel_notch, front_stay(frame)[1]
    holes = [_in_x(held) for held in blocks] + [(x, stay_z, clearance(3)) for x in PANEL_SCREWS]
    cuts = [((notch_x, half), (low, notch_z)), ((-half, -notch_x), (low, notch_z))]
    outline = Sheet((-half, half), (low, float(frame.guards.panel_top)), holes, cuts)
    yield Piece(sheet(frame, "L36", "panel under the hopper", outline), upright_x(front))
    for x in PANEL_SCREWS:
        yield Piece(socket_screw(3, 8), facing("+y", (x, front, stay_z)))
        yield Piece(slot_nut(3, 6), facing("+y", (x, front - frame.lid.sheet - SLOT_6.lip_depth, stay_z)))
    yield from _blocks(frame, blocks)


# Outside the side plates


@cache
def cap(frame: Frame) -> Part:
    """Return the cap over the hopper's servo: its outside on z = 0, the shaft at the origin, the body along x."""
    deep = CAP_DEEP
    shape = prism(_cap_outline(CAP_WALL), 0, deep)
    for y in CAP_SCREWS_Y:
        shape += Pos(CAP_SCREW_X, y, 0) * cylinder(CAP_COLUMN, 0, deep)
    shape -= prism(_cap_outline(0.0), CAP_WALL, deep)
    shape -= box((CAP_END - 1, CAP_END + CAP_WALL + 1), (-CAP_LEAD / 2, CAP_LEAD / 2), (deep - CAP_LEAD, deep))
    solid = shape.solid()
    for y in CAP_SCREWS_Y:
        solid = (solid - Pos(CAP_SCREW_X, y, 0) * cylinder(CAP_WELL, 0, deep - CAP_FOOT)).solid()
        solid = bored_for_wood(solid, facing("-z", (CAP_SCREW_X, y, deep - CAP_FOOT)), CAP_SCREW[0], CAP_FOOT)
    return Part("L37", "cap over the hopper's servo", Way.PRINTED, solid, "PETG", "PETG, printed", 1.5)


def _cap_outline(wall: float) -> list[tuple[float, float]]:
    """Return the cap's inside, larger by a wall: wide beside the coupling, narrow beside the posts."""
    rear, end = CAP_REAR - wall, CAP_END + wall
    wide, narrow = CAP_HALF + wall, CAP_NARROW + wall
    side = [(rear, narrow), (-CAP_HALF - wall - 3, narrow), (-CAP_HALF, wide), (CAP_WIDE_TO, wide)]
    side += [(CAP_WIDE_TO + 5, narrow), (end, narrow)]
    return [*((x, -y) for x, y in side), *reversed(side)]


def _cap_place(frame: Frame) -> Location:
    """Return the place of the cap, whose +z leads to the side plate."""
    drive = fork.servo(frame)
    x, slope = drive.face + CAP_DEEP, radians(drive.direction_deg)
    return facing("-x", (x, *drive.at), along=(0.0, cos(slope), sin(slope)))


def _cap_screws(frame: Frame) -> list[Location]:
    """Return the places of the cap's screws."""
    place = _cap_place(frame)
    return [place * facing("-z", (CAP_SCREW_X, y, CAP_DEEP - CAP_FOOT)) for y in CAP_SCREWS_Y]


def _cap(frame: Frame) -> Iterator[Piece]:
    """Yield the cap with its screws."""
    yield Piece(cap(frame), _cap_place(frame))
    for where in _cap_screws(frame):
        yield Piece(wood_screw(*CAP_SCREW), where)


@cache
def strip(frame: Frame, side: int) -> Part:
    """Return the angle between a side plate and the lid's side as it stands, x off the midspan, y from its corner."""
    leg, thick = STRIP
    low, high = float(frame.guards.strip[1]), float(frame.guards.strip[2])
    face = side * float(frame.feeder.side_x + frame.feeder.side_sheet)
    on_plate, free = sorted((face, face + side * thick)), sorted((face, face + side * leg))
    shape = box(on_plate, (0, leg), (low, high)) + box(free, (0, thick), (low, high))
    if side > 0:
        shape -= box(on_plate, (thick, leg), (STRIP_UP_TO, high))
    solid = shape.solid()
    for z in STRIP_SCREWS[side]:
        out = facing("+x" if side > 0 else "-x", (face + side * thick, STRIP_AT, z))
        solid = bored_for_wood(solid, out, CAP_SCREW[0], thick)
    number, end = ("L38", "motor") if side > 0 else ("L39", "far")
    size = f"aluminium angle {leg:g}x{leg:g}x{thick:g}, {high - low:g} long"
    lying = (Location((0, 0, 0), (0, -90 * side, 0)) * Pos(-face, 0, -low) * solid).solid()
    return Part(number, f"angle beside the lid, {end} end", Way.MACHINED, lying, "aluminium", size, 1.5)


def _strip_place(frame: Frame, side: int) -> Location:
    """Return the place of an angle beside the lid."""
    face = side * float(frame.feeder.side_x + frame.feeder.side_sheet)
    turn = Location((0, 0, 0), (0, -90 * side, 0)) * Pos(-face, 0, -float(frame.guards.strip[1]))
    return Pos(0, float(frame.guards.strip[0]), 0) * turn.inverse()


def _strip_screws(frame: Frame, side: int) -> list[Location]:
    """Return the places of the screws that hold an angle on its side plate."""
    x = side * float(frame.feeder.side_x + frame.feeder.side_sheet + STRIP[1])
    y = float(frame.guards.strip[0]) + STRIP_AT
    return [facing("+x" if side > 0 else "-x", (x, y, z)) for z in STRIP_SCREWS[side]]


def _strip(frame: Frame, side: int) -> Iterator[Piece]:
    """Yield an angle beside the lid with its screws."""
    yield Piece(strip(frame, side), _strip_place(frame, side))
    for where in _strip_screws(frame, side):
        yield Piece(wood_screw(*CAP_SCREW), where)


def _in_x(held: Held) -> Spot:
    """Return the hole of a block's screw in a sheet across the gauge."""
    at = held.sheet_screw.position
    return at.X, at.Z, clearance(BOLT)
