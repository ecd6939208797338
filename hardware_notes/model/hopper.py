"""The hopper: rails that lead down to a step and on to the ramp, stops at the step, guides, and a sheet underneath.

Rails and guides stand on stays between the side plates, on blocks that slide along x before they are screwed fast.
"""

from __future__ import annotations

from functools import cache
from math import cos, radians, sin

from build123d import Location
from frame import escapement
from frame.dimensions import Frame
from frame.escapement import on_slope
from frame.feeder import ramp
from frame.feeder_places import STAY, STAY_DEEP, STAYS_AT

from model.across import SIDES, Hole, plate, upright
from model.holes import clearance, drilled, engraved, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.standard import hex_nut, slot_nut, socket_screw
from model.standard.profiles import SLOT_6
from model.standard.shapes import box, cylinder, prism

STEP = "11 hopper and fork"
BLOCK, BLOCK_WALL, BLOCK_FOOT = (28.5, 20.0, 18.5), 8.0, 6.0  # that holds a rail or guide on a stay
BLOCK_SCREW, BLOCK_SCREWS, BLOCK_UP = 4, (-6.0, 6.0), 13.5  # through rail or guide, and how high over the stay
FOOT_SCREWS_X = (12.0, 23.2)  # in the stay's slot
GUIDE, GUIDE_OVER = 4.0, 24.0  # polycarbonate; how far it rises above the hopper's floor
SHEET, SHEET_SCREWS_X = 4.0, (-300.0, 0.0, 300.0)  # under the hopper
TO_PANEL = 22.0  # from the rails' ends to where the sheet under the hopper meets the front panel
STOP, STOP_SCREWS = 9.0, (-7.0, -17.0)  # thickness of the block beside the step, its screws along the slope
CHUTE_SCREWS = (59.0, 127.6), (68.3, 123.8)  # M3, y and z: of the light barrier over the way out
EYE_NOTCH = (-2.5, 7.5, 17.0)  # in the guides for the arm of that barrier, which stays under the hood: s from and to, n
EYE_S, EYE_SCREWS = 2.5, (-5.5, -13.5)  # of the light barrier that sees the first shaft, and of its screws
OFF_STOP, GUIDE_PLAY = 1.0, 2.0  # of the guides: to the right of the end stop, and wider than a shaft is long


def hopper(frame: Frame, length: float) -> tuple[Piece, ...]:
    """Return rails, stops, guides set for shafts of a length, and the sheet under the hopper."""
    pieces = [*_sheet(frame)]
    for side in SIDES:
        pieces += [*_rail(frame, side), *_stop(frame, side), *_guide(frame, side, length)]
    return of_step(pieces, STEP)


def up_slope(frame: Frame, x: float, along: float, square: float) -> Location:
    """Return a place on the slope: +x as in the gauge, +y up the slope, +z square to it."""
    slope = radians(frame.feeder.slope)
    return facing((0.0, -sin(slope), cos(slope)), (x, *on_slope(frame, along, square)), along="+x")


@cache
def rail(frame: Frame) -> Part:
    """Return a rail of ramp and hopper in y and z."""
    floor = float(frame.feeder.rail)
    edge, round_part = escapement.rail_edge(frame), ramp(frame)[:-2]
    below = [on_slope(frame, frame.feeder.hopper_length, -floor), on_slope(frame, -20, -floor), *round_part]
    rod = Hole(*escapement.axis(frame), frame.feeder.rod + 2)
    stops = [Hole(*on_slope(frame, s, 0), tapped(3)) for s in STOP_SCREWS]
    stops += [Hole(*at, tapped(3)) for at in CHUTE_SCREWS]
    shape = plate([*edge, *below], frame.feeder.rail_sheet, [rod, *stops, *_block_holes(frame)])
    middle = on_slope(frame, 240, -10)
    shape = engraved(shape, "F04", Location((*middle, frame.feeder.rail_sheet), (0, 0, frame.feeder.slope)))
    note = "Upper edge smooth and straight within 0.5, no burr; both rails of a feeder alike within 0.3."
    return Part("F04", "rail of ramp and hopper", Way.CUT, shape, "aluminium", "aluminium sheet 3", 6.0, notes=(note,))


