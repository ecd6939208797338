"""The light barriers of the feeder, each an infrared source and a phototransistor in printed holders, and their places.

They touch no shaft. Both look through a hole of 1.6 mm, so that shafts of 4 and of 10 mm darken the same barrier.
"""

from __future__ import annotations

from functools import cache

from build123d import Location, Solid
from frame.dimensions import Frame
from frame.feeder import in_pocket

from model.across import SIDES, Hole, plate, upright
from model.bracket import CHUTE_SCREWS, SLOT_SCREWS, outer_x
from model.holes import clearance, drilled, engraved, facing, tapped
from model.hopper import CHUTE_SCREWS as RAIL_SCREWS
from model.hopper import EYE_NOTCH, EYE_S, EYE_SCREWS, GUIDE, guide_inner, up_slope
from model.piece import Part, Piece, Way, of_step
from model.standard import light_sensor, light_source, socket_screw
from model.standard.shapes import box, cylinder, prism

SINK, BODY, LOOK = 1.0, 5.5, 1.6  # depth of the flange, room for the body, diameter of the hole before it
DEEP = 8.0  # of the holders, across the beams
SEAT_Z = 98.3  # in shafts of 4 to 10 mm that lie in the nip
ARM = (15.0, 23.0)  # of the seat's holder: from y to y, in front and behind
SEAT_BASE, SEAT_FRONT, SEAT_TOP = (50.0, 62.0), 103.0, (122.0, 130.0)  # heights: base, front arm, arm above
ABOVE_Y, UNDER_Y = (
    4.0,
    (1.1, 5.5, 9.9),
)  # of the barrier that sees a second shaft; its lower end by the shafts' diameter
EYE_WIDTH, EYE_REACH = 9.0, 16.0  # of the hopper's holder
EYE_N = (-28.0, -20.0, EYE_NOTCH[2], EYE_NOTCH[2] + DEEP)  # lower and upper arm, square to the slope
SLOT_Z = 7.5
CHUTE_X, CHUTE_Y, CHUTE_TOP, CHUTE_FOOT = 251.0, 64.0, 131.2, 54.0  # the beam, and the upper faces of its holders
CHUTE_FOOT_DEEP, CHUTE_TOP_DEEP, LEADS = 12.0, 9.0, 2.5


def sensors(frame: Frame, span: float, length: float) -> tuple[Piece, ...]:
    """Return all light barriers of the feeder with their holders and screws, set for a span and a length of shafts."""
    seats = [piece for side in SIDES for piece in _seat(frame, side, span)]
    return (
        *of_step(_hopper_eye(frame, length), "11 hopper and fork"),
        *of_step([*seats, *_chute(frame)], "12 gate"),
        *of_step(_slot(frame), "13 lift"),
    )


def _opened(shape: Solid, eye: Location, through: float) -> Solid:
    """Return a holder with the hole for a source or sensor: +z along the beam, the origin where its flange rests."""
    tool = cylinder(4.0, -SINK - 1, 0) + cylinder(3.0, 0, BODY) + cylinder(LOOK, BODY, through)
    return (shape - eye * tool).solid()


def _eyes(where: Location, source: Location, sensor: Location) -> list[Piece]:
    """Return source and sensor in a holder's place."""
    return [Piece(light_source(), where * source), Piece(light_sensor(), where * sensor)]


# On the rollers


def _in_plane(direction: tuple[float, float], at: tuple[float, float]) -> Location:
    """Return a place in the middle of a holder that lies flat, its +z in the plane."""
    return facing((*direction, 0.0), (*at, DEEP / 2), along="+z")


@cache
def seat_holder(frame: Frame) -> Part:
    """Return the holder on a stand's inner cheek, in y and z."""
    inner, outer = ARM
    low, floor = SEAT_BASE
    under, top = SEAT_TOP
    outline = [(-outer, low), (outer, low), (outer, SEAT_FRONT), (inner, SEAT_FRONT), (inner, floor), (-inner, floor),
               (-inner, under), (ABOVE_Y + 5, under), (ABOVE_Y + 5, top), (-outer, top)]  # fmt: skip
    across, up = frame.support.sensor_screws
    shape = plate(outline, DEEP, [Hole(y, up, clearance(3)) for y in (-across, across)])
    for eye in (_in_plane((-1, 0), (outer - SINK, SEAT_Z)), _in_plane((1, 0), (SINK - outer, SEAT_Z))):
        shape = _opened(shape, eye, outer - inner)
    shape = _opened(shape, _in_plane((0, -1), (ABOVE_Y, top - SINK)), top - under)
    for y in UNDER_Y:
        shape = _opened(shape, _in_plane((0, 1), (y, low + SINK)), floor - low)
    shape = engraved(shape, "F26", Location((-19, 110, DEEP), (0, 0, 90)), 5)
    note = "Lower sensor of the barrier above: rear hole for shafts under 5 mm, middle to 7.5, front for thicker ones."
    return Part("F26", "seat sensor holder", Way.PRINTED, shape, "PETG", "PETG, black, lying", 1.0, notes=(note,))


