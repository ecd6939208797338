"""Requests of a host for scripts that MicroPython runs, packed by the device's own tables; program.avsc's order."""

from codec import pack, put, put_int
from records import NO_CONTACT, PROGRAM, STEP, TRAVEL_LIMIT


def pack_request(buffer, at, branch, values):
    """Write a request to a buffer and return its end; the device itself never packs a program."""
    if branch != PROGRAM:
        return pack(buffer, at, branch, values)
    shaft, stand, steps = values
    at = put_int(buffer, at, branch)
    at = put_int(buffer, at, shaft)
    buffer[at] = 1 if stand else 0
    at = put_int(buffer, at + 1, len(steps))
    for step in steps:
        at = put(buffer, at, STEP, step)
    return put_int(buffer, at, 0)


def cycle(turn, zero, light=94000, full=941000, travel=20000):
    """Return the steps of a measuring cycle on a shaft whose contact is some millimetres below home."""

    def step(phase, press=None, speed=1, until=None, unreached=None, rotate=0, readings=0, is_zero=False, base=None):
        return [phase, press, base, until, unreached, rotate, readings, 5, is_zero, speed, 400]

    return [
        step(10, rotate=turn // 4),
        step(0, readings=zero, is_zero=True),
        step(1, 2600, 6000),
        step(1, travel, 2400, light, NO_CONTACT),
        step(2, rotate=turn),
        step(3, travel, 6000, full, TRAVEL_LIMIT),
        step(4, rotate=turn),
        step(5, -200, 6000, base=3),
        step(5, 0, 2400, base=3),
        step(6, rotate=turn),
        step(7, 0, 12000),
        step(8, readings=zero),
    ]
