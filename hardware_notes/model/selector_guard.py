"""The guard over camshaft and levers, outside the left side plate: a board on top, one at each end, a clear cover.

It reaches down to the table, so that it needs no floor. Places are across, down the runway and out of it, from where
the first axle leaves the side plate.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from build123d import Location, Plane
from frame.dimensions import Frame
from frame.selector import along, axle

from model.holes import drilled, engraved, facing
from model.piece import Part, Piece, Way
from model.selector_parts import FOOT, PLATE_SCREW, bored_for_wood
from model.selector_places import rod_ends, runway_s, servo_s
from model.standard import wood_screw
from model.standard.shapes import box, prism

BOARD, COVER = 9.0, 4.0  # plywood, polycarbonate
DEEP = 109.0  # of the guard from the side plate
REAR_FROM, BESIDE_LID = 2.5, (21.0, 38.5)  # of the rear end: off the side plate; there, and behind this y, off the lid
OVER = 26.0  # from the axles out of the runway to the top board: levers rise when the lift pushes the first flap up
BEFORE, AFTER = 6.0, 36.0  # from the camshaft's end and from the servo's ears to the end boards
OFF_TABLE = 4.0
EDGE_SCREW, COVER_SCREW = (3.0, 30.0), (3.0, 16.0)  # chipboard screws into the boards' edges
ANGLE = (20.0, 28.0)  # width, length of both legs; as thick as what else stands on the side plate
LEG_SCREW = 18.0  # from the corner of an angle to its screws


def _frame(frame: Frame) -> Location:
    """Return the guard's own axes: x across, y down the runway, z out of it."""
    y, z = axle(frame, 0)
    outside = float(frame.feeder.side_x + frame.feeder.side_sheet)
    return Location((-outside, y, z), (-float(frame.feeder.slope), 0, 0))


def ends(frame: Frame) -> tuple[float, float]:
    """Return the inner faces of the end boards along the runway."""
    return rod_ends(frame)[0] - BEFORE, servo_s(frame) + AFTER


def _down_to_table(frame: Frame, s: float) -> float:
    """Return how far out of the runway the guard ends at a place along it; below 0."""
    _, z = along(frame, axle(frame, 0), s, 0.0)
    _, up = along(frame, (0.0, 0.0), 0.0, 1.0)
    return (frame.table_z + OFF_TABLE - z) / up


