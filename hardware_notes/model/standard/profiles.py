"""Aluminium profiles with slots, along x and centred on the origin. Sections are from memory."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from build123d import Location, Rectangle, extrude

from model.piece import Part, Way
from model.standard.numbers import number_of
from model.standard.shapes import ALONG_X, cylinder, prism


class Slot(NamedTuple):
    """A slot's section, mm, and the bore in the middle of the profile."""

    grid: float  # the profile's module: a slot in the middle of each
    lips: float  # width of the opening
    lip_depth: float
    inner: float  # width behind the lips
    straight: float  # depth to which it keeps that width
    depth: float
    bore: float


SLOT_8 = Slot(40, 8.2, 4.5, 16, 8, 12, 6.8)  # the bore takes M8, tapped
SLOT_6 = Slot(20, 6.2, 1.6, 11.2, 3.2, 5.6, 4.2)  # M5
KG_PER_M = {(40, 40): 1.6, (40, 80): 2.9, (20, 20): 0.46, (20, 40): 0.85}  # light sections: hollow where none is drawn
SIDES = ("+y", "-y", "+z", "-z")


def _grooves(slot: Slot, width: float, height: float) -> list[tuple[str, list[tuple[float, float]]]]:
    """Return the slots' polygons in the section, each with its side."""
    half, lip, inner, bottom = width / 2, slot.lips / 2, slot.inner / 2, slot.inner / 2 - slot.depth + slot.straight
    right = [(lip, 0), (lip, slot.lip_depth), (inner, slot.lip_depth), (inner, slot.straight), (bottom, slot.depth)]
    outline = right + [(-u, depth) for u, depth in reversed(right)]  # across the slot, depth
    grooves = []
    for middle in _middles(slot, height):
        grooves += [("+y", [(half - depth, middle + u) for u, depth in outline])]
        grooves += [("-y", [(depth - half, middle + u) for u, depth in outline])]
    for middle in _middles(slot, width):
        grooves += [("+z", [(middle + u, height / 2 - depth) for u, depth in outline])]
        grooves += [("-z", [(middle + u, depth - height / 2) for u, depth in outline])]
    return grooves


def _middles(slot: Slot, size: float) -> list[float]:
    """Return where the slots' middles lie along a side of that size."""
    count = round(size / slot.grid)
    return [(i - (count - 1) / 2) * slot.grid for i in range(count)]


@cache
def profile(
    width: float, height: float, length: float, slots: tuple[str, ...] = SIDES, number: str | None = None
) -> Part:
    """Return a profile of 20 or 40 mm module, sawn square.

    Parameters
    ----------
    width, height, length : float
        Along y, z and x, mm.
    slots : tuple of str
        Sides that have slots; the others are closed.
    number : str or None
        Part number of the sawn length; None takes it from the table of standard sizes.

    Returns
    -------
    Part
        Its mass by the section's weight, so holes drilled later do not change it.
    """
    slot = SLOT_8 if min(width, height) >= SLOT_8.grid else SLOT_6
    body = extrude(Rectangle(width, height), length / 2, both=True)
    for side, corners in _grooves(slot, width, height):
        if side in slots:
            body -= prism(corners, -length / 2, length / 2)
    for y in _middles(slot, width):
        for z in _middles(slot, height):
            body -= Location((y, z, 0)) * cylinder(slot.bore, -length / 2, length / 2)
    designation = f"profile {width:g}x{height:g}, slot {8 if slot is SLOT_8 else 6}, {length:g} long"
    grams = KG_PER_M[(min(width, height), max(width, height))] * length
    price = round(1 + 0.007 * grams, 1)
    shape = (ALONG_X * body).solid()
    return Part(
        number or number_of(designation), "profile", Way.MACHINED, shape, "aluminium", designation, price, grams
    )
