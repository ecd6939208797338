"""Where each unit of the electronics stands, with the screws that hold it."""

from __future__ import annotations

from collections.abc import Sequence

from build123d import Location, Plane, Pos
from frame.dimensions import Frame

from model.electronics import units as u
from model.electronics.plate import GROUND_POINT, MIDDLE_Y, floor, top_z
from model.electronics.units import BASE, POST, Place, Spot, Unit
from model.holes import clearance, drilled, engraved, facing
from model.lid.guard_switch import switch_place
from model.lid.parts import bolt
from model.lid.walls import STOP_SCREWS
from model.piece import Part, Piece, Way
from model.press.stops import switch_place as home_place
from model.standard import slot_nut, socket_screw
from model.standard.profiles import SLOT_8
from model.standard.shapes import box, cylinder

STRIPS = {"signal ground": -232.0, "3.3 V terminals": -178.0, "24 V terminals": 196.0}  # x of their middles
STRIPS_Y = -103.0
BOARD_X = -104.0
DRIVERS = {"press driver": 62.0, "rotate driver": 132.0}
FUSE_X = 250.0
CONVERTER_Z = 118.0
SENSOR_X, SENSOR_UNDER = 120.0, 8.0  # and how far under the thinnest shaft
POST_LOW, POST_THICK = -34.0, 6.0  # of the sensor's post: its lower end on the beam's front, its thickness


def on_plate(frame: Frame, name: str, part: Part, at: Spot, screws: Sequence[Place], ends: dict[str, Place]) -> Unit:
    """Return a unit that is screwed flat on the plate."""
    where = Pos(*at, top_z(frame))
    held = tuple(where * Location(screw) for screw in screws)
    return Unit(name, (Piece(part, where),), where, ends, held)


def carried(
    frame: Frame, name: str, parts: tuple[Part, Part], at: Spot, fixing: tuple[Spot, Sequence[Spot], float]
) -> Unit:
    """Return a circuit board on its carrier on the plate; `fixing` has its size, holes and the size of its screws."""
    size, holes, d = fixing
    where = Pos(*at, top_z(frame))
    up = where * Pos(0, 0, BASE + POST)
    pieces = [Piece(parts[1], where), Piece(parts[0], up)]
    for x, y in holes:
        pieces.append(Piece(socket_screw(d, 8), up * Pos(x, y, u.SHEET)))
    held = tuple(where * Location(screw) for screw in u.flange_screws(size))
    ends = u.BOARD_PINS if name == "board" else u.DRIVER_TERMINALS
    return Unit(name, tuple(pieces), up, ends, held)


def units(frame: Frame) -> tuple[Unit, ...]:
    """Return all units with their terminals."""
    strip = u.strip()
    placed = [
        on_plate(frame, name, strip, (x, STRIPS_Y), u.strip_screws(), u.STRIP_TERMINALS) for name, x in STRIPS.items()
    ]
    placed.append(on_plate(frame, "fuse", u.fuse(), (FUSE_X, MIDDLE_Y), u.fuse_screws(), u.FUSE_TERMINALS))
    fixing = (u.BOARD, u.BOARD_HOLES, 2.0)
    board = (u.board(), u.carrier("E03", "carrier of the board", *fixing))
    placed.append(carried(frame, "board", board, (BOARD_X, MIDDLE_Y), fixing))
    fixing = (u.DRIVER, u.DRIVER_HOLES, 3.0)
    driver = (u.driver(), u.carrier("E05", "carrier of a driver", *fixing))
    placed += [carried(frame, name, driver, (x, MIDDLE_Y), fixing) for name, x in DRIVERS.items()]
    elsewhere = (_converter(frame), _socket(frame), _stop(frame), _sensor(frame))
    return (*placed, *elsewhere, *_without_parts(frame))


def fastened(frame: Frame, placed: tuple[Unit, ...], later: tuple[Unit, ...]) -> tuple[Piece, ...]:
    """Return the plate, the units and the screws that hold them on it; the plate has the threads for `later`, too."""
    return (floor(frame, (*placed, *later)), *screwed_on(placed), *_tie_mounts(frame))


def screwed_on(placed: tuple[Unit, ...]) -> tuple[Piece, ...]:
    """Return units and the screws that hold them on the plate."""
    pieces: list[Piece] = []
    for unit in placed:
        pieces += unit.pieces
        pieces += [Piece(socket_screw(3, 6), place) for place in unit.screws]
    return tuple(pieces)


def _tie_mounts(frame: Frame) -> list[Piece]:
    """Return the cable holders: on the plate, on the column, and where wires rise along the lid's sides."""
    lid, column = frame.lid, frame.press.column / 2
    top = top_z(frame)
    places = (
        facing("+z", (-340.0, -134.0, top)),
        facing("+z", (340.0, -100.0, top)),
        facing("-x", (-column, frame.press.column_y, 55.0)),
        facing("+x", (column, frame.press.column_y, 150.0)),
        facing("+x", (-lid.sides_x, -120.0, 200.0)),
        facing("-x", (lid.sides_x, -112.0, 180.0)),
    )
    return [Piece(u.tie_mount(), place) for place in places]


