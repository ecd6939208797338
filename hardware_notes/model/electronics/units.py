"""What is bought or printed for the electronics, each with the places of its terminals in its own frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from build123d import Location, Pos
from frame.board_wires import EDGE

from model.holes import clearance, drilled, engraved, facing
from model.lid.walls import STOP_SCREWS
from model.piece import Part, Piece, Way
from model.standard.shapes import box, cylinder

Spot = tuple[float, float]
Place = tuple[float, float, float]
PITCH = 5.08  # of terminals
SHEET = 1.6  # of circuit boards
EDGE_PITCH, EDGE_ROWS, EDGE_PINS = 2.54, 17.78, 20  # of the board, from memory of its data sheet
BASE, POST, FLANGE = 3.0, 5.0, 8.0  # of a printed carrier: its floor, posts, and the ends that are screwed down


@dataclass(frozen=True)
class Unit:
    """A part in its place with its terminals; `screws` are the places of the M3 screws that hold it on the plate."""

    name: str
    pieces: tuple[Piece, ...]
    where: Location
    terminals: dict[str, Place]
    screws: tuple[Location, ...] = ()

    def terminal(self, name: str) -> Place:
        """Return the place in the gauge where a wire ends at a terminal."""
        at = (self.where * Location(self.terminals[name])).position
        return (at.X, at.Y, at.Z)


def circuit(size: Spot, holes: Sequence[Spot], d: float) -> object:
    """Return a bare circuit board with its holes, from z = 0 up."""
    wide, deep = size
    shape = box((-wide / 2, wide / 2), (-deep / 2, deep / 2), (0, SHEET))
    for x, y in holes:
        shape -= Pos(x, y, 0) * cylinder(clearance(d), 0, SHEET)
    return shape


def carrier(number: str, name: str, size: Spot, holes: Sequence[Spot], d: float) -> Part:
    """Return a printed carrier: posts with holes for screws that cut their thread, a flange at each end."""
    end, deep = size[0] / 2 + FLANGE, max(size[1], 2 * max(y for _, y in holes) + d + 5)  # under all of the posts
    shape = box((-end, end), (-deep / 2, deep / 2), (0, BASE))
    for x, y in holes:
        shape += Pos(x, y, 0) * cylinder(d + 5, BASE, BASE + POST)
    for x, y in holes:
        shape -= Pos(x, y, 0) * cylinder(d, 0.8, BASE + POST)
    for x in (-end + FLANGE / 2, end - FLANGE / 2):
        shape = drilled(shape.solid(), facing("+z", (x, 0, BASE)), clearance(3), BASE)
    shape = engraved(shape.solid(), number, facing("+z", (0, 3, BASE)), 5)
    return Part(number, name, Way.PRINTED, shape, "PETG", "printed", 0.5)


def flange_screws(size: Spot) -> tuple[Place, Place]:
    """Return where the carrier of a circuit board is screwed down."""
    x = size[0] / 2 + FLANGE / 2
    return ((-x, 0.0, BASE), (x, 0.0, BASE))


# The board with the microcontroller

BOARD = (51.0, 21.0)
BOARD_HOLES = [(x, y) for x in (-23.5, 23.5) for y in (-5.7, 5.7)]
HEADER = 8.0  # height of its pins over it


def pin_place(edge: int) -> Place:
    """Return the place of the tip of a pin by its place on the edge, the USB socket at the left.

    >>> pin_place(1), pin_place(40)
    ((-24.13, -8.89, 9.6), (-24.13, 8.89, 9.6))
    """
    rear = edge <= EDGE_PINS
    along = edge - 1 if rear else 2 * EDGE_PINS - edge
    x = (along - (EDGE_PINS - 1) / 2) * EDGE_PITCH
    return (round(x, 3), (-1 if rear else 1) * EDGE_ROWS / 2, SHEET + HEADER)


def board() -> Part:
    """Return the board from its underside up, its USB socket to the left, two rows of pins upward."""
    shape = circuit(BOARD, BOARD_HOLES, 2)
    half = EDGE_PINS * EDGE_PITCH / 2
    for side in (-1, 1):
        y = side * EDGE_ROWS / 2
        shape += box((-half, half), (y - 1.2, y + 1.2), (SHEET, SHEET + HEADER))
    shape += box((-BOARD[0] / 2 - 1, -19), (-4, 4), (SHEET, SHEET + 3))
    name = "board with RP2040, USB, 2 MB flash, pins soldered upward"
    return Part("E02", "board", Way.BOUGHT, shape.solid(), "circuit board", name, 5.0, 6.0)


BOARD_PINS = {str(edge): pin_place(edge) for edge in range(1, 2 * EDGE_PINS + 1)}
assert set(EDGE.values()) <= {int(edge) for edge in BOARD_PINS}


# Drivers

DRIVER = (44.0, 36.0)
DRIVER_HOLES = [(x, y) for x in (-19.0, 19.0) for y in (-15.0, 15.0)]
BLOCK = (8.0, 10.0)  # depth and height of a row of terminals
LOGIC = ("VIO", "EN", "STEP", "DIR", "NC")
POWER = ("VM", "GND", "A1", "A2", "B1", "B2")
LOGIC_Y, POWER_Y = -12.5, 12.5
MOTOR_X = 5.08  # middle of the motor's four terminals


def row(names: Sequence[str], y: float, z: float) -> dict[str, Place]:
    """Return the places of a row of terminals along x."""
    return {name: ((i - (len(names) - 1) / 2) * PITCH, y, z) for i, name in enumerate(names)}


DRIVER_TERMINALS = row(LOGIC, LOGIC_Y, SHEET + BLOCK[1]) | row(POWER, POWER_Y, SHEET + BLOCK[1])


def driver() -> Part:
    """Return a driver from its underside up: logic behind, supply and motor in front."""
    shape = circuit(DRIVER, DRIVER_HOLES, 3)
    deep, high = BLOCK
    for names, y in ((LOGIC, LOGIC_Y), (POWER, POWER_Y)):
        half = len(names) * PITCH / 2
        shape += box((-half, half), (y - deep / 2, y + deep / 2), (SHEET, SHEET + high))
    shape += box((-7.5, 7.5), (-7.5, 7.5), (SHEET, SHEET + 12))
    name = "stepper driver with terminals, step and direction, 16 microsteps, 24 V, logic 3.3 V"
    return Part("E04", "motor driver", Way.BOUGHT, shape.solid(), "circuit board", name, 12.0, 25.0)


# Converter of the cell

CONVERTER = (34.0, 21.0)
CONVERTER_HOLES = [(x, y) for x in (-9.0, 9.0) for y in (-7.5, 7.5)]
CELL_SIDE, BOARD_SIDE = ("E+", "E-", "A-", "A+"), ("GND", "DATA (SDA)", "CLOCK (SCL)", "VCC")


def _short_row(names: Sequence[str], x: float) -> dict[str, Place]:
    return {name: (x, (i - 1.5) * PITCH * 0.95, SHEET + 4.0) for i, name in enumerate(names)}


CONVERTER_TERMINALS = _short_row(CELL_SIDE, 17.0) | _short_row(BOARD_SIDE, -17.0)


def converter() -> Part:
    """Return the converter from its underside up: the cell's terminals at its right end, the board's at its left."""
    shape = circuit(CONVERTER, CONVERTER_HOLES, 2)
    for side in (-1, 1):
        shape += box((min(side * 13.0, side * 17.0), max(side * 13.0, side * 17.0)), (-10, 10), (SHEET, SHEET + 8))
    name = "24-bit bridge converter with terminals, 80 samples a second, 3.3 V"
    return Part("E06", "converter", Way.BOUGHT, shape.solid(), "circuit board", name, 6.0, 8.0)


# Terminals, fuse, socket, stop, sensor

STRIP_POLES = 6
STRIP = (46.5, 12.0, 12.0)


def strip() -> Part:
    """Return a strip of six joined terminals from its underside up, screwed down at both ends."""
    long, deep, high = STRIP
    half = STRIP_POLES * PITCH / 2
    shape = box((-half, half), (-deep / 2, deep / 2), (0, high))
    shape += box((-long / 2, long / 2), (-deep / 2, deep / 2), (0, BASE))
    for x in strip_screws():
        shape = drilled(shape.solid(), facing("+z", x), clearance(3), BASE)
    name = "strip of six joined terminals, 10 A"
    return Part("E07", "terminals", Way.BOUGHT, shape.solid(), "acetal", name, 2.0, 15.0)


def strip_screws() -> tuple[Place, Place]:
    """Return where a strip is screwed down."""
    x = STRIP[0] / 2 - 4
    return ((-x, 0.0, BASE), (x, 0.0, BASE))


STRIP_TERMINALS = row([str(i + 1) for i in range(STRIP_POLES)], 0.0, STRIP[2])
FUSE = (44.0, 14.0, 15.0)
FUSE_TERMINALS = {"in": (-11.0, 0.0, FUSE[2]), "out": (11.0, 0.0, FUSE[2])}


def fuse() -> Part:
    """Return the holder of the fuse, closed, from its underside up."""
    long, deep, high = FUSE
    shape = box((-14, 14), (-deep / 2, deep / 2), (0, high))
    shape += box((-long / 2, long / 2), (-deep / 2, deep / 2), (0, BASE))
    for x, y, z in fuse_screws():
        shape = drilled(shape.solid(), facing("+z", (x, y, z)), clearance(3), BASE)
    name = "fuse holder, closed, with fuse 5x20, 3.15 A slow (IEC 60127)"
    return Part("E08", "fuse", Way.BOUGHT, shape.solid(), "acetal", name, 2.5, 12.0)


def fuse_screws() -> tuple[Place, Place]:
    """Return where the fuse holder is screwed down."""
    return ((-18.0, 0.0, BASE), (18.0, 0.0, BASE))


SOCKET = (12.0, 22.0)  # diameter and length behind the sheet
SOCKET_FLANGE = (17.0, 2.5)
SOCKET_NUT = (16.0, 3.0)
SOCKET_TERMINALS = {"+": (-2.5, 0.0, -SOCKET[1]), "-": (2.5, 0.0, -SOCKET[1])}


def socket(sheet: float) -> Part:
    """Return the socket of the supply with its nut, screwed through a sheet whose outer face is z = 0."""
    shape = cylinder(SOCKET_FLANGE[0], 0, SOCKET_FLANGE[1]) + cylinder(SOCKET[0], -SOCKET[1], 0)
    shape += cylinder(SOCKET_NUT[0], -sheet - SOCKET_NUT[1], -sheet)
    name = "socket 5.5 x 2.5 for a sheet, 5 A, with nut"
    return Part("E09", "socket of the 24 V supply", Way.BOUGHT, shape.solid(), "steel", name, 2.5, 9.0)


STOP_BOX = (68.0, 92.0, 55.0)  # along y, with its flanges up, and how far it stands out
_CONTACTS = {"contact 1, 11": (-2.5, 2.5), "contact 1, 12": (2.5, 2.5), "contact 2, 21": (-2.5, -2.5),
             "contact 2, 22": (2.5, -2.5)}  # fmt: skip


def stop_terminals(sheet: float) -> dict[str, Place]:
    """Return the ends of the wires in the hole behind the emergency stop's box."""
    return {name: (x, y, -sheet + 1) for name, (x, y) in _CONTACTS.items()}


