"""The counterweight: a steel bar in a tube behind the column pulls the carriage up by a cord over two pulleys.

It pulls more than all that hangs on the carriage weighs, so every force on the nut acts on the same flank.
"""

from __future__ import annotations

from functools import cache
from math import pi

from build123d import Axis, CenterArc, Line, Location, Plane, Polygon, Solid, Sphere, Wire, revolve, sweep
from build123d import Circle as Disc
from frame.dimensions import Frame

from model.holes import clearance, drilled, engraved, facing
from model.piece import DENSITY_G_MM3, Part, Piece, Way, of_step
from model.press.column import LIPS
from model.press.made import Stock, made
from model.standard import bearing, lock_nut, shim, slot_nut, socket_screw
from model.standard.shapes import box, cylinder, ring

COUNTERWEIGHT_GROUP = "counterweight"
CORD, CORD_KNOT, CORD_X = 1.2, 4.0, 0.0
CORD_HOLE, KNOT = 2.5, 7.0  # along the cord, and across it where the knot lies
PULLEY_RADIUS, PULLEY_RIM, PULLEY_WIDTH = 10.0, 11.0, 5.0  # to the middle of the cord; outer; along x
PULLEY_BEARING = (4, 13, 5)
SIDE_SHIM = (4, 8, 0.5)
CHEEK, BASE, AXLE_ABOVE = 5.0, 6.0, 14.0  # of the pulleys' bracket; axle over the head plate
BRACKET_SCREWS = [(x, y) for x in (-14.0, 14.0) for y in (-57.0, -78.0)]
WEIGHT_KNOT = 8.0  # cross hole in the weight
WEIGHT_HOLE_DEPTH = 20.0  # to the middle of the knot's cross hole
TUBE_PLAY, TUBE_WALL, TUBE_FLOOR, TUBE_LENGTH = 0.75, 2.5, 4.0, 216.0  # play on the radius
TUBE_Z, TUBE_SCREWS = 80.0, (36.0, 180.0)  # lower end; screws over it
TUBE_CLEAR = 15.0  # under the weight at home: the cord's knots need not be exact
PAD_WIDTH, PAD_WALL = 24.0, 4.75  # against the column; under the heads
KEY_HOLE = 8.0
TUBE_NOTES = ("Drop the weight through it before it is mounted: it must fall free.",)
PULLEY_NOTES = ("Bearing pressed in; if the hole came out tight, ream it to 13.",)


def cord_y(frame: Frame) -> tuple[float, float]:
    """Return where the cord hangs: in the middle of the carriage plate, and over the middle of the weight."""
    return (frame.carriage_back_y + frame.carriage_front_y) / 2, frame.press.counterweight_y


def _axle_z(frame: Frame) -> float:
    """Return the height of the pulleys' axles."""
    return frame.head_plate_top_z + AXLE_ABOVE


def _axles_y(frame: Frame) -> tuple[float, float]:
    """Return where the front and the rear pulley's axles lie."""
    front, rear = cord_y(frame)
    return front - PULLEY_RADIUS, rear + PULLEY_RADIUS


def weight_z(frame: Frame) -> float:
    """Return the height of the weight's lower end at home."""
    return TUBE_Z + TUBE_FLOOR + TUBE_CLEAR


def weight_part(frame: Frame) -> Part:
    """Return the steel bar, as long as its mass asks for with the two holes of its knot."""
    d = frame.press.counterweight
    drilled_mm3 = pi / 4 * (CORD_HOLE**2 * (WEIGHT_HOLE_DEPTH - WEIGHT_KNOT / 2) + WEIGHT_KNOT**2 * (d / 2 + 3))
    length = (frame.counterweight_g / DENSITY_G_MM3["steel"] + drilled_mm3) / (pi / 4 * d * d)
    shape = drilled(cylinder(d, 0, length).solid(), Location((0, 0, length)), CORD_HOLE, WEIGHT_HOLE_DEPTH)
    knot = facing("-y", (0, -d / 2, length - WEIGHT_HOLE_DEPTH))
    shape = drilled(shape, knot, WEIGHT_KNOT, d / 2 + 3)
    name = f"round bar {d:g}, {length:.1f} long"
    notes = (f"Weigh it: {frame.counterweight_g:.0f} g to 10 g. A heavier cell asks for as much more.",)
    return Part("P10", "counterweight", Way.MACHINED, shape, "steel", name, 6.0, notes=notes)


