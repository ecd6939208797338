"""Screws, nuts, washers, pins and feet. Threads are plain cylinders of the nominal diameter.

Dimensions are those of the standards named in the designations, from memory where the comment says so.
"""

from __future__ import annotations

from functools import cache

from model.piece import Part, Way
from model.standard.numbers import number_of
from model.standard.shapes import ALONG_X, cone, cylinder, hexagon, prism, ring

SOCKET_HEAD = {2: (3.8, 2, 1.5), 2.5: (4.5, 2.5, 2), 3: (5.5, 3, 2.5), 4: (7, 4, 3), 5: (8.5, 5, 4), 6: (10, 6, 5),
               8: (13, 8, 6), 10: (16, 10, 8)}  # ISO 4762: diameter and height of the head, key  # fmt: skip
COUNTERSUNK_HEAD = {3: (6.72, 2), 4: (8.96, 2.5), 5: (11.2, 3), 6: (13.44, 4), 8: (17.92, 5)}  # ISO 10642: sharp
# diameter of the head, key
SET_KEY = {2: 0.9, 2.5: 1.3, 3: 1.5, 4: 2, 5: 2.5, 6: 3, 8: 4}  # ISO 4026
NUT = {2: (4, 1.6), 2.5: (5, 2), 3: (5.5, 2.4), 4: (7, 3.2), 5: (8, 4.7), 6: (10, 5.2), 8: (13, 6.8), 10: (16, 8.4)}
LOCK_NUT = {3: (5.5, 3.9), 4: (7, 5), 5: (8, 5), 6: (10, 6), 8: (13, 6.8)}  # ISO 10511, heights from memory
WASHER = {2: (2.2, 5, 0.3), 2.5: (2.7, 6, 0.5), 3: (3.2, 7, 0.5), 4: (4.3, 9, 0.8), 5: (5.3, 10, 1), 6: (6.4, 12, 1.6),
          8: (8.4, 16, 1.6), 10: (10.5, 20, 2)}  # ISO 7089: hole, outer diameter, thickness  # fmt: skip
WOOD_HEAD = {3: 6.0, 3.5: 7.0, 4: 8.0, 5: 10.0}  # countersunk chipboard screws, from memory


def _price(d: float, length: float) -> float:
    """Return what a screw costs in packs of fifty, EUR: a rough class."""
    return round(0.03 + 0.002 * d * d + 0.0004 * d * length, 2)


def _bought(name: str, designation: str, shape: object, price_eur: float, material: str = "steel") -> Part:
    """Return a bought fastener with the number of its designation."""
    solid = shape.solid()  # type: ignore[attr-defined]
    return Part(number_of(designation), name, Way.BOUGHT, solid, material, designation, price_eur)


@cache
def socket_screw(d: float, length: float) -> Part:
    """Return a cylinder-head screw with hexagon socket: the origin under its head, the shank to -z."""
    head, height, key = SOCKET_HEAD[d]
    shape = cylinder(head, 0, height) + cylinder(d, -length, 0) - hexagon(key, height / 2, height)
    return _bought("cylinder-head screw", f"ISO 4762 M{d:g}x{length:g}", shape, _price(d, length))


@cache
def countersunk_screw(d: float, length: float) -> Part:
    """Return a countersunk screw with hexagon socket: the origin in the top of its head, all of it below."""
    head, key = COUNTERSUNK_HEAD[d]
    depth = (head - d) / 2
    shape = cone(d, head, -depth, 0) + cylinder(d, -length, -depth) - hexagon(key, -depth * 0.6, 0)
    return _bought("countersunk screw", f"ISO 10642 M{d:g}x{length:g}", shape, _price(d, length))


@cache
def set_screw(d: float, length: float) -> Part:
    """Return a set screw with hexagon socket and flat point, from z = 0 down."""
    shape = cylinder(d, -length, 0) - hexagon(SET_KEY[d], -length / 2, 0)
    return _bought("set screw", f"ISO 4026 M{d:g}x{length:g}", shape, _price(d, length))


@cache
def wood_screw(d: float, length: float) -> Part:
    """Return a countersunk chipboard screw: the origin in the top of its head, all of it below."""
    depth = (WOOD_HEAD[d] - d) / 2
    shape = cone(d, WOOD_HEAD[d], -depth, 0) + cylinder(d, -length, -depth)
    return _bought("chipboard screw", f"chipboard screw, countersunk {d:g}x{length:g}", shape, 0.05)


@cache
def hex_nut(d: float) -> Part:
    """Return a hexagon nut, from z = 0 up."""
    flats, height = NUT[d]
    return _bought("nut", f"ISO 4032 M{d:g}", hexagon(flats, 0, height) - cylinder(d, 0, height), _price(d, 0))


@cache
def lock_nut(d: float) -> Part:
    """Return a low nut that does not come loose by itself, from z = 0 up."""
    flats, height = LOCK_NUT[d]
    return _bought("lock nut", f"ISO 10511 M{d:g}", hexagon(flats, 0, height) - cylinder(d, 0, height), _price(d, 10))


@cache
def washer(d: float) -> Part:
    """Return a washer for a screw of diameter `d`, from z = 0 up."""
    hole, outer, thickness = WASHER[d]
    return _bought("washer", f"ISO 7089 M{d:g}", ring(outer, hole, 0, thickness), round(0.01 * d / 3, 2))


@cache
def shim(bore: float, outer: float, thickness: float) -> Part:
    """Return a shim ring, from z = 0 up."""
    shape = ring(outer, bore, 0, thickness)
    return _bought("shim ring", f"DIN 988 {bore:g}x{outer:g}x{thickness:g}", shape, 0.1)


@cache
def dowel(d: float, length: float) -> Part:
    """Return a hardened, ground pin, from z = 0 up."""
    return _bought("dowel pin", f"ISO 8734 {d:g}x{length:g}", cylinder(d, 0, length), 0.3)


SLOT_NUT = {  # body of the nut by the width of the slot, from memory: corners across the slot and down, length along it
    8: ([(-7.5, 0), (-7.5, -3), (-4.5, -6.6), (4.5, -6.6), (7.5, -3), (7.5, 0)], 16.0),
    6: ([(-5, 0), (-5, -1.5), (-3.5, -3), (3.5, -3), (5, -1.5), (5, 0)], 11.0),
}


@cache
def slot_nut(d: float, slot: int = 8) -> Part:
    """Return a nut for a profile's slot along x: its face against the slot's lips at z = 0, its body below."""
    corners, length = SLOT_NUT[slot]
    body = ALONG_X * prism(corners, -length / 2, length / 2)
    return _bought("slot nut", f"slot nut {slot:g}, M{d:g}", body - cylinder(d, -10, 0), 0.35)


@cache
def standoff(d: float, length: float) -> Part:
    """Return a hexagonal spacer tapped through, from z = 0 up."""
    shape = hexagon(NUT[d][0], 0, length) - cylinder(d, 0, length)
    return _bought("spacer", f"hexagonal spacer M{d:g}x{length:g}, tapped through", shape, 0.4, "brass")


@cache
def foot(stud: float = 12) -> Part:
    """Return a rubber foot, 40 wide and 20 high below z = 0, with an M8 stud above it."""
    shape = cylinder(40, -20, 0) + cylinder(8, 0, stud)
    return _bought("rubber foot", f"rubber foot 40x20, stud M8x{stud:g}", shape, 1.5, "rubber")
