"""The carriage: plate on two rail blocks, with the nut beside it and the arm that carries the cell in front."""

from __future__ import annotations

from build123d import Location, Plane, Polygon, extrude
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.press.counterweight import CORD_HOLE, CORD_X, KNOT, knot_z
from model.press.made import Stock, made
from model.standard import dowel, rail_block, socket_screw, trapezoidal_nut, washer
from model.standard.fasteners import WASHER
from model.standard.shapes import box

CARRIAGE_GROUP = "carriage"
BLOCK_X, BLOCK_Z = 10.0, 7.5  # of its four threads from its middle
NUT_BLOCK_X, NUT_BLOCK_DEPTH, NUT_BLOCK_HEIGHT = (22.0, 46.0), 24.0, 18.0
NUT_CIRCLE = 8.0  # radius of the nut's four holes
NUT_BORE = 10.5
NUT_SCREWS_X, NUT_SCREWS_BELOW = (26.0, 42.0), 9.0  # from behind the plate, below its upper edge
EAR_HEIGHT = 24.0  # of the plate behind the nut's block
HOME_CORNER = (5.0, 10.0)  # slanted upper left corner that leads the home switch's roller
ARM_SCREWS_X, ARM_PINS_X, PIN = (-16.0, 8.5), (-25.5, 16.5), 5  # in the middle of the arm's height
ARM_RIGHT_X, STOP_X = 20.0, 0.0
PINS_TOGETHER = "Drill and ream the two pin holes 5 H7 through {} in one clamping: the arm goes back to 0.02."
PLATE_NOTES = ("Back flat to 0.05: the rail blocks lie on it.", PINS_TOGETHER.format("this and the arm (P22)"))
ARM_NOTES = (PINS_TOGETHER.format("the carriage plate (P20)"), "Pins slide in this part and are pressed in the plate.")
NUT_BLOCK_NOTES = ("Upper face square to the face on the plate to 0.05 on 24: the nut sits on it.",)


def plate_place(frame: Frame) -> Location:
    """Return where the middle of the plate's back lies, its front up."""
    return facing("+y", (0, frame.carriage_back_y, frame.carriage_z))


def _outline(frame: Frame) -> Polygon:
    """Return the plate's outline in x and z: upright, with an ear for the nut and a slanted corner."""
    half, top = frame.press.carriage[0] / 2, frame.carriage_top_z
    low, ear = top - frame.press.carriage[2], NUT_BLOCK_X[1]
    return Polygon(
        (-half, low), (half, low), (half, top - EAR_HEIGHT), (ear, top - EAR_HEIGHT), (ear, top),
        (HOME_CORNER[0] - half, top), (-half, top - HOME_CORNER[1]), align=None,
    )  # fmt: skip


def blocks_z(frame: Frame) -> tuple[float, float]:
    """Return the heights of the two rail blocks' middles."""
    half = frame.press.block_spacing / 2
    return frame.carriage_z - half, frame.carriage_z + half


def _block_threads(frame: Frame) -> list[tuple[float, float]]:
    """Return x and z of the eight screws into the blocks."""
    return [(x, z + u) for z in blocks_z(frame) for x in (-BLOCK_X, BLOCK_X) for u in (-BLOCK_Z, BLOCK_Z)]


def plate_part(frame: Frame) -> Part:
    """Return the plate: holes for blocks and nut, threads and pins for the arm, a slit and a hole for the cord."""
    back, front, thick = frame.carriage_back_y, frame.carriage_front_y, frame.press.carriage[1]
    outline = Plane((0, back, 0), x_dir=(1, 0, 0), z_dir=(0, -1, 0)) * _outline(frame)
    shape = extrude(outline, thick, dir=(0, 1, 0)).solid()
    for x, z in _block_threads(frame):
        shape = drilled(shape, facing("+y", (x, front, z)), clearance(3), thick)
    for xs, d in ((ARM_SCREWS_X, tapped(6)), (ARM_PINS_X, PIN)):
        for x in xs:
            shape = drilled(shape, facing("+y", (x, front, frame.carriage_z)), d, thick)
    for x in NUT_SCREWS_X:
        where = facing("-y", (x, back, frame.carriage_top_z - NUT_SCREWS_BELOW))
        shape = drilled(shape, where, clearance(5), thick)
    slit = (CORD_X - CORD_HOLE / 2, CORD_X + CORD_HOLE / 2)
    shape = (shape - box(slit, (back, front), (knot_z(frame), frame.carriage_top_z))).solid()
    shape = drilled(shape, facing("+y", (CORD_X, front, knot_z(frame))), KNOT, thick)
    stock = Stock(Way.CUT, "aluminium", f"plate {thick:g}, flat to 0.1; two M6 tapped", 12.0, PLATE_NOTES)
    return made("P20", "carriage plate", stock, shape, plate_place(frame))


def nut_block_place(frame: Frame) -> Location:
    """Return where the nut's block lies, its lower end down."""
    return Location((frame.press.screw_x, frame.press.screw_y, frame.carriage_top_z - NUT_BLOCK_HEIGHT))