def _seat(frame: Frame, side: int, span: float) -> list[Piece]:
    """Return the barrier that sees a shaft's end on a stand, and at the right the one that sees a second shaft."""
    face = span / 2 + frame.support.cheek_inner[0]
    where = upright(face - DEEP if side > 0 else -face)
    outer = ARM[1] - SINK
    pieces = [Piece(seat_holder(frame), where)]
    pieces += _eyes(where, _in_plane((-1, 0), (outer, SEAT_Z)), _in_plane((1, 0), (-outer, SEAT_Z)))
    if side > 0:
        above = _in_plane((0, -1), (ABOVE_Y, SEAT_TOP[1] - SINK))
        pieces += _eyes(where, above, _in_plane((0, 1), (UNDER_Y[1], SEAT_BASE[0] + SINK)))
    across, up = frame.support.sensor_screws
    for y in (-across, across):
        head = side * (face - DEEP), y, up
        pieces += [Piece(socket_screw(3, 12), facing("-x" if side > 0 else "+x", head))]
    return pieces


# In the hopper


@cache
def eye_holder() -> Part:
    """Return the holder around a guide, lying: x from the guide's inner face outward, y square to the slope."""
    low, floor, under, top = EYE_N
    outline = [(-EYE_REACH, low), (GUIDE + DEEP, low), (GUIDE + DEEP, top), (-EYE_REACH, top), (-EYE_REACH, under),
               (GUIDE, under), (GUIDE, floor), (-EYE_REACH, floor)]  # fmt: skip
    shape = plate(outline, EYE_WIDTH)
    for eye, through in ((_eye_at(top - SINK, -1), top - under), (_eye_at(low + SINK, 1), floor - low)):
        shape = _opened(shape, eye, through)
    for n in EYE_SCREWS:
        shape = drilled(shape, facing("-x", (GUIDE, n, EYE_WIDTH / 2)), tapped(3), DEEP)
    shape = engraved(shape, "F27", Location((GUIDE + DEEP / 2, 12, EYE_WIDTH), (0, 0, 90)), 5)
    return Part("F27", "hopper sensor holder", Way.PRINTED, shape, "PETG", "PETG, black, lying", 0.5)


def _eye_at(n: float, direction: int) -> Location:
    """Return where source or sensor lies in the hopper's holder."""
    return facing((0.0, float(direction), 0.0), (4 - EYE_REACH, n, EYE_WIDTH / 2), along="+z")


def _hopper_eye(frame: Frame, length: float) -> list[Piece]:
    """Return the barrier that sees the first shaft before the step, on the right guide."""
    inner = guide_inner(frame, 1, length)
    # the holder lies with its z against the slope: x outward, y square to the slope
    where = up_slope(frame, inner, EYE_S, 0) * Location((0, EYE_WIDTH / 2, 0), (90, 0, 0))
    low, _, _, top = EYE_N
    pieces = [Piece(eye_holder(), where), *_eyes(where, _eye_at(top - SINK, -1), _eye_at(low + SINK, 1))]
    for n in EYE_SCREWS:
        pieces += [Piece(socket_screw(3, 12), where * facing("-x", (0, n, EYE_WIDTH / 2)))]
    return pieces


# In the lift's pocket


def _slot_eyes(frame: Frame) -> tuple[Location, Location]:
    front, rear = _slot_posts(frame)
    return _in_plane((-1, 0), (front + DEEP - SINK, SLOT_Z)), _in_plane((1, 0), (rear - DEEP + SINK, SLOT_Z))


def _slot_posts(frame: Frame) -> tuple[float, float]:
    """Return the faces of the two posts towards the check standard."""
    return in_pocket(frame, frame.shaft.thickest)[0] + 14.5, in_pocket(frame, frame.shaft.usual)[0] - 13.0


