"""Bearings, collars, shafts, screws, nuts, motor, couplings, pulleys, rail. Values from memory but for ISO 15."""

from __future__ import annotations

from functools import cache
from math import pi

from build123d import Location

from model.piece import Part, Way
from model.standard.numbers import number_of
from model.standard.shapes import ALONG_X, box, cylinder, ring

BEARING = {  # ISO 15 with two shields: grams, EUR; both from memory
    (3, 10, 4): (1.6, 1.0), (4, 13, 5): (3.1, 1.0), (5, 16, 5): (4.8, 1.0), (6, 13, 5): (2.6, 1.2),
    (6, 19, 6): (8.0, 1.0), (8, 16, 5): (3.8, 1.2), (8, 22, 7): (12.0, 1.0), (10, 26, 8): (19.0, 1.5),
}  # fmt: skip
COLLAR = {3: (7, 5, 2), 4: (8, 5, 2.5), 5: (10, 6, 3), 6: (12, 8, 4), 8: (16, 8, 4), 10: (20, 10, 5)}  # DIN 705 A:
# outer diameter, width, set screw
T25_PITCH, T25_TIP = 2.5, 0.52  # ISO 17396: tips lie that much inside the pitch circle, across it (from memory)


def _bought(name: str, designation: str, shape: object, price_eur: float, grams: float | None = None) -> Part:
    """Return a bought part of steel with the number of its designation."""
    solid = shape.solid()  # type: ignore[attr-defined]
    return Part(number_of(designation), name, Way.BOUGHT, solid, "steel", designation, price_eur, grams)


@cache
def bearing(bore: float, outer: float, width: float) -> Part:
    """Return a deep groove ball bearing, from z = 0 up; its shields lie a little behind the rings."""
    grams, price = BEARING[(bore, outer, width)]
    wall, shield = (outer - bore) / 2, 0.25
    shape = ring(outer, bore, 0, width)
    for low in (0, width - shield):
        shape -= ring(outer - wall * 0.5, bore + wall * 0.5, low, low + shield)
    return _bought("ball bearing", f"ball bearing ISO 15, {bore:g}x{outer:g}x{width:g}, shields", shape, price, grams)


@cache
def collar(bore: float) -> Part:
    """Return a collar with its set screw's hole along x, from z = 0 up."""
    outer, width, screw = COLLAR[bore]
    hole = Location((0, 0, width / 2)) * (ALONG_X * cylinder(screw, 0, outer))
    return _bought("collar", f"DIN 705 A {bore:g}, with set screw", ring(outer, bore, 0, width) - hole, 0.8)


@cache
def ground_rod(d: float, length: float, number: str | None = None) -> Part:
    """Return a ground rod along x, centred; `number` is that of the sawn length, None takes it from the table."""
    designation = f"ground rod {d:g} h6, {length:g} long"
    shape = (ALONG_X * cylinder(d, -length / 2, length / 2)).solid()
    price = round(0.5 + 0.00004 * d * d * length + 0.006 * length, 1)
    return Part(number or number_of(designation), "ground rod", Way.MACHINED, shape, "steel", designation, price)


@cache
def trapezoidal_screw(d: float, length: float, number: str | None = None) -> Part:
    """Return a trapezoidal screw of four starts of 2 mm from z = 0 up; `number` as with the ground rod."""
    designation = f"trapezoidal screw Tr{d:g}x8 (P2), {length:g} long"
    shape, price = cylinder(d, 0, length).solid(), round(4 + 0.02 * length, 1)
    grams = length * 7.85e-3 * pi / 4 * (d - 1) ** 2  # by the middle of its thread
    return Part(number or number_of(designation), "screw", Way.MACHINED, shape, "steel", designation, price, grams)


@cache
def trapezoidal_nut(d: float = 8) -> Part:
    """Return a brass nut: flange from z = 0 down to -3.5, body above it to 10 and below it to -5.

    Its four holes for M3 lie on a circle of 16 mm, on x and y.
    """
    shape = cylinder(22, -3.5, 0) + cylinder(10.2, -5, 10) - cylinder(d, -5, 10)
    for x, y in ((8, 0), (-8, 0), (0, 8), (0, -8)):
        shape -= Location((x, y, 0)) * cylinder(3.5, -3.5, 0)
    designation = f"flanged nut Tr{d:g}x8 (P2), brass"
    return Part(number_of(designation), "flanged nut", Way.BOUGHT, shape.solid(), "brass", designation, 3.0)


