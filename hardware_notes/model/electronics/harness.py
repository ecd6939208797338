"""Wires as tubes: each begins and ends at a terminal of the wiring table and has a height and a lane of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import ceil, dist
from typing import NamedTuple

from build123d import Circle, FilletPolyline, Location, Polyline, Vector, sweep
from frame.board_wires import Wire
from frame.board_wires import wires as signals
from frame.dimensions import Frame
from frame.supply_wires import LINKS, End, Link, board_pin

from model.electronics.units import BLOCK, BOARD, EDGE_PINS, MOTOR_X, POWER_Y, SHEET, Place, Unit
from model.piece import Part, Piece, Way

MARKS = {  # colour of each kind in the pictures
    "24 V": "#c8201e", "ground": "#222222", "3.3 V": "#f08a1d", "out": "#2f6fd0", "in": "#e3c21c", "cell": "#8a4fb0",
    "cable": "#7d8790",
}  # fmt: skip
MOTORS_GROUNDS = ("ground, socket", "ground, press driver", "ground, rotate driver")  # carry the motors' current, too
WIRE_D, CABLE_D = 1.4, 5.0
SLACK = 1.2
LOWEST, STEP = -36.0, 2.1  # heights of the wires: each has its own, over the angle on the column
REAR_LANES = (-142.5, 1.8, 5)  # first, distance and number of lanes behind the board, for wires of its rear row
FRONT_LANES = (-99.0, 1.8, 7)  # and in front of the terminals
HOME_X, STOP_X, LID_Y, LID_Z = -52.0, 456.0, -120.0, 366.0  # where wires rise beside the column and at both sides
MOTOR_ENDS = ((40.0, -33.6, 400.0), (446.0, -21.6, 52.0))  # at the sides of press and rotate motor
HIGH = 200.0
CELL_LOOP, CELL_END = (-140.0, -65.0), 150.0  # x and y of the cell's cable's bends, height where it ends
NOT_WIRED = ("uart.", "cell.ready", "service", "parts.")  # with the file as it comes, without a part
ENABLE = Link("enable, on to the second", End("press driver", "EN"), End("rotate driver", "EN"), "out")


class Route(NamedTuple):
    """A wire's number, name, mark, and the places that it passes."""

    number: str
    name: str
    kind: str
    points: tuple[Place, ...]
    diameter: float


def wired() -> list[Wire]:
    """Return the signal wires of a gauge without a feeder, as its file comes."""
    return [wire for wire in signals() if not wire.key.startswith(NOT_WIRED)]


def links() -> list[Link]:
    """Return all wires of a gauge without a feeder."""
    made = []
    for wire in wired():
        part = "press driver" if wire.part == "both drivers" else wire.part
        made.append(Link(wire.key, board_pin(wire.edge), End(part, wire.terminal), wire.way))
    return [*made, ENABLE, *LINKS]


def place_of(end: End, placed: Sequence[Unit]) -> Place:
    """Return where a wire ends in the gauge."""
    by_name = {unit.name: unit for unit in placed}
    name, terminal = end
    if name.startswith("emergency stop"):
        contact = name.removeprefix("emergency stop, ")
        name, terminal = "emergency stop", f"{contact}, {terminal or '21'}"
    return by_name[name].terminal(terminal)


def ends_of(link: Link, placed: Sequence[Unit]) -> tuple[Place, Place]:
    """Return where a wire begins and ends; the second wire in a terminal lies beside the first."""
    start, end = place_of(link.start, placed), place_of(link.end, placed)
    return ((start[0] + WIRE_D + 0.2, *start[1:]) if link is ENABLE else start), end


def wires(frame: Frame, placed: Sequence[Unit]) -> tuple[Piece, ...]:
    """Return every wire and cable as a piece."""
    routes = [*_routes(placed), *_cell_wires(placed), *_cables(placed)]
    return tuple(Piece(_tube(route), Location()) for route in routes)


def _tube(route: Route) -> Part:
    """Return a wire along its points, bent no sharper than there is room for."""
    points = _cleaned(route.points)
    shortest = min(dist(a, b) for a, b in pairwise(points))
    path = FilletPolyline(*points, radius=min(3.0, 0.4 * shortest)) if len(points) > 2 else Polyline(*points)
    shape = sweep((path ^ 0) * Circle(route.diameter / 2), path)
    length = 5 * ceil(SLACK * path.length / 5)
    wire = "wire 0.75 mm²" if route.kind == "24 V" or route.name in MOTORS_GROUNDS else "wire 0.25 mm²"
    what = "cable, 4 wires, shielded" if route.kind == "cable" else wire
    grams, price = length * (0.03 if route.kind == "cable" else 0.004), round(0.001 * length + 0.05, 2)
    part = Part(route.number, route.name, Way.BOUGHT, shape.solid(), "wire", f"{what}, {length} long", price, grams)
    return replace(part, colour=MARKS[route.kind])