@cache
def slot_holder(frame: Frame) -> Part:
    """Return the holder on a bracket, in y and z."""
    front, rear = _slot_posts(frame)
    low, floor, top, tab = -18.0, -8.0, 12.0, 27.0
    outline = [(rear - DEEP, low), (front + DEEP, low), (front + DEEP, top), (front, top), (front, floor),
               (rear, floor), (rear, tab), (36, tab), (36, 13), (rear - DEEP, 13)]  # fmt: skip
    shape = plate(outline, DEEP, [Hole(*at, clearance(3)) for at in SLOT_SCREWS])
    for eye in _slot_eyes(frame):
        shape = _opened(shape, eye, DEEP)
    shape = engraved(shape, "F28", Location(((front + rear) / 2, (low + floor) / 2, DEEP)), 5)
    return Part("F28", "slot sensor holder", Way.PRINTED, shape, "PETG", "PETG, black, lying", 0.5)


def _slot(frame: Frame) -> list[Piece]:
    """Return the barrier that sees the check standard in the arms, on the left bracket."""
    face = -outer_x(frame)
    where = upright(face - DEEP)
    pieces = [Piece(slot_holder(frame), where), *_eyes(where, *_slot_eyes(frame))]
    return pieces + [Piece(socket_screw(3, 12), facing("-x", (face - DEEP, *at))) for at in SLOT_SCREWS]


# On the way out


@cache
def chute_foot(frame: Frame) -> Part:
    """Return the holder on the left bracket, upside down: x from the bracket's face outward, y as in the gauge."""
    reach, deep = CHUTE_X - outer_x(frame) + 5, CHUTE_FOOT_DEEP
    rear, front = CHUTE_Y - 4.5, CHUTE_Y + 3.6  # the check standard's flap falls close in front of it
    shape = prism([(0, 42), (6, 42), (6, rear), (reach, rear), (reach, front), (0, front)], 0, deep).solid()
    for y, z in CHUTE_SCREWS:
        shape = drilled(shape, facing("+x", (6, y, CHUTE_FOOT - z)), clearance(3), 6)
    shape = _opened(shape, _chute_eye(frame), deep)
    shape = engraved(shape, "F29", Location((14, CHUTE_Y, deep)), 5)
    return Part("F29", "lower chute sensor holder", Way.PRINTED, shape, "PETG", "PETG, black, lying", 0.5)


def _chute_eye(frame: Frame) -> Location:
    """Return where the phototransistor lies in the lower holder."""
    return facing("-z", (CHUTE_X - outer_x(frame), CHUTE_Y, CHUTE_FOOT_DEEP - SINK))


@cache
def chute_top() -> Part:
    """Return the holder on the left rail, in y and z: a groove leads the source's leads off, under the ramp's edge."""
    y, deep = CHUTE_Y, CHUTE_TOP_DEEP
    outline = [
        (y - 9, 124.5),
        (y - 4, 122.5),
        (y + 7.8, 122.5),
        (y + 7.8, CHUTE_TOP),
        (y - 3, CHUTE_TOP),
        (y - 9, 129.3),
    ]
    shape = plate(outline, deep, [Hole(*at, clearance(3)) for at in RAIL_SCREWS])
    shape = _opened(shape, _chute_source(), 8.0)
    shape = (shape - box((y - 2, y + 2), (CHUTE_TOP - LEADS, CHUTE_TOP + 1), (-1, deep / 2))).solid()
    return Part("F70", "upper chute sensor holder", Way.PRINTED, shape, "PETG", "PETG, black, lying", 0.5)


def _chute_source() -> Location:
    """Return where the source lies in the upper holder."""
    return facing((0.0, -1.0, 0.0), (CHUTE_Y, CHUTE_TOP - LEADS, CHUTE_TOP_DEEP / 2), along="+z")


def _chute(frame: Frame) -> list[Piece]:
    """Return the barrier that sees each shaft that leaves the gate, at the left."""
    face, rail = -outer_x(frame), -frame.feeder.ramp_x - frame.feeder.rail_sheet / 2
    foot, top = Location((face, 0, CHUTE_FOOT), (0, 180, 0)), upright(rail - CHUTE_TOP_DEEP)
    pieces = [Piece(chute_foot(frame), foot), Piece(light_sensor(), foot * _chute_eye(frame))]
    pieces += [Piece(chute_top(), top), Piece(light_source(), top * _chute_source())]
    pieces += [Piece(socket_screw(3, 10), facing("-x", (face - 6, *at))) for at in CHUTE_SCREWS]
    return pieces + [Piece(socket_screw(3, 12), facing("-x", (rail - CHUTE_TOP_DEEP, *at))) for at in RAIL_SCREWS]