MOTOR_SIDE, MOTOR_HOLES = 42.3, 31.0


@cache
def motor(length: float = 40) -> Part:
    """Return a stepper with a 42 mm flange: flange at z = 0, body below, pilot 22 x 2 and shaft 5 x 22 above.

    Its four M3 holes, 4.5 deep, lie on a square of 31 mm.
    """
    half = MOTOR_SIDE / 2
    shape = box((-half, half), (-half, half), (-length, 0)) & cylinder(54, -length, 0)
    shape += cylinder(22, 0, 2) + cylinder(5, 0, 22)
    for x in (-MOTOR_HOLES / 2, MOTOR_HOLES / 2):
        for y in (-MOTOR_HOLES / 2, MOTOR_HOLES / 2):
            shape -= Location((x, y, 0)) * cylinder(3, -4.5, 0)
    name = "stepper motor"
    return _bought(name, f"stepper, 42 mm flange, {length:g} long, shaft 5x22, 1.8 degrees", shape, 12.0, 280.0)


@cache
def coupling(bore1: float, bore2: float) -> Part:
    """Return a flexible coupling 19 x 25 from z = 0 up, `bore1` in its lower half and `bore2` in its upper."""
    shape = ring(19, bore1, 0, 12.5) + ring(19, bore2, 12.5, 25)
    designation = f"flexible coupling 19x25, bores {bore1:g} and {bore2:g}"
    return _bought("coupling", designation, shape, 3.0, 14.0)


def pulley_radius(teeth: int) -> float:
    """Return the radius of a T2.5 pulley's pitch circle, on which the belt's length is counted.

    Parameters
    ----------
    teeth : int
        Teeth of the pulley.

    Returns
    -------
    float
        The radius, mm.

    Examples
    --------
    >>> round(pulley_radius(20), 3)
    7.958
    """
    return teeth * T25_PITCH / (2 * pi)


@cache
def pulley(teeth: int, bore: float, width: float = 10) -> Part:
    """Return a pulley for a belt T2.5 of 6 mm with two flanges and a set screw M3 along x, from z = 0 up."""
    tips = 2 * pulley_radius(teeth) - T25_TIP
    flange, rim = tips + 3.6, (width - 7) / 2
    shape = cylinder(flange, 0, rim) + cylinder(tips, rim, width - rim) + cylinder(flange, width - rim, width)
    shape -= cylinder(bore, 0, width)
    designation = f"pulley T2.5, {teeth} teeth, bore {bore:g}, {width:g} wide"
    return Part(number_of(designation), "pulley", Way.BOUGHT, shape.solid(), "aluminium", designation, 4.0)


RAIL_PITCH = 25.0


def rail_holes(length: float) -> list[float]:
    """Return where the holes of a rail lie along it, from its middle."""
    count = int((length - 10) // RAIL_PITCH) + 1
    return [(i - (count - 1) / 2) * RAIL_PITCH for i in range(count)]


@cache
def rail(length: float, number: str | None = None) -> Part:
    """Return a profile rail 12 wide and 8 high along x, its base at z = 0, counterbored for M3 every 25 mm."""
    shape = box((-length / 2, length / 2), (-6, 6), (0, 8))
    for x in rail_holes(length):
        shape -= Location((x, 0, 0)) * (cylinder(3.5, 0, 8) + cylinder(6, 3.5, 8))
    designation = f"profile rail 12, {length:g} long"
    grams, price = 0.65 * length, round(3 + 0.03 * length, 1)
    return Part(number or number_of(designation), "rail", Way.BOUGHT, shape.solid(), "steel", designation, price, grams)


@cache
def rail_block() -> Part:
    """Return a short block for the 12 mm rail: z = 0 in the rail's base, top at 13, four M3, 3.5 deep, at 15 x 20."""
    shape = box((-17.35, 17.35), (-13.5, 13.5), (3, 13)) - box((-18, 18), (-6, 6), (3, 8))
    for x in (-7.5, 7.5):
        for y in (-10, 10):
            shape -= Location((x, y, 0)) * cylinder(3, 9.5, 13)
    return _bought("rail block", "block for profile rail 12, short, light preload", shape, 9.0, 34.0)
