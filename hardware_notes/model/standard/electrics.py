"""Servo, switches and sensors by their outer form, from memory: measure yours before you print what holds them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from build123d import Location

from model.piece import Part, Way
from model.standard.numbers import number_of
from model.standard.shapes import box, cylinder


def _bought(name: str, designation: str, shape: object, price_eur: float, grams: float) -> Part:
    """Return a bought electrical part with the number of its designation."""
    solid = shape.solid()  # type: ignore[attr-defined]
    return Part(number_of(designation), name, Way.BOUGHT, solid, "PETG", designation, price_eur, grams)


SERVO_HOLES = [(x, y) for x in (-14.75, 34.75) for y in (-5.0, 5.0)]


@cache
def servo() -> Part:
    """Return a servo of 40 x 20 mm: z = 0 in the lower face of its ears, its shaft along z over the origin.

    The body reaches from -10 to 30 along x and from -28 to 10 along z; the shaft, 6 mm, to 14; `SERVO_HOLES` has its
    holes of 4.5 mm.
    """
    shape = box((-10, 30), (-10, 10), (-28, 10)) + box((-17.25, 37.25), (-9, 9), (0, 2.5)) + cylinder(6, 10, 14)
    for x, y in SERVO_HOLES:
        shape -= Location((x, y, 0)) * cylinder(4.5, 0, 2.5)
    return _bought("servo", "RC servo 40 x 20 mm, metal gears, 1 Nm at 5 V", shape, 9.0, 55.0)


@cache
def servo_horn() -> Part:
    """Return a round horn, 25 x 4 from z = 0 up, its toothed bore drawn round; four M3 on a circle of 20."""
    shape = cylinder(25, 0, 4) - cylinder(6, 0, 4)
    for x, y in ((10, 0), (-10, 0), (0, 10), (0, -10)):
        shape -= Location((x, y, 0)) * cylinder(3, 0, 4)
    horn = _bought("servo horn", "servo horn, round, 25 mm, four M3 on 20 mm, aluminium", shape, 2.0, 5.0)
    return replace(horn, material="aluminium")


@cache
def light_source() -> Part:
    """Return an infrared light-emitting diode of 3 mm: its flange at z = 0, its round end at z = 5.3."""
    shape = cylinder(3.8, -1, 0) + cylinder(3, 0, 5.3)
    return _bought("infrared source", "infrared light-emitting diode, 3 mm", shape, 0.3, 0.2)


@cache
def light_sensor() -> Part:
    """Return a phototransistor of 3 mm with daylight filter, shaped as the source."""
    shape = cylinder(3.8, -1, 0) + cylinder(3, 0, 5.3)
    return _bought("phototransistor", "phototransistor, 3 mm, daylight filter", shape, 0.4, 0.2)


SWITCH_HOLES = [(-4.75, 0.0), (4.75, 0.0)]


@cache
def microswitch() -> Part:
    """Return a microswitch 20 x 10 x 6.4 from z = 0 up, between its two holes of 2.5 mm, lever with roller towards +y.

    The body reaches from -2.9 to 7.1 along y, the roller, 4.8 mm, to 13 at x = 8 when it is free; it presses at 9.8.
    """
    shape = box((-10, 10), (-2.9, 7.1), (0, 6.4)) + box((-8, 9), (7.1, 8.6), (1.6, 4.8))
    shape += Location((8, 10.6, 0)) * cylinder(4.8, 1.6, 4.8)
    for x in (-8, 0, 8):
        shape += box((x - 0.25, x + 0.25), (-6.5, -2.9), (1.6, 4.8))
    for x, y in SWITCH_HOLES:
        shape -= Location((x, y, 0)) * cylinder(2.5, 0, 6.4)
    return _bought("microswitch", "microswitch 20 x 10 x 6.4, roller lever, changeover", shape, 1.0, 2.0)


BARRIER_HOLES = [(-9.5, 0.0), (9.5, 0.0)]


@cache
def light_barrier() -> Part:
    """Return a forked light barrier, 25 x 12 at z = 0 and 15 high, its slot of 6 mm along y, two holes of 3.2 mm."""
    shape = box((-12.5, 12.5), (-6, 6), (0, 3))
    for low, high in ((-6.5, -3), (3, 6.5)):
        shape += box((low, high), (-3.2, 3.2), (3, 15))
    for x, y in BARRIER_HOLES:
        shape -= Location((x, y, 0)) * cylinder(3.2, 0, 3)
    return _bought("light barrier", "forked light barrier, slot 6, with transistor output", shape, 1.5, 3.0)