def _block_holes(frame: Frame) -> list[Hole]:
    """Return the holes of the blocks' screws in rails and guides."""
    up = -STAY_DEEP + STAY / 2 + BLOCK_UP
    return [Hole(*on_slope(frame, s + off, up), clearance(BLOCK_SCREW)) for s in STAYS_AT for off in BLOCK_SCREWS]


@cache
def block() -> Part:
    """Return a block as it stands on a stay: the rail at x = 0 and the foot towards +x."""
    x, y, z = BLOCK
    corners = [(0, 0), (x, 0), (x, BLOCK_FOOT), (BLOCK_WALL, BLOCK_FOOT), (BLOCK_WALL, z), (0, z)]
    shape = facing("-y", (0, y / 2, 0), along="+x") * prism(corners, 0, y)
    solid = shape.solid()
    for off in BLOCK_SCREWS:
        solid = drilled(solid, facing("-x", (0, off, BLOCK_UP)), clearance(BLOCK_SCREW), BLOCK_WALL)
    for along in FOOT_SCREWS_X:
        solid = drilled(solid, Location((along, 0, BLOCK_FOOT)), clearance(3), BLOCK_FOOT)
    return Part("F05", "block on a stay", Way.PRINTED, solid, "PETG", "PETG", 0.3)


def _blocks(frame: Frame, x: float, out: int, thickness: float) -> list[Piece]:
    """Return the blocks that hold a sheet on the stays; its face is at x, and they stand off it towards `out`."""
    pieces, top = [], -STAY_DEEP + STAY / 2
    for s in STAYS_AT:
        place = up_slope(frame, x, s, top) * Location((0, 0, 0), (0, 0, 0 if out > 0 else 180))
        pieces += [Piece(block(), place)]
        for along in FOOT_SCREWS_X:
            pieces += [Piece(socket_screw(3, 10), place * Location((along, 0, BLOCK_FOOT)))]
            pieces += [Piece(slot_nut(3, 6), place * Location((along, 0, -SLOT_6.lip_depth)))]
        for off in BLOCK_SCREWS:
            pieces += [Piece(socket_screw(BLOCK_SCREW, 16), place * facing("-x", (-thickness, off, BLOCK_UP)))]
            pieces += [Piece(hex_nut(BLOCK_SCREW), place * facing("+x", (BLOCK_WALL, off, BLOCK_UP)))]
    return pieces


def _rail(frame: Frame, side: int) -> list[Piece]:
    """Return a rail with its blocks."""
    x, thickness = side * float(frame.feeder.ramp_x), float(frame.feeder.rail_sheet)
    outer = x + side * thickness / 2
    return [Piece(rail(frame), upright(x - thickness / 2)), *_blocks(frame, outer, side, thickness)]


@cache
def stop(frame: Frame) -> Part:
    """Return the block beside the step, along the slope and square to it from the step's foot; it slides forward."""
    top = float(frame.feeder.fork_step) - 0.1
    shape = prism([(-24, -8), (0, -8), (0, top), (-24, top)], 0, STOP)
    slot, play = clearance(3) / 2, float(frame.feeder.fork_forward) + 0.2
    for s in STOP_SCREWS:
        shape -= box((s - play, s), (-slot, slot), (-1, STOP + 1))
        for end in (s - play, s):
            shape -= Location((end, 0, 0)) * cylinder(2 * slot, -1, STOP + 1)
    return Part("F06", "stop of the hopper", Way.PRINTED, shape.solid(), "PETG", "PETG, lying", 0.3)


