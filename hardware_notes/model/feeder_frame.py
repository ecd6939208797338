"""The feeder's frame: two side plates on feet, stays between them, and stays to the gauge's cross beams."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import cos, radians, sin

from build123d import Location
from frame.dimensions import Frame
from frame.escapement import on_slope
from frame.feeder import point
from frame.feeder_places import FOOT_BLOCK, LID_FRONT, STAY, STAY_DEEP, STAYS_AT, foot_y, front_stay, front_y
from frame.rolling import Line

from model import feeder_guards, fork, gate, lift, selector, trays
from model.across import SIDES, Hole, plate, upright
from model.holes import clearance, drilled, engraved, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.standard import foot, hex_nut, profile, slot_nut, socket_screw, washer
from model.standard.fasteners import WASHER
from model.standard.profiles import SLOT_8
from model.standard.shapes import box, cylinder

STEP = "10 side plates"
END = {"left": "far", "right": "motor"}  # at which a side plate stands
PLATE_REAR, PLATE_LOW_REAR, PLATE_BOTTOM = 23.0, 46.0, -138.0  # so low that trays come out and leave a sill
LEFT_NOSE = 2.0  # at the left the rear edge comes so far back for the foot of the lift's servo
PLATE_STEP = 3.0  # height below which the lid's lower front stands behind the plates
FOOT_TOP = -120.0
PLATE_OVER = 36.0  # over the ramp's line
LID_OVER = 139.0  # the plates end below the lid's front
STAY_SCREW = 5  # in each end of a stay
REAR_STAY = (100.0, -100.0)
STRAP, STRAP_THICKNESS = (90.0, 36.0), 5.0  # over cross beam and rear stay
STRAP_SCREWS = ((-30.0, -10.0), (-30.0, 10.0), (15.0, 0.0), (35.0, 0.0))  # from its middle: two in each profile
REAR_SCREW = 8


def feeder_frame(frame: Frame) -> tuple[Piece, ...]:
    """Return side plates with feet, and stays."""
    return of_step([*_plates(frame), *_long_stays(frame), *_rear_stays(frame)], STEP)


# Side plates


def bores(frame: Frame) -> dict[str, list[Hole]]:
    """Return the holes of stays and feet in each side plate, "left" and "right"."""
    own = [Hole(*at, clearance(STAY_SCREW)) for at in _stay_ends(frame)]
    own += [Hole(*REAR_STAY, clearance(REAR_SCREW))]
    own += [Hole(y, z, clearance(STAY_SCREW)) for y, z in _foot_screws(frame)]
    return {"left": own, "right": own}


def side_outline(frame: Frame, name: str) -> Line:
    """Return a side plate's outline in y and z."""
    end, slope = point(frame.feeder.ramp_end), radians(frame.feeder.slope)

    def over(y: float) -> tuple[float, float]:
        return y, end[1] + PLATE_OVER / cos(slope) + (y - end[0]) * sin(slope) / cos(slope)

    edge = [LID_OVER, *((90.0, 82.0, 54.0, 46.0) if name == "left" else ()), PLATE_STEP]
    rear = [(LEFT_NOSE if z in (82.0, 54.0) else PLATE_REAR, z) for z in edge]
    front = front_y(frame)
    return (
        (PLATE_LOW_REAR, PLATE_BOTTOM), (front, PLATE_BOTTOM), over(front), over(LID_FRONT),
        (LID_FRONT, LID_OVER), *rear, (PLATE_LOW_REAR, PLATE_STEP),
    )  # fmt: skip


@cache
def side_plate(frame: Frame, name: str) -> Part:
    """Return a side plate, "left" or "right", in y and z."""
    thickness = float(frame.feeder.side_sheet)
    units = (bores(frame), *(unit.bores(frame) for unit in (gate, fork, lift, selector, trays, feeder_guards)))
    holes = [Hole(*hole) for found in units for hole in found[name]]
    shape = plate(side_outline(frame, name), thickness, holes)
    for rear, front, low, high in (window for unit in (selector, trays) for window in unit.windows(frame)[name]):
        shape = (shape - box((rear, front), (low, high), (0, thickness))).solid()
    number = "F01" if name == "left" else "F02"
    shape = engraved(shape, number, Location((330, 20, thickness)), 12)
    return Part(number, f"side plate, {END[name]} end", Way.CUT, shape, "plywood", f"plywood {thickness:g}", 12.0)


def _plates(frame: Frame) -> list[Piece]:
    """Return both side plates with their feet."""
    x, thickness = float(frame.feeder.side_x), float(frame.feeder.side_sheet)
    pieces = [Piece(side_plate(frame, "right"), upright(x)), Piece(side_plate(frame, "left"), upright(-x - thickness))]
    for side in SIDES:
        pieces += [Piece(foot_block(), _foot_place(frame, side))]
        middle = side * (x + thickness + FOOT_BLOCK[0] / 2)
        pieces += [Piece(foot(), Location((middle, foot_y(frame), FOOT_TOP)))]
        pieces += [Piece(hex_nut(8), Location((middle, foot_y(frame), FOOT_TOP + 5)))]
        for y, z in _foot_screws(frame):
            pieces += [Piece(washer(5), facing("-x" if side > 0 else "+x", (side * x, y, z)))]
            inside = side * (x - WASHER[5][2])
            pieces += [Piece(socket_screw(5, 25), facing("-x" if side > 0 else "+x", (inside, y, z)))]
    return pieces