def tube_part(frame: Frame) -> Part:
    """Return the printed tube that guides the weight and catches it when the cord breaks."""
    bore = frame.press.counterweight / 2 + TUBE_PLAY
    y, back = frame.press.counterweight_y, frame.press.column_y - frame.press.column / 2
    middle = Location((0, y, TUBE_Z))
    shape = middle * cylinder(2 * (bore + TUBE_WALL), 0, TUBE_LENGTH)
    shape += box((-PAD_WIDTH / 2, PAD_WIDTH / 2), (y, back), (TUBE_Z, TUBE_Z + TUBE_LENGTH))
    shape -= middle * cylinder(2 * bore, TUBE_FLOOR, TUBE_LENGTH)
    shape = drilled(
        shape.solid(), middle * Location((0, 0, TUBE_FLOOR)), KEY_HOLE, TUBE_FLOOR
    )  # to push the weight out
    for z in TUBE_SCREWS:
        seat = facing("-y", (0, back - PAD_WALL, TUBE_Z + z))
        shape = drilled(shape, seat, clearance(6), PAD_WALL)
        shape = drilled(shape, seat * Location((0, 0, 20)), 10.9, 20)
        shape = drilled(shape, facing("-y", (0, y - bore - TUBE_WALL, TUBE_Z + z)), KEY_HOLE, bore)
    shape = engraved(shape, "P11", facing("+x", (PAD_WIDTH / 2, back - 6, TUBE_Z + 20), along="+z"))
    stock = Stock(Way.PRINTED, "PETG", "printed upright, 4 walls", 3.0, TUBE_NOTES)
    return made("P11", "guide tube", stock, shape, Location((0, 0, TUBE_Z)))


@cache
def pulley_part() -> Part:
    """Return a cord pulley that is pressed on its bearing."""
    root, half = PULLEY_RADIUS - CORD / 2, PULLEY_WIDTH / 2
    at_root, at_rim = CORD / 2, CORD / 2 + PULLEY_RIM - root  # walls of 45 degrees print without supports
    section = Polygon(
        (root, half - at_root), (PULLEY_RIM, half - at_rim), (PULLEY_RIM, half + at_rim), (root, half + at_root),
        align=None,
    )  # fmt: skip
    groove = revolve(Plane.XZ * section, Axis.Z)
    shape = (ring(2 * PULLEY_RIM, PULLEY_BEARING[1], 0, PULLEY_WIDTH) - groove).solid()
    return Part("P09", "cord pulley", Way.PRINTED, shape, "PETG", "printed, solid", 0.5, notes=PULLEY_NOTES)


def bracket_part(frame: Frame) -> Part:
    """Return the printed bracket of the two pulleys: two cheeks on a base on the head plate."""
    top, front, rear = frame.head_plate_top_z, *_axles_y(frame)
    inner = PULLEY_WIDTH / 2 + SIDE_SHIM[2]
    back = frame.press.column_y - frame.press.column / 2
    shape = box((-20, 20), (back, back + 35), (top, top + BASE))
    for low, high in ((-inner - CHEEK, -inner), (inner, inner + CHEEK)):
        shape += box((low, high), (rear - 7, front + 7), (top, top + AXLE_ABOVE + 7))
    shape = shape.solid()
    for x, y in BRACKET_SCREWS:
        shape = drilled(shape, facing("+z", (x, y, top + BASE)), clearance(4), BASE)
    for y in (front, rear):
        shape = drilled(shape, facing("+x", (20, y, _axle_z(frame))), 4, 40)
    shape = engraved(shape, "P08", facing("+x", (inner + CHEEK, rear + 14, top + AXLE_ABOVE - 4), along="+y"))
    stock = Stock(Way.PRINTED, "PETG", "printed, 5 walls, half filled", 2.0)
    return made("P08", "pulley bracket", stock, shape, Location((0, 0, top)))


