"""What keeps hands from the feeder: a hood over the fork, a panel under the hopper, a cover outside each side plate.

All are sheets of polycarbonate on printed blocks. A block is fixed to a side plate by a chipboard screw, and the sheet
is screwed on the block, so that a guard comes off with an M4 key and not without it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from math import cos, radians, sin
from typing import NamedTuple

from build123d import Location, Plane, Pos, Vector
from frame.dimensions import Frame
from frame.escapement import on_slope
from frame.feeder_places import front_stay, front_y

from model.across import SIDES
from model.holes import clearance, drilled, engraved, facing
from model.lid.parts import BOLT, FROM_CORNER, Sheet, Spot, bolt, one_leg_angle, sheet, upright_x, upright_y
from model.piece import Part, Piece, Way, of_step
from model.standard import slot_nut, socket_screw, wood_screw
from model.standard.fasteners import WOOD_HEAD
from model.standard.profiles import SLOT_6
from model.standard.shapes import box, cone, cylinder

STEP = "15 trays"
BLOCK = (16.0, 32.0, 12.0)  # off the side plate, along it, off the sheet
SHEET_AT, PLATE_AT = (10.0, 8.0), (-8.0, 6.0)  # screws of the sheet, x and y, and of the side plate, y and z
PLATE_SCREW, PILOT = (4.0, 25.0), 4.0  # chipboard screw; its hole in the side plate: drill 2.5
HOOD_BLOCKS = (12.0, 86.0)  # along the slope, clear of the opening lid
HOOD_SCREWS = (-270.0, -140.0, 0.0, 140.0, 270.0)  # of lip and stiffener, between the guides
LIP, LIP_AT = (15.0, 2.0), 9.0  # angle at the hood's front, its screws from the corner
STIFFENER, STIFFENER_AT, STIFFENER_HALF = (20.0, 2.0), 30.0, 425.0  # angle on the hood, between its blocks
PANEL_BLOCKS, PANEL_SCREWS = (150.0, -40.0), (-300.0, 0.0, 300.0)
CORNER_OF_LID = (469.0, 141.5, 36.5)  # x, z and y that the lid's corner takes of the cover at the motor end
COLLAR_NOTCH = ((0.0, 466.0), (56.5, 77.0))  # x and z in that cover's front, round a flap's collar

FAR_TOP_BLOCK, FLOOR_BLOCKS = 69.0, (44.0, 78.0)  # y of the far cover's blocks; the second of these is at its corner
FAR_REAR_BLOCKS = (20.0, -55.0)
FAR_EDGES, FAR_Z = (76.0, 85.5), (-80.0, 66.0)  # y where its outside ends beside and over a camshaft bearing; heights


class Held(NamedTuple):
    """A block's place: its x off the side plate or the outer sheet, its z off the sheet that is screwed on it."""

    where: Location
    on_plate: bool = True

    @property
    def sheet_screw(self) -> Location:
        """Middle of the screw that holds the sheet, on the block's face."""
        return self.where * Pos(*SHEET_AT, 0)

    @property
    def plate_screw(self) -> Location:
        """Middle of the screw that holds the block, on the side plate or the outer sheet."""
        return self.where * Pos(0, *PLATE_AT)


Direction = tuple[float, float, float]


def _held(at: Spot, off_plate: Direction, off_sheet: Direction, *, on_plate: bool = True) -> Held:
    return Held(Plane(origin=at, x_dir=off_plate, z_dir=off_sheet).location, on_plate)


def guards(frame: Frame) -> tuple[Piece, ...]:
    """Return hood, front panel and both covers."""
    pieces = [*_hood(frame), *_panel(frame)]
    for side in SIDES:
        pieces += _cover(frame, side)
    return of_step(pieces, STEP)


def bores(frame: Frame) -> dict[str, list[tuple[float, float, float]]]:
    """Return the holes in each side plate for the blocks' screws, y, z and diameter."""
    found: dict[str, list[tuple[float, float, float]]] = {"left": [], "right": []}
    for held in [
        *_hood_blocks(frame),
        *_panel_blocks(frame),
        *(b for side in SIDES for b in _cover_blocks(frame, side)),
    ]:
        if held.on_plate:
            at = held.plate_screw.position
            found["right" if at.X > 0 else "left"].append((at.Y, at.Z, PILOT))
    return found