def stop() -> Part:
    """Return the emergency stop in its box, from the sheet outward along z."""
    wide, high, out = STOP_BOX
    shape = box((-wide / 2, wide / 2), (-34, 34), (0, out)) + cylinder(28, out, out + 12)
    shape += cylinder(40, out + 12, out + 24)
    shape += box((-10, 10), (-high / 2, high / 2), (0, BASE))
    for y in STOP_SCREWS:
        shape = drilled(shape.solid(), facing("+z", (0, y, BASE)), clearance(4), BASE)
    name = "emergency stop in its box, latching, two contacts forced open, 5 A at 24 V DC (ISO 13850, IEC 60947-5-5)"
    return Part("E10", "emergency stop", Way.BOUGHT, shape.solid(), "PETG", name, 18.0, 180.0)


MOUNT = (20.0, 4.0)  # side and height


def tie_mount() -> Part:
    """Return a mount for cable ties, glued on what lies at z = 0, with a slit for the tie."""
    side, high = MOUNT
    shape = box((-side / 2, side / 2), (-side / 2, side / 2), (0, high)) - box((-side, side), (-2.5, 2.5), (1.5, 3))
    name = "mount for cable ties 20 x 20, glued, with its tie"
    return Part("E14", "cable holder", Way.BOUGHT, shape.solid(), "acetal", name, 0.2, 2.0)


SENSOR = (20.0, 12.0)
SENSOR_TERMINALS = {name: (6.0, y, 0.0) for name, y in (("VCC", -3.0), ("OUT", 0.0), ("GND", 3.0))}


def sensor() -> Part:
    """Return the sensor of the index mark, looking up, one hole to screw it on."""
    shape = circuit(SENSOR, [(-6.0, 0.0)], 3) + box((0, 5), (-3, 3), (SHEET, SHEET + 3))
    name = "reflective sensor, 3.3 V, open collector, about 8 mm"
    return Part("E11", "index mark sensor", Way.BOUGHT, shape.solid(), "circuit board", name, 4.0, 2.0)