def _cleaned(points: Sequence[Place]) -> list[Place]:
    """Return the points without those where the wire does not bend."""
    kept = [points[0]]
    for point in points[1:]:
        if dist(point, kept[-1]) > 1e-3:
            kept.append(point)
    bends = [b for a, b, c in zip(kept, kept[1:], kept[2:], strict=False) if not _straight(a, b, c)]
    return [kept[0], *bends, kept[-1]]


def _straight(a: Place, b: Place, c: Place) -> bool:
    return abs(dist(a, b) + dist(b, c) - dist(a, c)) < 1e-6


def _routes(placed: Sequence[Unit]) -> list[Route]:
    """Return all wires but the cell's, those that rise at the sides highest."""
    numbered = [(f"E{30 + i}", link) for i, link in enumerate(links())]
    told = [(number, link) for number, link in numbered if link.kind != "cell"]
    ends = {number: ends_of(link, placed) for number, link in told}
    told.sort(key=lambda item: (_rises(item[1]), -max(ends[item[0]][0][1], ends[item[0]][1][1])))
    stops = [number for number, link in told if _at_stop(link)]
    made, used = [], Counter[bool]()
    for i, (number, link) in enumerate(told):
        start, end = ends[number]
        rear = link is ENABLE or (link.start.part == "board" and int(link.start.terminal) <= EDGE_PINS)
        first, apart, count = REAR_LANES if rear else FRONT_LANES
        lane = (first + apart * (used[rear] % count), LOWEST + STEP * i)
        used[rear] += 1
        sides = [_side(e, p, lane, stops.index(number) if number in stops else 0)
                 for e, p in ((link.start, start), (link.end, end))]  # fmt: skip
        points = (*sides[0], *reversed(sides[1]))
        made.append(Route(number, link.name, link.kind, points, WIRE_D))
    return made


def _at_stop(link: Link) -> bool:
    return any(end.part.startswith("emergency stop") for end in (link.start, link.end))


def _rises(link: Link) -> int:
    """Return how late a wire is laid: those to the sides of the lid and over the beam last."""
    return int(_at_stop(link) or any(e.part in ("lid switch", "index mark sensor", "home switch")
                                     for e in (link.start, link.end)))  # fmt: skip


def _side(end: End, at: Place, lane: tuple[float, float], rank: int) -> list[Place]:
    """Return the places from a terminal to a wire's lane, which is a y and a height."""
    x, y, z = at
    lane_y, up = lane
    if end.part.startswith("emergency stop"):
        beside = STOP_X + 1.8 * rank
        return [at, (beside, y, z), (beside, lane_y, z), (beside, lane_y, up)]
    if end.part == "lid switch":
        under = LID_Z - (3.0 if end.terminal else 0.0)
        return [at, (x, y, under), (x, LID_Y, under), (x, LID_Y, up), (x, lane_y, up)]
    if end.part == "home switch":
        beside = HOME_X - (0.0 if end.terminal else 4.0)  # the upper terminal's wire passes outside
        return [at, (beside, y, z), (beside, y, up), (beside, lane_y, up)]
    if end.part == "socket":
        return [at, (x, y + 4, z), (x, y + 4, up), (x, lane_y, up)]
    return [at, (x, y, up), (x, lane_y, up)]


def _cell_wires(placed: Sequence[Unit]) -> list[Route]:
    """Return the cell's four wires from the end of its cable to the converter."""
    made = []
    for i, link in enumerate(links()):
        if link.kind == "cell":
            end = place_of(link.end, placed)
            spread = (CELL_LOOP[1] - end[1]) * 0.7
            made.append(Route(f"E{30 + i}", link.name, "cell", ((end[0], end[1] + spread, CELL_END), end), WIRE_D))
    return made


def _cables(placed: Sequence[Unit]) -> list[Route]:
    """Return the cables of cell, host and motors."""
    by_name = {unit.name: unit for unit in placed}
    cell, converter = by_name["cell"].terminal("cable"), by_name["converter"].terminal("E+")
    x, y = CELL_LOOP
    board = (by_name["board"].where * Location((-BOARD[0] / 2 - 1.2, 0, 3.1))).position
    routes = [
        ("E80", "cable of the cell", [cell, (x, 0, cell[2]), (x, y, cell[2]), (converter[0], y, cell[2]),
                                      (converter[0], y, CELL_END)]),
        ("E81", "cable to the host", [tuple(board), (-280.0, board.Y, board.Z), (-280.0, -175.0, board.Z)]),
    ]  # fmt: skip
    for number, name, end in (("E82", "press driver", MOTOR_ENDS[0]), ("E83", "rotate driver", MOTOR_ENDS[1])):
        at = (by_name[name].where * Location((MOTOR_X, POWER_Y, SHEET + BLOCK[1]))).position
        routes.append((number, name.replace("driver", "motor's cable"), [tuple(at), *_to_motor(at, end)]))
    return [Route(number, name, "cable", tuple(points), CABLE_D) for number, name, points in routes]


def _to_motor(at: Vector, end: Place) -> list[Place]:
    x, y, z = end
    if z > HIGH:
        return [(at.X, at.Y, z), (at.X, y - 24, z), (x, y - 24, z), end]
    return [(at.X, at.Y, z), (x, at.Y, z), end]