def converter_plate() -> Part:
    """Return the printed plate between column and converter, its length along x."""
    shape = box((-32, 32), (-12, 12), (0, BASE))
    for x, y in u.CONVERTER_HOLES:
        shape += Pos(x, y, 0) * cylinder(6.5, BASE, BASE + POST)
    for x, y in u.CONVERTER_HOLES:
        shape -= Pos(x, y, 0) * cylinder(2, 0.8, BASE + POST)
    for x in (-26.0, 26.0):
        shape = drilled(shape.solid(), facing("+z", (x, 0, BASE)), clearance(4), BASE)
    shape = engraved(shape.solid(), "E12", facing("+z", (0, 0, BASE)), 5)
    return Part("E12", "carrier of the converter", Way.PRINTED, shape, "PETG", "printed", 0.5)


def _converter(frame: Frame) -> Unit:
    """Return the converter on the column's left side, the cell's terminals up."""
    face = -frame.press.column / 2
    where = Plane(origin=(face, frame.press.column_y, CONVERTER_Z), x_dir=(0, 0, 1), z_dir=(-1, 0, 0)).location
    up = where * Pos(0, 0, BASE + POST)
    pieces = [Piece(converter_plate(), where), Piece(u.converter(), up)]
    pieces += [Piece(socket_screw(2, 8), up * Pos(x, y, u.SHEET)) for x, y in u.CONVERTER_HOLES]
    for along in (-26.0, 26.0):
        pieces.append(Piece(socket_screw(4, 12), where * Pos(along, 0, BASE)))
        pieces.append(Piece(slot_nut(4), where * Pos(along, 0, -SLOT_8.lip_depth)))
    return Unit("converter", tuple(pieces), up, u.CONVERTER_TERMINALS)


def _socket(frame: Frame) -> Unit:
    lid = frame.lid
    x, z, _ = lid.socket_hole
    where = facing("-y", (x, lid.back_y - lid.sheet, z))
    return Unit("socket", (Piece(u.socket(lid.sheet), where),), where, u.SOCKET_TERMINALS)


def _stop(frame: Frame) -> Unit:
    """Return the emergency stop outside on the right, its button to the right, near the front."""
    lid = frame.lid
    where = facing("+x", (lid.sides_x + lid.sheet, *lid.stop_hole[:2]))
    pieces = [Piece(u.stop(), where)]
    for up in STOP_SCREWS:
        pieces += bolt(where * Pos(0, up, BASE), BASE + lid.sheet, 12)
    return Unit("emergency stop", tuple(pieces), where, u.stop_terminals(lid.sheet))


def sensor_post(frame: Frame) -> Part:
    """Return the post of the index mark sensor, lying on its side: along y as in the gauge along x, height along y."""
    high = frame.shaft_z(frame.shaft.thinnest) - frame.shaft.thinnest / 2 - SENSOR_UNDER - u.SHEET - 3
    face, wide = frame.beam.width / 2, (0, 16)
    front = face + POST_THICK
    shape = box((face, front), (POST_LOW, high), wide) + box((-2, front), (high - 8, high), wide)
    shape = (shape + box((face - 8, face), (high - 16, high - 8), wide)).solid()
    shape = drilled(shape, facing("+x", (front, -face, 8)), clearance(6), POST_THICK)
    shape = drilled(shape, facing("+y", (6, high, 8)), 3.0, 8)
    shape = engraved(shape, "E13", facing("+z", (front - 4, high / 2, 16), along="+y"), 5)
    return Part("E13", "post of the index mark sensor", Way.PRINTED, shape, "PETG", "printed", 0.6)


def _sensor(frame: Frame) -> Unit:
    """Return the sensor of the index mark under the shaft, on a post on the beam's front."""
    part, face = sensor_post(frame), frame.beam.width / 2
    high = float(part.shape.bounding_box().max.Y)
    lying = Plane(origin=(SENSOR_X - 8, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location
    where = Location((SENSOR_X, 0, high), (0, 0, -90))
    pieces = [
        Piece(part, lying),
        Piece(socket_screw(6, 16), facing("+y", (SENSOR_X, face + POST_THICK, -face))),
        Piece(slot_nut(6), facing("+y", (SENSOR_X, face - SLOT_8.lip_depth, -face))),
        Piece(u.sensor(), where),
        Piece(socket_screw(3, 8), where * Pos(-6, 0, u.SHEET)),
    ]
    return Unit("index mark sensor", tuple(pieces), where, u.SENSOR_TERMINALS)


def _without_parts(frame: Frame) -> tuple[Unit, ...]:
    """Return units whose parts belong to others, and the ground point: only their terminals."""
    x, y = GROUND_POINT
    around = {str(i + 1): (9.0 * (i - 2) / 2, 8.5 if i % 2 else -8.5, 0.0) for i in range(5)}
    ground = Unit("ground point", (), Pos(x, y, top_z(frame)), around)
    home = Unit("home switch", (), home_place(frame), {"C": (-8.0, -7.3, 3.2), "": (8.0, -7.3, 3.2)})
    lid = Unit("lid switch", (), switch_place(frame), {"": (10.0, 0.0, -0.8), "12": (22.0, 0.0, -0.8)})
    left = frame.cell.free_end_x - frame.cell.length - 15.8
    cell_z = frame.cell_z + frame.cell.height / 2
    cell = Unit("cell", (), Pos(left, 0, cell_z), {"cable": (0.0, 0.0, 0.0)})
    return (ground, home, lid, cell)