def _foot_screws(frame: Frame) -> tuple[tuple[float, float], ...]:
    """Return where the screws of a foot's block go through a side plate."""
    return tuple((foot_y(frame) + y, FOOT_TOP + FOOT_BLOCK[2] / 2) for y in (-15.5, 15.5))


def _foot_place(frame: Frame, side: int) -> Location:
    """Return the place of a foot's block, whose +x leads off the side plate."""
    x = side * float(frame.feeder.side_x + frame.feeder.side_sheet)
    return Location((x, foot_y(frame), FOOT_TOP), (0, 0, 0 if side > 0 else 180))


@cache
def foot_block() -> Part:
    """Return the block over a foot, as it stands: +x leads off the side plate."""
    x, y, z = FOOT_BLOCK
    shape = box((0, x), (-y / 2, y / 2), (0, z)) - Location((x / 2, 0, 0)) * cylinder(clearance(8), -1, 6)
    shape -= Location((x / 2, 0, 0)) * cylinder(17, 5, z + 1)
    solid = shape.solid()
    for across in (-15.5, 15.5):
        solid = drilled(solid, facing("-x", (0, across, z / 2)), tapped(5), 18)
    return Part("F03", "foot block", Way.PRINTED, solid, "PETG", "PETG", 0.8)


# Stays


def _stay_ends(frame: Frame) -> list[tuple[float, float]]:
    """Return where the stays lie in y and z."""
    return [*(on_slope(frame, s, -STAY_DEEP) for s in STAYS_AT), front_stay(frame)]


@cache
def stay(frame: Frame) -> Part:
    """Return a stay along x, tapped at both ends."""
    length = 2 * float(frame.feeder.side_x)
    part = profile(STAY, STAY, length, number="F08")
    shape = part.shape
    for end, out in ((length / 2, "+x"), (-length / 2, "-x")):
        shape = drilled(shape, facing(out, (end, 0, 0)), tapped(STAY_SCREW), 20)
    return replace(part, shape=shape, designation=f"{part.designation}, both ends M5 x 20")


def _long_stays(frame: Frame) -> list[Piece]:
    """Return the stays between the side plates with their screws."""
    x = float(frame.feeder.side_x + frame.feeder.side_sheet)
    pieces = []
    for at in _stay_ends(frame):
        tilt = 0.0 if at == front_stay(frame) else float(frame.feeder.slope)
        pieces += [Piece(stay(frame), Location((0, *at), (tilt, 0, 0)))]
        for side, out in ((1, "+x"), (-1, "-x")):
            pieces += [Piece(washer(STAY_SCREW), facing(out, (side * x, *at)))]
            head = side * (x + WASHER[STAY_SCREW][2])
            pieces += [Piece(socket_screw(STAY_SCREW, 25), facing(out, (head, *at)))]
    return pieces


@cache
def rear_stay(frame: Frame) -> Part:
    """Return the stay between a cross beam and a side plate, tapped at the plate's end, which is +x."""
    section = float(frame.base.cross_section)
    length = float(frame.feeder.side_x - frame.base.cross_x) - section / 2
    part = profile(section, section, length, number="F09")
    shape = drilled(part.shape, facing("+x", (length / 2, 0, 0)), tapped(REAR_SCREW), 25)
    return replace(part, shape=shape, designation=f"{part.designation}, one end M8 x 25")


@cache
def strap() -> Part:
    """Return the strap that joins a rear stay to a cross beam, its middle at the origin, the stay towards +x."""
    x, y = (size / 2 for size in STRAP)
    holes = [Hole(*at, clearance(6)) for at in STRAP_SCREWS]
    shape = plate([(-x, -y), (x, -y), (x, y), (-x, y)], STRAP_THICKNESS, holes)
    shape = engraved(shape, "F18", Location((-8, 0, STRAP_THICKNESS), (0, 0, 90)))
    return Part("F18", "strap", Way.CUT, shape, "aluminium", "aluminium sheet 5", 1.0)


def _rear_stays(frame: Frame) -> list[Piece]:
    """Return the stays that join the side plates to the gauge's cross beams."""
    section, (y, z) = float(frame.base.cross_section), REAR_STAY
    low = float(frame.base.cross_x) + section / 2
    high, outer = float(frame.feeder.side_x), float(frame.feeder.side_x + frame.feeder.side_sheet)
    pieces = []
    for side, out in ((1, "+x"), (-1, "-x")):
        turn = (0, 0, 0 if side > 0 else 180)
        pieces += [Piece(rear_stay(frame), Location((side * (low + high) / 2, y, z), turn))]
        pieces += [Piece(washer(REAR_SCREW), facing(out, (side * outer, y, z)))]
        head = side * (outer + WASHER[REAR_SCREW][2])
        pieces += [Piece(socket_screw(REAR_SCREW, 30), facing(out, (head, y, z)))]
        over = Location((side * (frame.base.cross_x - STRAP_SCREWS[0][0]), y, z + section / 2), turn)
        pieces += [Piece(strap(), over)]
        for across, along in STRAP_SCREWS:
            lies = "+y" if across < 0 else "+x"
            pieces += [Piece(socket_screw(6, 16), over * Location((across, along, STRAP_THICKNESS)))]
            pieces += [Piece(slot_nut(6), over * facing("+z", (across, along, -SLOT_8.lip_depth), along=lies))]
    return pieces
