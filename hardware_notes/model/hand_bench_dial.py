"""The dial indicator of the hand bench on a foot of its own, which the weight does not bend."""

from __future__ import annotations

from build123d import Box, Cone, Cylinder, Location, Plane, Polyline, Pos, RegularPolygon, Sphere, extrude, make_face
from frame.dimensions import Frame

from model import standard
from model.hand_bench_stands import ANGLE, ANGLE_HOLES, SCREW, WASHER, angle_bracket, profile, slot_screw
from model.holes import clearance, engraved, facing
from model.piece import Part, Piece, Way, moved

BOARD = (240.0, 18.0)  # width and thickness
FOOT_SCREW, FOOT_HEAD = 8, 8.0  # three screws are the feet of the board, on their heads
FEET = ((0.0, -205.0), (-95.0, 35.0), (95.0, 35.0))
STEM = (8.0, 22.0)  # diameter and length of the dial's stem; ISO 463 has the diameter
BODY = (58.0, 24.0)  # diameter and depth of the dial
TIP = (1.5, 8.0)  # radius of the ball, and how far it stands out below the stem on an unloaded shaft
TRAVEL = 25.0
ARM_WIDTH, ARM_TIP, ARM_FLANGE = 30.0, 18.0, 8.0
SLIT, RIB, RIBS_AT = 2.0, 0.6, (7.0, 19.4)  # of the clamp; its roof is printed as bridges over two ribs
CLAMP_REACH, CLAMP_SCREW = 20.0, 12.0  # of the arm's end and of the screw that closes it, in front of the stem
HEAD_ROOM, NUT_ROOM = (8.0, 4.0), (7.0, 4.5)  # across and depth of the recesses for an M4 head and nut


def tip_z(frame: Frame) -> float:
    """Return the height of the top of a shaft of the usual size, where the dial's tip touches."""
    return float(frame.hand_bench.pin_height + frame.shaft.usual)


def board_z(frame: Frame) -> float:
    """Return the height of the board's top."""
    table = -frame.hand_bench.profile - frame.base.foot_height
    return float(table + FOOT_HEAD + BOARD[1])


def indicator() -> Part:
    """Return the dial indicator from the lower end of its stem up, its tip below, its face to the front."""
    body, deep = BODY
    stem, length = STEM
    ball, out = TIP
    shape = Pos(0, 0, length / 2 + 2) * Cylinder(stem / 2, length + 4)
    shape += facing("+y", (0, 0, length + body / 2)) * Cylinder(body / 2, deep)
    shape += Pos(0, 0, -(out - ball - 4) / 2) * Cylinder(2, out - ball - 2)
    shape += Pos(0, 0, -(out - ball) + 1.5) * Cone(ball, 2, 3)
    shape += Pos(0, 0, -out + ball) * Sphere(ball)
    shape += Pos(0, 0, length + body + 5) * Cylinder(2, 12)
    return Part("H08", "dial indicator", Way.BOUGHT, shape.solid(), "steel",
                f"travel {TRAVEL:g} mm, stem 8 mm (ISO 463), graduation 0.01 mm", 30.0, 190.0)  # fmt: skip


def board(frame: Frame) -> Part:
    """Return the board under the column, with holes for its three feet and the two brackets."""
    back, front = frame.hand_bench.board
    wide, thick = BOARD
    shape = Pos(0, (back + front) / 2, thick / 2) * Box(wide, front - back, thick)
    for x, y in FEET:
        shape -= Pos(x, y, thick / 2) * Cylinder(clearance(FOOT_SCREW) / 2, 2 * thick)
    for side in (-1, 1):
        x = side * (frame.hand_bench.profile / 2 + ANGLE_HOLES[0])
        shape -= Pos(x, frame.hand_bench.column_y, thick / 2) * Cylinder(clearance(SCREW) / 2, 2 * thick)
    size = f"plywood {thick:g}, {wide:g} x {front - back:g}"
    return Part("H05", "foot of the dial", Way.CUT, shape.solid(), "plywood", size, 4.0)


