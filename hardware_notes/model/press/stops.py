"""The two hard stops on the column's right, and the home switch on its left."""

from __future__ import annotations

from functools import cache

from build123d import Location
from frame.dimensions import Frame

from model.holes import clearance, drilled, engraved, facing
from model.piece import Part, Piece, Way, of_step
from model.press.column import LIPS
from model.press.made import Stock, made
from model.standard import hex_nut, microswitch, slot_nut, socket_screw
from model.standard.electrics import SWITCH_HOLES
from model.standard.shapes import box

STOP_THICKNESS, STOP_WIDTH, STOP_LENGTH = 10.0, 60.0, 50.0  # a sawn piece of flat bar
STOP_HOLES = (10.0, 40.0)  # from the end that meets the carriage
PAD = 12.0  # of the rubber along y; along x it is as wide as the stop
SWITCH_PRESSED, SWITCH_THICK, ROLLER_X = (
    9.0,
    6.4,
    8.0,
)  # where the plate's edge holds the roller, from the switch's holes
SWITCH_FACE_Y = -32.7  # its back: the roller runs on the plate's edge, the bracket stays behind the plate
HOME_BELOW = 11.0  # of the roller below the plate's upper edge at home: just past the slanted corner
BRACKET_BASE, BRACKET_TAB, BRACKET_LENGTH = 6.0, 3.5, 44.0
BRACKET_SCREWS = (-12.0, 12.0)


def _column_side(frame: Frame) -> float:
    """Return how far the column's sides lie from midspan."""
    return frame.press.column / 2


def stop_z(frame: Frame) -> tuple[float, float]:
    """Return the heights of the two stops' rubber where the carriage plate meets it."""
    upper = frame.carriage_top_z + frame.press.upper_stop_beyond
    return upper, frame.carriage_z - frame.press.carriage[2] / 2 + frame.carriage_lowest


def _stop_places(frame: Frame) -> tuple[Location, Location]:
    """Return where the stops lie: their own x leads away from the carriage plate, their y to the back."""
    upper, lower = stop_z(frame)
    x, rubber = _column_side(frame), frame.press.stop_rubber
    front = frame.carriage_front_y
    return (
        facing("+x", (x, front, upper + rubber), along="+z"),
        facing("-x", (x + STOP_THICKNESS, front, lower - rubber), along="-z"),
    )


@cache
def stop_part(frame: Frame) -> Part:
    """Return a stop: it is the same one above and below, turned over."""
    shape = box((0, STOP_LENGTH), (0, STOP_WIDTH), (0, STOP_THICKNESS)).solid()
    across = frame.carriage_front_y - frame.press.column_y
    for along in STOP_HOLES:
        shape = drilled(shape, facing("+z", (along, across, STOP_THICKNESS)), clearance(6), STOP_THICKNESS)
    name = f"flat bar {STOP_WIDTH:g}x{STOP_THICKNESS:g}, {STOP_LENGTH:g} long"
    return Part("P05", "hard stop", Way.MACHINED, shape, "aluminium", name, 2.0)


@cache
def rubber_part(frame: Frame) -> Part:
    """Return the rubber that is glued to the end of a stop."""
    thickness = frame.press.stop_rubber
    shape = box((0, PAD), (0, STOP_THICKNESS), (0, thickness)).solid()
    name = f"rubber sheet {thickness:g}, 70 Shore A, {PAD:g}x{STOP_THICKNESS:g}"
    return Part("P06", "stop rubber", Way.CUT, shape, "rubber", name, 0.2)


def _stops(frame: Frame) -> list[Piece]:
    """Return both stops with rubber, screws and slot nuts."""
    pieces = []
    x, y = _column_side(frame), frame.press.column_y
    for place, upward in zip(_stop_places(frame), (1, -1), strict=True):
        end = place * facing("-x", (0, 0, 0), along="+y")
        pieces += [Piece(stop_part(frame), place), Piece(rubber_part(frame), end)]
        for along in STOP_HOLES:
            z = place.position.Z + upward * along
            pieces.append(Piece(socket_screw(6, 20), facing("+x", (x + STOP_THICKNESS, y, z))))
            pieces.append(Piece(slot_nut(6), facing("+x", (x - LIPS, y, z), along="+z")))
    return pieces


def switch_place(frame: Frame) -> Location:
    """Return where the switch's back lies between its holes: its roller points at the carriage plate's left edge."""
    x = -frame.press.carriage[0] / 2 - SWITCH_PRESSED
    return facing("+y", (x, SWITCH_FACE_Y, frame.carriage_top_z - HOME_BELOW - ROLLER_X), along="+z")


def switch_bracket_part(frame: Frame) -> Part:
    """Return the printed bracket: a base on the column's side and a tab behind the switch."""
    side, middle = -_column_side(frame), switch_place(frame).position
    half = BRACKET_LENGTH / 2
    base = ((side - BRACKET_BASE, side), (frame.press.column_y - 15, SWITCH_FACE_Y))
    shape = box(*base, (middle.Z - half, middle.Z + half))
    tab = ((middle.X - 9, side), (SWITCH_FACE_Y - BRACKET_TAB, SWITCH_FACE_Y))
    shape = (shape + box(*tab, (middle.Z - half, middle.Z + half))).solid()
    for x, y in SWITCH_HOLES:
        hole = switch_place(frame) * Location((x, y, 0))
        shape = drilled(shape, hole, clearance(2.5), BRACKET_TAB)
    for z in BRACKET_SCREWS:
        where = facing("-x", (side - BRACKET_BASE, frame.press.column_y, middle.Z + z))
        shape = drilled(shape, where, clearance(6), BRACKET_BASE)
    label = facing("-x", (side - BRACKET_BASE, frame.press.column_y, middle.Z), along="-y")
    shape = engraved(shape, "P07", label, size=5)
    place = facing("-x", (side, frame.press.column_y, middle.Z))
    return made("P07", "home switch bracket", Stock(Way.PRINTED, "PETG", "printed, 4 walls", 0.5), shape, place)


def _home_switch(frame: Frame) -> list[Piece]:
    """Return the switch on its bracket; its lever is drawn free, so the plate's edge lies in its roller."""
    side, y, place = -_column_side(frame), frame.press.column_y, switch_place(frame)
    z = place.position.Z
    pieces = [
        Piece(switch_bracket_part(frame), facing("-x", (side, y, z))),
        Piece(microswitch(), place, fits=frozenset({"P20"})),
    ]
    for along, across in SWITCH_HOLES:
        hole = place * Location((along, across, 0))
        pieces.append(Piece(socket_screw(2.5, 12), hole * Location((0, 0, SWITCH_THICK))))
        pieces.append(Piece(hex_nut(2.5), hole * facing("-z", (0, 0, -BRACKET_TAB))))
    for up in BRACKET_SCREWS:
        pieces.append(Piece(socket_screw(6, 16), facing("-x", (side - BRACKET_BASE, y, z + up))))
        pieces.append(Piece(slot_nut(6), facing("-x", (side + LIPS, y, z + up), along="+z")))
    return pieces


def stops(frame: Frame) -> tuple[Piece, ...]:
    """Return hard stops and home switch."""
    return of_step([*_stops(frame), *_home_switch(frame)], "6 counterweight and stops")
