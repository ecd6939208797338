"""The column behind the shaft: profile, the block that holds it to the beam, and the rail on its front."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from build123d import Location
from frame.dimensions import Frame

from model.holes import clearance, counterbored, drilled, facing, tapped
from model.piece import Part, Piece, Way, of_step
from model.press.made import Stock, made
from model.standard import profile, rail, slot_nut, socket_screw
from model.standard.drive_parts import rail_holes
from model.standard.profiles import SLOT_8
from model.standard.shapes import box

LIPS = SLOT_8.lip_depth
SPACER_WIDTH = 100.0
SUNK = 6.5  # head of an M6 in the spacer
SPACER_BEAM_X = (-36.0, 36.0)  # screws into the beam's two back slots, beside the column
COLUMN_THREAD = 25.0  # M8 in its upper end
COLUMN_NOTES = ("Upper end square to 0.1 on 40: the head plate stands on it.",)
SPACER_NOTES = ("Large faces parallel to 0.1.",)


def column_place(frame: Frame) -> Location:
    """Return where the column's middle stands; its own x points up."""
    middle = (frame.press.column_top + frame.press.column_bottom) / 2
    return facing("-x", (0, frame.press.column_y, middle), along="+z")


def column_part(frame: Frame) -> Part:
    """Return the sawn profile with M8 tapped into its upper end."""
    length = frame.press.column_top - frame.press.column_bottom
    sawn = profile(frame.press.column, frame.press.column, length, number="P01")
    shape = drilled(sawn.shape, facing("+x", (length / 2, 0, 0)), tapped(8), COLUMN_THREAD)
    return replace(sawn, name="column", shape=shape, notes=COLUMN_NOTES)


def spacer_place(frame: Frame) -> Location:
    """Return where the spacer's back face lies."""
    return facing("+y", (0, frame.column_front_y, 0))


def spacer_part(frame: Frame) -> Part:
    """Return the block between column and beam."""
    front = frame.column_front_y + frame.press.spacer
    half = SPACER_WIDTH / 2
    shape = box((-half, half), (frame.column_front_y, front), (-frame.beam.height, 0)).solid()
    for z in frame.press.spacer_column_z:
        shape = counterbored(shape, facing("+y", (0, front, z)), 6, frame.press.spacer, SUNK)
    for x, z in product(SPACER_BEAM_X, frame.press.spacer_beam_z):
        shape = drilled(shape, facing("+y", (x, front, z)), clearance(6), frame.press.spacer)
    stock = Stock(
        Way.MACHINED, "aluminium", f"flat bar {SPACER_WIDTH:g}x{frame.press.spacer:g}, 80 long", 9.0, SPACER_NOTES
    )
    return made("P02", "spacer", stock, shape, spacer_place(frame))


def rail_place(frame: Frame) -> Location:
    """Return where the rail's base lies; its own x points up."""
    return facing("+y", (0, frame.column_front_y, frame.press.rail_top - frame.press.rail_length / 2), along="+z")


def _spacer_screws(frame: Frame) -> list[Piece]:
    """Return what holds the spacer to the column, and then both to the beam."""
    back, front = frame.column_front_y, frame.column_front_y + frame.press.spacer
    pieces = []
    for z in frame.press.spacer_column_z:
        pieces.append(Piece(socket_screw(6, 30), facing("+y", (0, front - SUNK, z))))
        pieces.append(Piece(slot_nut(6), facing("+y", (0, back - LIPS, z), along="+z")))
    for x, z in product(SPACER_BEAM_X, frame.press.spacer_beam_z):
        pieces.append(Piece(socket_screw(6, 35), facing("-y", (x, back, z))))
        pieces.append(Piece(slot_nut(6), facing("-y", (x, front + LIPS, z), along="+x")))
    return pieces


def _rail_screws(frame: Frame) -> list[Piece]:
    """Return a screw and a slot nut for each hole of the rail."""
    pieces = []
    for x in rail_holes(frame.press.rail_length):
        hole = rail_place(frame) * Location((x, 0, 0))
        pieces.append(Piece(socket_screw(3, 12), hole * Location((0, 0, 3.5))))
        pieces.append(Piece(slot_nut(3), hole * Location((0, 0, -LIPS))))
    return pieces


def column(frame: Frame) -> tuple[Piece, ...]:
    """Return the column on the beam with its rail."""
    pieces = [
        Piece(column_part(frame), column_place(frame)),
        Piece(spacer_part(frame), spacer_place(frame)),
        Piece(rail(frame.press.rail_length, "P03"), rail_place(frame)),
    ]
    return of_step([*pieces, *_spacer_screws(frame), *_rail_screws(frame)], "4 column")