def arm(frame: Frame) -> Part:
    """Return the arm that clamps the dial's stem, lying on its side: y to the front along x, height along y."""
    root, top = _root_y(frame), ARM_TIP
    front = root + ARM_FLANGE
    outline = [(root, -24), (front, -24), (front, -8), (root + 22, 0), (CLAMP_REACH, 0), (CLAMP_REACH, top),
               (-26, top), (front, 62), (front, 84), (root, 84)]  # fmt: skip
    shape = extrude(make_face(Polyline(*outline, close=True)), ARM_WIDTH)
    middle = ARM_WIDTH / 2
    shape -= facing("+y", (0, top / 2, middle)) * Cylinder(STEM[0] / 2, 2 * top)
    slit = Pos(CLAMP_REACH / 2, top / 2, middle) * Box(CLAMP_REACH, 2 * top, SLIT)
    for x in RIBS_AT:
        slit -= Pos(x + RIB / 2, top / 2, middle) * Box(RIB, 2 * top, SLIT)
    shape -= slit
    screw = Pos(CLAMP_SCREW, top / 2, 0)
    shape -= screw * Pos(0, 0, middle) * Cylinder(clearance(4) / 2, 2 * ARM_WIDTH)
    shape -= screw * Pos(0, 0, ARM_WIDTH - HEAD_ROOM[1] / 2) * Cylinder(HEAD_ROOM[0] / 2, HEAD_ROOM[1])
    shape -= screw * extrude(RegularPolygon(NUT_ROOM[0] / 3**0.5, 6), NUT_ROOM[1])
    for height in (-16.0, 74.0):
        shape -= facing("+x", (root, height, middle)) * Cylinder(clearance(SCREW) / 2, 60)
    solid = engraved(shape.solid(), "H07", Pos(root + 40, 20, ARM_WIDTH), 8)
    return Part("H07", "arm of the dial", Way.PRINTED, solid, "PETG", "printed, 6 walls, 40 % fill", 3.0,
                notes=("saw through the two thin ribs in the slit",))  # fmt: skip


def dial_stand(frame: Frame) -> tuple[Piece, ...]:
    """Return board, column, arm and dial; the dial's tip on top of a shaft of the usual size."""
    bench = frame.hand_bench
    low, half = board_z(frame), bench.profile / 2
    column = profile(frame, "H06", "column of the dial", bench.column_length)
    upright = Location((0, bench.column_y, low + bench.column_length / 2), (0, 90, 0))
    pieces = [Piece(board(frame), Pos(0, 0, low - BOARD[1])), Piece(column, upright)]
    for x, y in FEET:
        pieces += _foot(Pos(x, y, low))
    for side in (-1, 1):
        corner = Location((side * half, bench.column_y, low), (0, 0, -90 * side))
        pieces += _bracket(corner)
    return moved((*pieces, *_arm_and_dial(frame)), Pos(-bench.hook_x, 0, 0))


def _arm_and_dial(frame: Frame) -> tuple[Piece, ...]:
    stem_z = tip_z(frame) + TIP[1]
    lower = stem_z + 2  # the arm grips the stem from 2 mm above its end
    side_on = Plane(origin=(-ARM_WIDTH / 2, 0, lower), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location
    pieces = [Piece(arm(frame), side_on), Piece(indicator(), Pos(0, 0, stem_z))]
    for height in (-16.0, 74.0):
        head = facing("+y", (0, _root_y(frame) + ARM_FLANGE, lower + height), "+z")
        pieces += slot_screw(head, ARM_FLANGE, 20)
    screw = side_on * Pos(CLAMP_SCREW, ARM_TIP / 2, ARM_WIDTH - HEAD_ROOM[1])
    pieces.append(Piece(standard.socket_screw(4, 25), screw))
    pieces.append(Piece(standard.hex_nut(4), side_on * Pos(CLAMP_SCREW, ARM_TIP / 2, NUT_ROOM[1] - 3.2)))
    return tuple(pieces)


def _foot(top: Location) -> tuple[Piece, ...]:
    under = top * Pos(0, 0, -BOARD[1]) * Location((0, 0, 0), (180, 0, 0))
    return (
        Piece(standard.socket_screw(FOOT_SCREW, 30), under),
        Piece(standard.washer(FOOT_SCREW), top),
        Piece(standard.hex_nut(FOOT_SCREW), top * Pos(0, 0, 1.6)),
    )


def _bracket(corner: Location) -> tuple[Piece, ...]:
    """Screwed through the board from below, and into the column's slot."""
    lying, standing = ANGLE_HOLES
    thick = ANGLE[1]
    through = corner * Pos(0, lying, thick)
    under = corner * Pos(0, lying, -BOARD[1]) * Location((0, 0, 0), (180, 0, 0))
    return (
        Piece(angle_bracket(), corner),
        Piece(standard.socket_screw(SCREW, 30), under),
        Piece(standard.washer(SCREW), through),
        Piece(standard.hex_nut(SCREW), through * Pos(0, 0, WASHER)),
        *slot_screw(corner * facing("+y", (0, thick, standing), "+z"), thick, 16),
    )


def _root_y(frame: Frame) -> float:
    return float(frame.hand_bench.column_y + frame.hand_bench.profile / 2)
