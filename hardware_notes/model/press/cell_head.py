"""What hangs under the arm: the cell, its overload stop, and the head whose two bearings press on the shaft."""

from __future__ import annotations

from build123d import Location, Plane, Polygon, extrude
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.press.carriage import CARRIAGE_GROUP, STOP_X, cell_left_x, fixed_holes_x
from model.press.made import Stock, made
from model.standard import bearing, dowel, hex_nut, set_screw, shim, socket_screw
from model.standard.shapes import ALONG_X, box, cylinder, prism

PAD_LENGTH = 31.0
CELL_THREAD = 15.0
CELL_WINDOW, CELL_WINDOW_HALF = 16.0, 22.0  # the thin places of the spring lie over and under its ends
CABLE, CABLE_LENGTH = 5.0, 15.0
STOP_LENGTH = 30
FLANGE, BLADE, FORK_X, SLOT = 6.0, 4.0, 6.0, 5.0  # of the head: thickness, thickness, half width, width
OVER_BEARING, OVER_SLOT = 0.7, 3.5
UNDER_AXLE = 2.5
HEAD_DEPTH, CORNER = 20.0, 2.0
GROOVE, GROOVE_BELOW = 5.0, 3.3  # along the shaft, its middle below the axles: a thin shaft stays clear of the fork
SIDE_SHIM = (3, 6, 0.5)
PAD_NOTES = ("Faces parallel to 0.05.",)
HEAD_NOTES = (
    "Pin holes for a press fit, both in one clamping, parallel to 0.02 on 12: skewed bearings push the shaft along.",
    "Slot 5.0 +0.1: bearings and shims turn freely without play that can be felt.",
)


def cell_part(frame: Frame) -> Part:
    """Return the cell with its free end at the right and its cable at the left."""
    cell = frame.cell
    shape = box((0, cell.length), (-cell.width / 2, cell.width / 2), (0, cell.height)).solid()
    middle, half = cell.length / 2, CELL_WINDOW_HALF - CELL_WINDOW / 2
    for x in (middle - half, middle + half):
        shape = drilled(shape, facing("+y", (x, cell.width / 2, cell.height / 2)), CELL_WINDOW, cell.width)
    slit = (cell.height / 2 - 3, cell.height / 2 + 3)
    shape = (shape - box((middle - half, middle + half), (-cell.width, cell.width), slit)).solid()
    for x in cell.hole_from_end:
        shape = drilled(shape, facing("+z", (x, 0, cell.height)), tapped(6), CELL_THREAD)
        shape = drilled(shape, facing("-z", (cell.length - x, 0, 0)), tapped(6), CELL_THREAD)
    shape = (shape + facing("-x", (0, 0, cell.height / 2)) * cylinder(CABLE, 0, CABLE_LENGTH)).solid()
    size = f"{cell.length:g}x{cell.width:g}x{cell.height:g}"
    name = f"single-point load cell {cell.rated_kg:g} kg, moment-compensated, {size}"
    return Part("P30", "load cell", Way.BOUGHT, shape, "aluminium", name, 12.0)


def pad_part(frame: Frame) -> Part:
    """Return the pad between arm and fixed end, which leaves room for the cell to give."""
    cell = frame.cell
    shape = box((0, PAD_LENGTH), (-cell.width / 2, cell.width / 2), (0, cell.arm_gap)).solid()
    for x in cell.hole_from_end:
        shape = drilled(shape, facing("+z", (x, 0, cell.arm_gap)), clearance(6), cell.arm_gap)
    name = f"sheet {cell.arm_gap:g}, {PAD_LENGTH:g}x{cell.width:g}"
    return Part("P31", "cell pad", Way.CUT, shape, "aluminium", name, 1.0, notes=PAD_NOTES)


def _head_outline(frame: Frame) -> Polygon:
    """Return the head as seen from the front: flange under the cell, blade, fork."""
    top, axle = frame.cell_z, frame.head_home_z
    low, slot_top = axle - UNDER_AXLE, axle + frame.head.bearing[1] / 2 + OVER_BEARING
    half = (frame.cell.hole_from_end[0] + frame.cell.hole_from_end[1]) / 2
    right = [
        (half, top), (half, top - FLANGE), (BLADE / 2, top - FLANGE), (BLADE / 2, slot_top + OVER_SLOT),
        (FORK_X, slot_top + OVER_SLOT), (FORK_X, low), (SLOT / 2, low), (SLOT / 2, slot_top),
    ]  # fmt: skip
    return Polygon(*right, *[(-x, z) for x, z in reversed(right)], align=None)


