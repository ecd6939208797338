"""Sheets, corner angles and bolts that the lid is put together from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from build123d import Location, Plane, Pos
from frame.dimensions import Frame

from model.holes import clearance, drilled, facing
from model.piece import Part, Piece, Way
from model.standard import hex_nut, lock_nut, socket_screw, washer
from model.standard.fasteners import WASHER
from model.standard.shapes import box, cylinder

BOLT = 4  # size of the screws between sheets and angles
FROM_CORNER = 11.0  # of the holes in the corner angles: nuts of both legs pass each other
EUR_PER_M2, EUR_PER_M = 45.0, 4.0  # of the sheet and of the angle
FLIP = Location((0, 0, 0), (180, 0, 0))

Span = tuple[float, float]
Spot = tuple[float, float, float]  # of a hole: across and up in its sheet's plane, diameter


class Sheet(NamedTuple):
    """A sheet's outline in its plane, across and up, with its holes and rectangular cuts."""

    across: Span
    up: Span
    holes: Sequence[Spot] = ()
    cuts: Sequence[tuple[Span, Span]] = ()


def sheet(frame: Frame, number: str, name: str, outline: Sheet) -> Part:
    """Return a sheet of polycarbonate, its plane at z = 0, its places in the gauge as its x and y."""
    thick = frame.lid.sheet
    shape = box(outline.across, outline.up, (0, thick))
    for across, up in outline.cuts:
        shape -= box(across, up, (0, thick))
    for x, y, diameter in outline.holes:
        shape -= Pos(x, y, 0) * cylinder(diameter, 0, thick)
    wide, high = (b - a for a, b in (outline.across, outline.up))
    size = f"polycarbonate {thick:g}, {wide:g} x {high:g}"
    price = round(EUR_PER_M2 * wide * high / 1e6, 1)
    return Part(number, name, Way.CUT, shape.solid(), "polycarbonate", size, price)


def upright_x(y: float) -> Location:
    """Return the place of a sheet across the gauge, whose face towards +y lies at y; its x is x, its y is z."""
    return Plane(origin=(0, y, 0), x_dir=(1, 0, 0), z_dir=(0, -1, 0)).location


def upright_y(x: float) -> Location:
    """Return the place of a sheet along y, whose face towards -x lies at x; its x is y, its y is z."""
    return Plane(origin=(x, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)).location


def corner_angle(frame: Frame, number: str, name: str, length: float, holes: Sequence[float]) -> Part:
    """Return an aluminium angle with its legs along +x and +y and its length along z, drilled alike in both legs."""
    leg, thick = frame.lid.angle
    shape = (box((0, leg), (0, thick), (0, length)) + box((0, thick), (0, leg), (0, length))).solid()
    for z in holes:
        shape = drilled(shape, facing("+y", (FROM_CORNER, thick, z)), clearance(BOLT), thick)
        shape = drilled(shape, facing("+x", (thick, FROM_CORNER, z)), clearance(BOLT), thick)
    size = f"aluminium angle {leg:g}x{leg:g}x{thick:g}, {length:g} long"
    return Part(number, name, Way.MACHINED, shape, "aluminium", size, round(0.3 + EUR_PER_M * length / 1000, 1))


def one_leg_angle(number: str, name: str, size: Spot, holes: Sequence[float], across: float) -> Part:
    """Return an aluminium angle as `corner_angle` does, by leg, thickness and length, drilled in the leg along +x."""
    leg, thick, length = size
    shape = (box((0, leg), (0, thick), (0, length)) + box((0, thick), (0, leg), (0, length))).solid()
    for z in holes:
        shape = drilled(shape, facing("+y", (across, thick, z)), clearance(BOLT), thick)
    stock = f"aluminium angle {leg:g}x{leg:g}x{thick:g}, {length:g} long"
    return Part(number, name, Way.MACHINED, shape, "aluminium", stock, round(0.3 + EUR_PER_M * length / 1000, 1))


def bolt(head: Location, clamped: float, length: float, d: int = BOLT, *, locked: bool = False) -> tuple[Piece, ...]:
    """Return washer, screw and nut through what is clamped; `head` lies on it, +z out of it; some nuts are locked."""
    nut = lock_nut(d) if locked else hex_nut(d)
    return (
        Piece(washer(d), head),
        Piece(socket_screw(d, length), head * Pos(0, 0, WASHER[d][2])),
        Piece(nut, head * Pos(0, 0, -clamped) * FLIP),
    )