def nut_block_part(frame: Frame) -> Part:
    """Return the block under the nut's flange: it pushes the flange up, its screws carry nothing."""
    x, y, top = frame.press.screw_x, frame.press.screw_y, frame.carriage_top_z
    front = frame.carriage_front_y
    shape = box(NUT_BLOCK_X, (front, front + NUT_BLOCK_DEPTH), (top - NUT_BLOCK_HEIGHT, top)).solid()
    shape = drilled(shape, facing("+z", (x, y, top)), NUT_BORE, NUT_BLOCK_HEIGHT)
    for u, v in _nut_circle():
        shape = drilled(shape, facing("+z", (x + u, y + v, top)), tapped(3), 8)
    for side in NUT_SCREWS_X:
        shape = drilled(shape, facing("-y", (side, front, top - NUT_SCREWS_BELOW)), tapped(5), 9)
    stock = Stock(Way.MACHINED, "aluminium", "square bar 25, 18 long; milled to 24", 6.0, NUT_BLOCK_NOTES)
    return made("P21", "nut block", stock, shape, nut_block_place(frame))


def _nut_circle() -> list[tuple[float, float]]:
    """Return the nut's four holes about the screw."""
    return [(NUT_CIRCLE, 0), (-NUT_CIRCLE, 0), (0, NUT_CIRCLE), (0, -NUT_CIRCLE)]


def cell_left_x(frame: Frame) -> float:
    """Return where the cell's fixed end and the arm end."""
    return float(frame.cell.free_end_x - frame.cell.length)


def fixed_holes_x(frame: Frame) -> list[float]:
    """Return where the two screws through arm and pad go into the cell's fixed end."""
    return [cell_left_x(frame) + hole for hole in frame.cell.hole_from_end]


def arm_part(frame: Frame) -> Part:
    """Return the arm over the cell: a plain piece of bar with holes."""
    depth, thick = frame.cell.arm
    back, low = frame.carriage_front_y, frame.arm_z
    shape = box((cell_left_x(frame), ARM_RIGHT_X), (back, back + depth), (low, low + thick)).solid()
    for x in ARM_SCREWS_X:
        shape = drilled(shape, facing("+y", (x, back + depth, frame.carriage_z)), clearance(6), depth)
    for x in ARM_PINS_X:
        shape = drilled(shape, facing("-y", (x, back, frame.carriage_z)), PIN, 14)
    for x in fixed_holes_x(frame):
        shape = drilled(shape, facing("+z", (x, 0, low + thick)), clearance(6), thick)
    shape = drilled(shape, facing("+z", (STOP_X, 0, low + thick)), tapped(6), thick)
    length = ARM_RIGHT_X - cell_left_x(frame)
    stock = Stock(Way.MACHINED, "aluminium", f"flat bar {depth:g}x{thick:g}, {length:g} long", 10.0, ARM_NOTES)
    return made("P22", "arm", stock, shape, Location((0, 0, low)))


def _carriage_screws(frame: Frame) -> list[Piece]:
    """Return the screws that hold plate, blocks, nut and its block together."""
    back, front, top = frame.carriage_back_y, frame.carriage_front_y, frame.carriage_top_z
    x, y = frame.press.screw_x, frame.press.screw_y
    pieces = []
    for u, z in _block_threads(frame):
        face = facing("+y", (u, front, z))
        pieces.append(Piece(washer(3), face))
        pieces.append(Piece(socket_screw(3, 12), face * Location((0, 0, WASHER[3][2]))))
    pieces += [Piece(socket_screw(3, 10), facing("+z", (x + u, y + v, top + 3.5))) for u, v in _nut_circle()]
    for side in NUT_SCREWS_X:
        pieces.append(Piece(socket_screw(5, 16), facing("-y", (side, back, top - NUT_SCREWS_BELOW))))
    return pieces


def carriage(frame: Frame) -> tuple[Piece, ...]:
    """Return plate, blocks and nut."""
    press = frame.press
    nut = facing("-z", (press.screw_x, press.screw_y, frame.carriage_top_z))
    pieces = [
        Piece(plate_part(frame), plate_place(frame), CARRIAGE_GROUP),
        Piece(nut_block_part(frame), nut_block_place(frame), CARRIAGE_GROUP),
        Piece(trapezoidal_nut(press.screw_diameter), nut, CARRIAGE_GROUP),
    ]
    for z in blocks_z(frame):
        where = facing("+y", (0, frame.column_front_y, z), along="+z")
        pieces.append(Piece(rail_block(), where, CARRIAGE_GROUP))
    screws = [Piece(piece.part, piece.where, CARRIAGE_GROUP) for piece in _carriage_screws(frame)]
    return of_step([*pieces, *screws], "5 carriage and screw")


def arm(frame: Frame) -> tuple[Piece, ...]:
    """Return the arm with the two pins that it goes back on and the two screws that hold it."""
    front = frame.carriage_front_y + frame.cell.arm[0]
    pieces = [Piece(arm_part(frame), Location((0, 0, frame.arm_z)), CARRIAGE_GROUP)]
    for x in ARM_SCREWS_X:
        pieces.append(Piece(socket_screw(6, 40), facing("+y", (x, front, frame.carriage_z)), CARRIAGE_GROUP))
    for x in ARM_PINS_X:
        pieces.append(Piece(dowel(PIN, 20), facing("+y", (x, frame.carriage_back_y, frame.carriage_z)), CARRIAGE_GROUP))
    return of_step(pieces, "7 cell and head")