# Blocks


@cache
def block(on_plate: bool) -> Part:
    """Return a block: what holds it at x = 0, the sheet at z = 0."""
    x, y, z = BLOCK
    shape = box((0, x), (-y / 2, y / 2), (0, z)) - Pos(*SHEET_AT, 0) * cylinder(BOLT, 0, z)
    if on_plate:
        d = PLATE_SCREW[0]
        shape -= facing("+x", (x, *PLATE_AT)) * (
            cone(d, WOOD_HEAD[d], -(WOOD_HEAD[d] - d) / 2, 0) + cylinder(clearance(d), -x, 0)
        )
        number, name = "L33", "block of a guard"
    else:
        shape = drilled(shape.solid(), facing("-x", (0, *PLATE_AT)), BOLT, 14)
        number, name = "L34", "corner block of a guard"
    solid = engraved(shape.solid(), number, Location((7, -8, z), (0, 0, 90)), 5)
    return Part(number, name, Way.PRINTED, solid, "PETG", "PETG, printed", 0.2)


def _blocks(frame: Frame, blocks: Sequence[Held]) -> Iterator[Piece]:
    """Yield blocks with their screws and those of their sheets."""
    thick = float(frame.lid.sheet)
    for held in blocks:
        yield Piece(block(held.on_plate), held.where)
        yield Piece(socket_screw(BOLT, 12), held.sheet_screw * Location((0, 0, -thick), (180, 0, 0)))
        if held.on_plate:
            yield Piece(wood_screw(*PLATE_SCREW), held.plate_screw * facing("+x", (BLOCK[0], 0, 0)))
        else:
            yield Piece(socket_screw(BOLT, 12), held.plate_screw * facing("-x", (-thick, 0, 0)))


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
    low, (notch_x, notch_z), stay_z = float(frame.guards.cover_low), frame.guards.panel_notch, front_stay(frame)[1]
    holes = [_in_x(held) for held in blocks] + [(x, stay_z, clearance(3)) for x in PANEL_SCREWS]
    cuts = [((notch_x, half), (low, notch_z)), ((-half, -notch_x), (low, notch_z))]
    outline = Sheet((-half, half), (low, float(frame.guards.panel_top)), holes, cuts)
    yield Piece(sheet(frame, "L36", "panel under the hopper", outline), upright_x(front))
    for x in PANEL_SCREWS:
        yield Piece(socket_screw(3, 8), facing("+y", (x, front, stay_z)))
        yield Piece(slot_nut(3, 6), facing("+y", (x, front - frame.lid.sheet - SLOT_6.lip_depth, stay_z)))
    yield from _blocks(frame, blocks)


# Covers outside the side plates


def _size(frame: Frame, side: int) -> tuple[float, float, float, float]:
    """Return a cover's rear and front in y, the underside of its top, and the inner face of its outer sheet."""
    rear, front, top, out = frame.guards.motor_cover if side > 0 else frame.guards.far_cover
    return float(rear), float(front), float(top), float(out)


def _cover_blocks(frame: Frame, side: int) -> list[Held]:
    """Return the blocks of a cover: on the side plate, and those that join its sheets."""
    rear, front, top, out = _size(frame, side)
    thick, face = float(frame.lid.sheet), float(frame.feeder.side_x + frame.feeder.side_sheet)
    back, down, up = (0, -1, 0), (0, 0, -1), (0, 0, 1)
    plate, corners = [((FAR_TOP_BLOCK, top), down)], []
    if side > 0:
        plate = [((86.0, top), down), *(((front - thick, z), back) for z in (104.0, -20.0))]
        corners = [((rear + thick, z), (0, 1, 0)) for z in (100.0, -100.0)]
        corners += [((86.0, top), down), *(((front - thick, z), back) for z in (104.0, -100.0))]
    else:
        floor = float(frame.guards.cover_low) + thick
        plate, corners = [*plate, ((FLOOR_BLOCKS[0], floor), up)], [*corners, ((FLOOR_BLOCKS[1], floor), up)]
    found = [_held((side * face, *at), (side, 0, 0), off) for at, off in plate]
    found += [_held((side * out, *at), (-side, 0, 0), off, on_plate=False) for at, off in corners]
    if side < 0:  # lying the other way, for their screws would meet the lid's side
        found += [_held((-out, rear + thick, z), (0, 1, 0), (1, 0, 0), on_plate=False) for z in FAR_REAR_BLOCKS]
    return found