def _angles_s(frame: Frame) -> list[float]:
    """Return the middles of the angles along the top board, between the axles."""
    low, high = ends(frame)
    places, half = int(frame.feeder.places), float(frame.feeder.pitch) / 2
    middle = [runway_s(frame, places // 2) + half] if places > 3 else []
    return [low + ANGLE[0] / 2 + 1, *middle, high - ANGLE[0] / 2 - 20]


# Parts


@cache
def top_board(frame: Frame) -> Part:
    """Return the top board: x down the runway, y off the side plate."""
    low, high = ends(frame)
    length = high - low + 2 * BOARD
    shape = box((0, length), (0, DEEP), (0, BOARD)).solid()
    for s in _angles_s(frame):
        shape = drilled(shape, facing("-z", (s - low + BOARD, LEG_SCREW, 0)), PLATE_SCREW[0], BOARD)
    for x in (BOARD / 2, length - BOARD / 2):
        for y in EDGE_AT:
            shape = bored_for_wood(shape, facing("+z", (x, y, BOARD)), EDGE_SCREW[0], BOARD)
    for x in _cover_along(length):
        shape = drilled(shape, facing("+y", (x, DEEP, BOARD / 2)), COVER_SCREW[0], COVER_SCREW[1] - COVER)
    return Part("F43", "guard top", Way.MACHINED, shape, "plywood", f"plywood {BOARD:g}", 2.0)


EDGE_AT = (45.0, DEEP - 15.0)  # of the screws from the top board into an end board


def _cover_along(length: float) -> tuple[float, ...]:
    """Return where the cover is screwed to the top board, from the board's end."""
    return 40.0, length / 2, length - 40.0


@cache
def end_board(frame: Frame, rear: bool) -> Part:
    """Return an end board: x down from the top board, y off the side plate."""
    low, high = ends(frame)
    length = OVER - _down_to_table(frame, low - BOARD if rear else high)
    first = REAR_FROM if rear else 0.0
    shape = box((0, length), (first, DEEP), (0, BOARD)).solid()
    if rear:  # the lid's side and the angle beside it stand there
        shape = (shape - box((_to_lid(frame), length), (first, BESIDE_LID[0]), (0, BOARD))).solid()
    for y in EDGE_AT:
        shape = drilled(shape, facing("-x", (0, y, BOARD / 2)), EDGE_SCREW[0], EDGE_SCREW[1] - BOARD)
    for x in _cover_down(length):
        shape = drilled(shape, facing("+y", (x, DEEP, BOARD / 2)), COVER_SCREW[0], COVER_SCREW[1] - COVER)
    if not rear:
        shape = drilled(shape, facing("-z", (FRONT_ANGLE, LEG_SCREW, 0)), PLATE_SCREW[0], BOARD)
    number, name = ("F44", "guard rear end") if rear else ("F45", "guard front end")
    return Part(number, name, Way.MACHINED, shape, "plywood", f"plywood {BOARD:g}", 1.0)


def _to_lid(frame: Frame) -> float:
    """Return how far down from the top board the rear end meets the lid's side."""
    (y, _), (down, _), (out, _) = axle(frame, 0), along(frame, (0.0, 0.0), 1.0, 0.0), along(frame, (0.0, 0.0), 0.0, 1.0)
    return OVER - (BESIDE_LID[1] - y - (ends(frame)[0] - BOARD) * down) / out


FRONT_ANGLE = 40.0  # middle of the front end's angle, from the top board down


def _cover_down(length: float) -> tuple[float, float]:
    """Return where the cover is screwed to an end board, from the top board down."""
    return 20.0, length - 25.0


@cache
def cover(frame: Frame) -> Part:
    """Return the clear cover: x down the runway from the rear, y out of it from the first axle, its outside down."""
    low, high = ends(frame)
    rear, front, top = low - BOARD, high + BOARD, OVER + BOARD
    bottom = [_down_to_table(frame, s) for s in (rear, front)]
    shape = prism([(rear, top), (rear, bottom[0]), (front, bottom[1]), (front, top)], 0, COVER)
    shape = shape.solid()
    for s, n in _cover_screws(frame):
        shape = bored_for_wood(shape, facing("-z", (s, n, 0)), COVER_SCREW[0], COVER)
    shape = engraved(shape, "F46", facing("-z", (low + 60, 0, 0)), 8)
    return Part("F46", "guard cover", Way.MACHINED, shape, "polycarbonate", f"polycarbonate {COVER:g}", 6.0)


def _cover_screws(frame: Frame) -> list[tuple[float, float]]:
    """Return where the cover's screws are, along the runway and out of it."""
    low, high = ends(frame)
    found = [(low - BOARD + x, OVER + BOARD / 2) for x in _cover_along(high - low + 2 * BOARD)]
    for s, at in ((low - BOARD / 2, low - BOARD), (high + BOARD / 2, high)):
        found += [(s, OVER - x) for x in _cover_down(OVER - _down_to_table(frame, at))]
    return found


@cache
def angle() -> Part:
    """Return a printed angle for two chipboard screws, lying on its side."""
    wide, long = ANGLE
    shape = box((0, long), (0, FOOT), (0, wide)) + box((0, FOOT), (0, long), (0, wide))
    shape = shape.solid()
    for where in angle_screws():
        shape = bored_for_wood(shape, where)
    return Part("F47", "guard angle", Way.PRINTED, shape, "PETG", "PETG, printed", 0.2)


def angle_screws() -> tuple[Location, Location]:
    """Return the places of an angle's screws, that through its leg along x first."""
    middle = ANGLE[0] / 2
    return facing("+y", (LEG_SCREW, FOOT, middle)), facing("+x", (FOOT, LEG_SCREW, middle))


# Places


def _angles(frame: Frame) -> Iterator[Piece]:
    """Yield the angles with their screws: the leg along x on the board, the other on the side plate."""
    half = ANGLE[0] / 2
    under_top = [Plane((0, s + half, OVER), x_dir=(-1, 0, 0), z_dir=(0, -1, 0)) for s in _angles_s(frame)]
    front = Plane((0, ends(frame)[1], OVER - FRONT_ANGLE - half), x_dir=(-1, 0, 0), z_dir=(0, 0, 1))
    for plane in (*under_top, front):
        place = _frame(frame) * Location(plane)
        yield Piece(angle(), place)
        for at in angle_screws():
            yield Piece(wood_screw(*PLATE_SCREW), place * at)


def guard(frame: Frame) -> Iterator[Piece]:
    """Yield boards, cover, angles and screws of the guard."""
    own, (low, high) = _frame(frame), ends(frame)
    top = own * Location(Plane((0, low - BOARD, OVER), x_dir=(0, 1, 0), z_dir=(0, 0, 1)))
    yield Piece(top_board(frame), top)
    for s, rear in ((low - BOARD, True), (high, False)):
        yield Piece(end_board(frame, rear), own * Location(Plane((0, s, OVER), x_dir=(0, 0, -1), z_dir=(0, 1, 0))))
        for y in EDGE_AT:
            yield Piece(wood_screw(*EDGE_SCREW), own * facing("+z", (-y, s + BOARD / 2, OVER + BOARD)))
    yield from _angles(frame)
    face = own * Location(Plane((-DEEP - COVER, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)))
    yield Piece(cover(frame), face)
    for s, n in _cover_screws(frame):
        yield Piece(wood_screw(*COVER_SCREW), face * facing("-z", (s, n, 0)))
