"""What opens: the top and the upper front, an angle in their edge, a grip."""

from __future__ import annotations

from build123d import Location, Plane, Polyline, Pos, extrude, make_face
from frame.dimensions import Frame

from model.holes import clearance, drilled, engraved, facing
from model.lid.guard_switch import actuator_holes
from model.lid.hinges import moving_holes
from model.lid.parts import BOLT, FROM_CORNER, Sheet, Spot, bolt, corner_angle, one_leg_angle, sheet, upright_x
from model.lid.stay import bracket_hole
from model.piece import Part, Piece, Way

EDGE = 900.0  # length of the angle in the edge
EDGE_SCREWS = (20.0, 235.0, 450.0, 665.0, 880.0)  # along it
GRIP = (100.0, 4.0, 20.0, 24.0)  # length, thickness, height on the sheet, reach to the front
GRIP_OVER = 36.0  # over the front's lower edge, and over the apron
APRON_X = (-400.0, -200.0, 0.0, 200.0, 400.0)  # of its screws
SHOULDER_X, SHOULDER = 441.0, 26.0  # x and height of what is cut from the front where the feeder's side plates stand;
# the corner angles behind it close what this opens
GRIP_SCREWS = (20.0, 80.0)


def door(frame: Frame, group: str, *, feeder: bool) -> tuple[Piece, ...]:
    """Return top, upper front, the angle between them and the grip."""
    lid = frame.lid
    edge = corner_angle(frame, "L15", "edge of the lid", EDGE, EDGE_SCREWS)
    # its legs, along its x and y, point down and to the back
    inside = Plane(origin=(EDGE / 2, lid.front_y, lid.top_z), x_dir=(0, 0, -1), z_dir=(-1, 0, 0)).location
    thick = lid.sheet + lid.angle[1]
    pieces = [
        Piece(_top(frame), Pos(0, 0, lid.top_z), group),
        Piece(_front(frame, feeder=feeder), upright_x(lid.front_y + lid.sheet), group),
        Piece(edge, inside, group),
        *_grip_pieces(frame, group, feeder=feeder),
        *(_apron(frame, group) if feeder else ()),
    ]
    for x in _edge_x():
        above = facing("+z", (x, lid.front_y - FROM_CORNER, lid.top_z + lid.sheet))
        before = facing("+y", (x, lid.front_y + lid.sheet, lid.top_z - FROM_CORNER))
        for place in (above, before):
            pieces += _moving(bolt(place, thick, 12), group)
    return tuple(pieces)


def lower_edge(frame: Frame, *, feeder: bool) -> float:
    """Return the height of the upper front's lower edge."""
    return float(frame.lid.slot[1] if feeder else frame.lid.sill + frame.lid.gap)


def _moving(pieces: tuple[Piece, ...], group: str) -> tuple[Piece, ...]:
    return tuple(Piece(piece.part, piece.where, group) for piece in pieces)


def _edge_x() -> list[float]:
    return [along - EDGE / 2 for along in EDGE_SCREWS]


def _top(frame: Frame) -> Part:
    lid = frame.lid
    wide = lid.sides_x + lid.sheet
    holes: list[Spot] = [(x, lid.front_y - FROM_CORNER, clearance(BOLT)) for x in _edge_x()]
    holes += [(x, y, clearance(BOLT)) for x, y in moving_holes(frame)]
    holes += [*actuator_holes(frame), bracket_hole(frame)]
    outline = Sheet((-wide, wide), (lid.back_y - lid.sheet, lid.front_y + lid.sheet), holes)
    return sheet(frame, "L06", "top of the lid", outline)


def _front(frame: Frame, *, feeder: bool) -> Part:
    lid = frame.lid
    wide, low = lid.sides_x + lid.sheet, lower_edge(frame, feeder=feeder)
    holes: list[Spot] = [(x, lid.top_z - FROM_CORNER, clearance(BOLT)) for x in _edge_x()]
    up = low + GRIP_OVER + GRIP[2] / 2
    holes += [(along - GRIP[0] / 2, up, clearance(BOLT)) for along in GRIP_SCREWS]
    if feeder:
        holes += [(x, frame.guards.apron[0] + FROM_CORNER, clearance(BOLT)) for x in APRON_X]
    number, name = ("L08", "upper front, with feeder") if feeder else ("L07", "upper front, fed by hand")
    corners = [((-wide, -SHOULDER_X), (low, low + SHOULDER)), ((SHOULDER_X, wide), (low, low + SHOULDER))]
    outline = Sheet((-wide, wide), (low, lid.top_z), holes, corners if feeder else ())
    return sheet(frame, number, name, outline)


def grip(frame: Frame) -> Part:
    """Return the grip, standing on its end: on the sheet along x, to the front along y."""
    length, thick, high, reach = GRIP
    corners = [(0, 0), (high + thick, 0), (high + thick, reach), (high, reach), (high, thick), (0, thick)]
    shape = extrude(make_face(Polyline(*corners, close=True)), length).solid()
    for along in GRIP_SCREWS:
        shape = drilled(shape, facing("+y", (high / 2, thick, along)), clearance(BOLT), thick)
    shape = engraved(shape, "L20", facing("+x", (high + thick, reach / 2 + 1, length / 2), along="+z"))
    return Part("L20", "grip of the lid", Way.PRINTED, shape, "PETG", "printed", 0.8)


def _grip_pieces(frame: Frame, group: str, *, feeder: bool) -> tuple[Piece, ...]:
    lid = frame.lid
    low, y = lower_edge(frame, feeder=feeder) + GRIP_OVER, lid.front_y + lid.sheet
    length, thick, high, _ = GRIP
    # its x points up, its y to the front, its length to the left
    where = Location((length / 2, y, low)) * _UP
    pieces = [Piece(grip(frame), where, group)]
    for along in GRIP_SCREWS:
        head = facing("+y", (length / 2 - along, y + thick, low + high / 2))
        pieces += _moving(bolt(head, thick + lid.sheet, 16), group)
    return tuple(pieces)


def _apron(frame: Frame, group: str) -> tuple[Piece, ...]:
    """Return the angle that closes the gap between the shut lid and the hood over the hopper."""
    low, leg, half = frame.guards.apron
    front, thick = frame.lid.front_y + frame.lid.sheet, float(frame.lid.angle[1])
    holes = [x + half for x in APRON_X]
    part = one_leg_angle("L35", "apron of the lid", (leg, thick, 2 * half), holes, FROM_CORNER)
    place = Plane(origin=(half, front, low), x_dir=(0, 0, 1), z_dir=(-1, 0, 0)).location
    pieces = [Piece(part, place, group)]
    for x in APRON_X:
        pieces += _moving(bolt(facing("+y", (x, front + thick, low + FROM_CORNER)), thick + frame.lid.sheet, 12), group)
    return tuple(pieces)


_UP = Plane(origin=(0, 0, 0), x_dir=(0, 0, 1), z_dir=(-1, 0, 0)).location