def _cover(frame: Frame, side: int) -> Iterator[Piece]:
    """Yield the sheets of a cover and its blocks; the lid's side and the table close what is left."""
    blocks = _cover_blocks(frame, side)
    sheets = _motor_sheets(frame, blocks) if side > 0 else _far_sheets(frame, blocks)
    for number, name, outline, where in sheets:
        end = "motor end" if side > 0 else "far end"
        yield Piece(sheet(frame, number, f"{name} of the cover, {end}", outline), where)
    yield from _blocks(frame, blocks)


Drawn = tuple[str, str, Sheet, Location]


def _motor_sheets(frame: Frame, blocks: Sequence[Held]) -> tuple[Drawn, ...]:
    """Return the sheets over gate levers and servos: number, name, outline and place."""
    rear, front, top, out = _size(frame, 1)
    thick, low = float(frame.lid.sheet), float(frame.guards.cover_low)
    across = (float(frame.feeder.side_x + frame.feeder.side_sheet), out)
    x, z, y = CORNER_OF_LID
    outer = [_in_y(held) for held in blocks if not held.on_plate]
    before, behind = ([_in_x(held) for held in blocks if _off(held).Y * way > 0.5] for way in (-1, 1))
    return (
        ("L37", "outside", Sheet((rear, front), (low, top + thick), outer), upright_y(out)),
        ("L38", "front", Sheet(across, (low, top), before, [COLLAR_NOTCH]), upright_x(front)),
        ("L39", "rear", Sheet(across, (low, top), behind, [((0.0, x), (z, top))]), upright_x(rear + thick)),
        ("L40", "top", Sheet(across, (rear, front), _level(blocks, -1), [((0.0, x), (0.0, y))]), Pos(0, 0, top)),
    )


def _far_sheets(frame: Frame, blocks: Sequence[Held]) -> tuple[Drawn, ...]:
    """Return the sheets over the gate levers beside the camshaft's guard, which stands against the outer one."""
    rear, front, top, out = _size(frame, -1)
    thick, low = float(frame.lid.sheet), float(frame.guards.cover_low)
    across = (-out, -float(frame.feeder.side_x + frame.feeder.side_sheet))
    lying = [held for held in blocks if _off(held).X > 0.5]
    places = [held.plate_screw.position for held in blocks if not held.on_plate and held not in lying]
    places += [held.sheet_screw.position for held in lying]
    outer = [(at.Y, at.Z, clearance(BOLT)) for at in places]
    behind = [(at.X, at.Z, clearance(BOLT)) for held in lying for at in [held.plate_screw.position]]
    upper = (rear, FAR_EDGES[1])
    cuts = [((FAR_EDGES[0], front), (FAR_Z[0], FAR_Z[1])), ((FAR_EDGES[1], front), (FAR_Z[1], top + thick))]
    return (
        ("L41", "outside", Sheet((rear, front), (low, top + thick), outer, cuts), upright_y(-out - thick)),
        ("L42", "rear", Sheet(across, (low, top), behind), upright_x(rear + thick)),
        ("L43", "top", Sheet(across, upper, _level(blocks, -1)), Pos(0, 0, top)),
        ("L44", "floor", Sheet(across, (rear + thick, front), _level(blocks, 1)), Pos(0, 0, low)),
    )


def _level(blocks: Sequence[Held], way: int) -> list[Spot]:
    """Return the holes of the blocks' screws in a level sheet: under it for -1, over it for 1."""
    places = [held.sheet_screw.position for held in blocks if _off(held).Z * way > 0.5]
    return [(at.X, at.Y, clearance(BOLT)) for at in places]


def _off(held: Held) -> Vector:
    """Return the direction off the sheet of a block."""
    return Plane(held.where).z_dir


def _in_x(held: Held) -> Spot:
    """Return the hole of a block's screw in a sheet across the gauge."""
    at = held.sheet_screw.position
    return at.X, at.Z, clearance(BOLT)


def _in_y(held: Held) -> Spot:
    """Return the hole of a corner block's screw in the outer sheet."""
    at = held.plate_screw.position
    return at.Y, at.Z, clearance(BOLT)