def _stop(frame: Frame, side: int) -> list[Piece]:
    """Return the stop beside a rail's step, at the outer side, with its screws."""
    face = side * (frame.feeder.ramp_x + frame.feeder.rail_sheet / 2)
    slope = radians(frame.feeder.slope)
    low = face if side > 0 else face - STOP
    place = facing("+x", (low, *on_slope(frame, 0, 0)), along=(0.0, cos(slope), sin(slope)))
    pieces, out = [Piece(stop(frame), place)], "+x" if side > 0 else "-x"
    for s in STOP_SCREWS:
        pieces += [Piece(socket_screw(3, 12), facing(out, (face + side * STOP, *on_slope(frame, s, 0))))]
    return pieces


@cache
def guide(frame: Frame) -> Part:
    """Return a side guide in y and z."""
    end = float(frame.feeder.hopper_length)
    lip, low = float(frame.guards.hood[1]), float(frame.guards.hood_lip) - 2
    notch = [(lip + 7, GUIDE_OVER), (lip + 7, low), (lip - 5, low), (lip - 5, GUIDE_OVER)]
    rear, front, eye_n = EYE_NOTCH
    notch += [(front, GUIDE_OVER), (front, eye_n), (rear, eye_n), (rear, GUIDE_OVER)]
    corners = [(-22, 6), (-10, -18), (end, -18), (end, GUIDE_OVER), *notch, (-22, GUIDE_OVER)]
    eye = [Hole(*on_slope(frame, EYE_S, n), clearance(3)) for n in EYE_SCREWS]
    shape = plate([on_slope(frame, *corner) for corner in corners], GUIDE, [*_block_holes(frame), *eye])
    middle = on_slope(frame, 240, 5)
    shape = engraved(shape, "F07", Location((*middle, GUIDE), (0, 0, frame.feeder.slope)))
    return Part("F07", "side guide", Way.CUT, shape, "polycarbonate", "polycarbonate sheet 4", 4.0)


def guide_inner(frame: Frame, side: int, length: float) -> float:
    """Return how far a guide's inner face is from midspan: shafts come in clear of the end stop, with some play."""
    left = -frame.stop_x(length) - OFF_STOP
    return float(length + GUIDE_PLAY - left if side > 0 else left)


def _guide(frame: Frame, side: int, length: float) -> list[Piece]:
    """Return a side guide with its blocks, set for shafts of a length."""
    inner = guide_inner(frame, side, length)
    low = inner if side > 0 else -inner - GUIDE
    return [Piece(guide(frame), upright(low)), *_blocks(frame, side * inner, -side, GUIDE)]


@cache
def sheet(frame: Frame) -> Part:
    """Return the sheet under the hopper: x across, y up the slope from its rear edge."""
    half, length = float(frame.feeder.side_x) - 1, float(frame.feeder.hopper_length) - 20 + TO_PANEL
    corners = [(-half, 0), (half, 0), (half, length), (-half, length)]
    holes = [Hole(x, s - 20, clearance(3)) for s in STAYS_AT for x in SHEET_SCREWS_X]
    shape = engraved(plate(corners, SHEET, holes), "F25", Location((150, 200, SHEET)), 10)
    return Part("F25", "sheet under the hopper", Way.CUT, shape, "polycarbonate", "polycarbonate sheet 4", 14.0)


def _sheet(frame: Frame) -> list[Piece]:
    """Return the sheet that closes the feeder under the hopper, with its screws."""
    under = -STAY_DEEP - STAY / 2
    pieces = [Piece(sheet(frame), up_slope(frame, 0, 20, under - SHEET))]
    for s in STAYS_AT:
        for x in SHEET_SCREWS_X:
            below = up_slope(frame, x, s, under)
            pieces += [Piece(socket_screw(3, 8), below * Location((0, 0, -SHEET), (180, 0, 0)))]
            pieces += [Piece(slot_nut(3, 6), below * Location((0, 0, SLOT_6.lip_depth), (180, 0, 0)))]
    return pieces