def _cord_solid(frame: Frame, anchors_z: tuple[float, float]) -> Solid:
    """Return the cord from its knot in the carriage over the pulleys to its knot in the weight."""
    (y0, y1), (front, rear), z = cord_y(frame), _axles_y(frame), _axle_z(frame)
    side = Plane((CORD_X, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0))
    path = Wire([
        *Line((y0, anchors_z[0]), (y0, z)).edges(), *CenterArc((front, z), PULLEY_RADIUS, 0, 90).edges(),
        *Line((front, z + PULLEY_RADIUS), (rear, z + PULLEY_RADIUS)).edges(),
        *CenterArc((rear, z), PULLEY_RADIUS, 90, 90).edges(), *Line((y1, z), (y1, anchors_z[1])).edges(),
    ])  # fmt: skip
    path = side * path
    cord = sweep(Plane((CORD_X, y0, anchors_z[0])) * Disc(CORD / 2), path)
    for y, end in zip((y0, y1), anchors_z, strict=True):
        cord += Location((CORD_X, y, end)) * Sphere(CORD_KNOT / 2)
    return cord.solid()


def knot_z(frame: Frame) -> float:
    """Return the height of the cord's knot in the carriage plate."""
    return frame.carriage_top_z - 12.0


def cord_part(frame: Frame) -> Part:
    """Return the cord as it lies at home."""
    length = weight_part(frame).shape.bounding_box().max.Z
    lower = weight_z(frame) + length - WEIGHT_HOLE_DEPTH
    up = (KNOT - CORD_KNOT) / 2, (WEIGHT_KNOT - CORD_KNOT) / 2  # the knots are drawn tight under their bores
    shape = _cord_solid(frame, (knot_z(frame) + up[0], lower + up[1]))
    name = "braided polyethylene cord 1.2, 0.6 m with its knots"
    return Part("P13", "cord", Way.BOUGHT, shape, "acetal", name, 0.5, 0.6)


def _pulleys(frame: Frame) -> list[Piece]:
    """Return each pulley with bearing, shims, and the screw that is its axle."""
    pieces, half = [], PULLEY_WIDTH / 2
    outer = half + SIDE_SHIM[2] + CHEEK
    for y in _axles_y(frame):
        axis = facing("+x", (0, y, _axle_z(frame)))
        pieces.append(Piece(pulley_part(), axis * Location((0, 0, -half))))
        pieces.append(Piece(bearing(*PULLEY_BEARING), axis * Location((0, 0, -half))))
        pieces.append(Piece(shim(*SIDE_SHIM), axis * Location((0, 0, half))))
        pieces.append(Piece(shim(*SIDE_SHIM), axis * Location((0, 0, -half - SIDE_SHIM[2]))))
        pieces.append(Piece(socket_screw(4, 25), facing("-x", (-outer, y, _axle_z(frame)))))
        pieces.append(Piece(lock_nut(4), axis * Location((0, 0, outer))))
    return pieces


def _screws(frame: Frame) -> list[Piece]:
    """Return what holds the tube to the column and the bracket to the head plate."""
    back = frame.press.column_y - frame.press.column / 2
    pieces = []
    for z in TUBE_SCREWS:
        pieces.append(Piece(socket_screw(6, 16), facing("-y", (0, back - PAD_WALL, TUBE_Z + z))))
        pieces.append(Piece(slot_nut(6), facing("-y", (0, back + LIPS, TUBE_Z + z), along="+z")))
    for x, y in BRACKET_SCREWS:
        pieces.append(Piece(socket_screw(4, 12), facing("+z", (x, y, frame.head_plate_top_z + BASE))))
    return pieces


def counterweight(frame: Frame) -> tuple[Piece, ...]:
    """Return weight, tube, pulleys and cord; the cord is drawn as it lies at home."""
    top = Location((0, 0, frame.head_plate_top_z))
    weight = Location((0, frame.press.counterweight_y, weight_z(frame)))
    pieces = [
        Piece(tube_part(frame), Location((0, 0, TUBE_Z))),
        Piece(weight_part(frame), weight, COUNTERWEIGHT_GROUP),
        Piece(bracket_part(frame), top),
        Piece(cord_part(frame), Location(), fits=frozenset({"P10", "P20"})),
    ]
    return of_step([*pieces, *_pulleys(frame), *_screws(frame)], "6 counterweight and stops")