def head_part(frame: Frame) -> Part:
    """Return the head: one outline through 20 mm, holes for its screws straight through the fork, two pin holes."""
    axle, half = frame.head_home_z, HEAD_DEPTH / 2
    outline = Plane((0, half, 0), x_dir=(1, 0, 0), z_dir=(0, -1, 0)) * _head_outline(frame)
    shape = extrude(outline, HEAD_DEPTH, dir=(0, -1, 0)).solid()
    low = axle - UNDER_AXLE
    for side in (-1, 1):
        corner = [(side * half, low), (side * half, low + CORNER), (side * (half - CORNER), low)]
        shape = (shape - ALONG_X * prism(corner, -20, 20)).solid()
    shape = drilled(shape, facing("+x", (20, 0, axle - GROOVE_BELOW)), GROOVE, 40)
    for y in _axles_y(frame):
        shape = drilled(shape, facing("+x", (20, y, axle)), frame.head.bearing[0], 40)
    for x in free_holes_x(frame):
        shape = drilled(shape, facing("-z", (x, 0, low)), clearance(6), frame.cell_z - low)
    stock = Stock(Way.MACHINED, "aluminium", f"plate {HEAD_DEPTH:g}, sawn or cut by water; drilled", 12.0, HEAD_NOTES)
    return made("P32", "head", stock, shape, head_place(frame))


def head_place(frame: Frame) -> Location:
    """Return where the middle of the head's top lies in its back face, its front up."""
    return facing("+y", (0, -HEAD_DEPTH / 2, frame.cell_z))


def free_holes_x(frame: Frame) -> list[float]:
    """Return where the two screws of the head go into the cell's free end."""
    return [float(frame.cell.free_end_x - hole) for hole in frame.cell.hole_from_end]


def _axles_y(frame: Frame) -> tuple[float, float]:
    """Return where the head's two axles lie."""
    return -frame.head.spacing / 2, frame.head.spacing / 2


def _bearings(frame: Frame) -> list[Piece]:
    """Return the two bearings on their pins, a shim on each side."""
    width, axle = frame.head.bearing[2], frame.head_home_z
    pieces = []
    for y in _axles_y(frame):
        pieces.append(Piece(dowel(frame.head.bearing[0], 12), facing("+x", (-FORK_X, y, axle))))
        pieces.append(Piece(bearing(*frame.head.bearing), facing("+x", (-width / 2, y, axle))))
        pieces.append(Piece(shim(*SIDE_SHIM), facing("+x", (-width / 2 - SIDE_SHIM[2], y, axle))))
        pieces.append(Piece(shim(*SIDE_SHIM), facing("+x", (width / 2, y, axle))))
    return pieces


def _overload_stop(frame: Frame) -> list[Piece]:
    """Return the set screw in the arm over the cell's free end, and its nut."""
    point = frame.cell_z + frame.cell.height + frame.cell.stop_gap
    top = frame.arm_z + frame.cell.arm[1]
    return [
        Piece(set_screw(6, STOP_LENGTH), facing("+z", (STOP_X, 0, point + STOP_LENGTH))),
        Piece(hex_nut(6), facing("+z", (STOP_X, 0, top))),
    ]


def cell_head(frame: Frame) -> tuple[Piece, ...]:
    """Return cell, pad, overload stop and head."""
    top = frame.arm_z + frame.cell.arm[1]
    left = cell_left_x(frame)
    pieces = [
        Piece(cell_part(frame), Location((left, 0, frame.cell_z))),
        Piece(pad_part(frame), Location((left, 0, frame.cell_z + frame.cell.height))),
        Piece(head_part(frame), head_place(frame)),
        *(Piece(socket_screw(6, 35), facing("+z", (x, 0, top))) for x in fixed_holes_x(frame)),
        *(Piece(socket_screw(6, 16), facing("-z", (x, 0, frame.cell_z - FLANGE))) for x in free_holes_x(frame)),
        *_overload_stop(frame),
        *_bearings(frame),
    ]
    return of_step([Piece(piece.part, piece.where, CARRIAGE_GROUP) for piece in pieces], "7 cell and head")
