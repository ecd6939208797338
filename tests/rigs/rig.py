"""The whole line for tests: the real device code on MicroPython, a pseudo-terminal, and the host's gauge."""

from __future__ import annotations

import os
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

from midspan.link.gauge import Gauge
from midspan.link.serial_port import Link, SerialLink
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import FaultCode, Phase, Step
from perfect import perfect

# Fits the rehearsal's default gauge: 1070 counts per gram, 400 microsteps per mm, 640 per turn of a 6 mm shaft.
STAY = Step(
    phase=Phase.BENCH, press_steps=None, from_step=None, until_count=None, unreached=None, rotate_steps=0, readings=0,
    settle_readings=5, zero=False, press_speed=6000, rotate_speed=640,
)  # fmt: skip
TAKEUP_STEPS = 200


def cycle(
    light_count: int = 94_000, full_count: int = 940_000, clearance_steps: int = 1600, travel_steps: int = 19_000,
    turn_steps: int = 1400, zero_readings: int = 16,
) -> tuple[Step, ...]:  # fmt: skip
    """Return the steps of a cycle."""

    def press(phase: Phase, to: int, **changes: Any) -> Step:
        return replace(STAY, phase=phase, press_steps=to, **changes)

    def turn(phase: Phase, steps: int) -> Step:
        return replace(STAY, phase=phase, rotate_steps=steps)

    zero = replace(STAY, readings=zero_readings)
    return (
        turn(Phase.SEATING, 160),
        replace(zero, phase=Phase.ZERO_BEFORE, zero=True),
        press(Phase.APPROACH, clearance_steps, until_count=light_count),
        press(Phase.APPROACH, travel_steps, until_count=light_count, unreached=FaultCode.NO_CONTACT, press_speed=2400),
        turn(Phase.LIGHT, turn_steps),
        press(Phase.DEEPEN, travel_steps, until_count=full_count, unreached=FaultCode.TRAVEL_LIMIT),
        turn(Phase.FULL, turn_steps),
        press(Phase.RETURN, -TAKEUP_STEPS, from_step=3),
        press(Phase.RETURN, 0, from_step=3),
        turn(Phase.LIGHT_AGAIN, turn_steps // 2),
        press(Phase.LIFT, 0),
        replace(zero, phase=Phase.ZERO_AFTER),
    )


CYCLE = cycle()

Spoil = Callable[[bytes], bytes]


class SpoiltLink:
    """A line that changes the bytes that come over it."""

    def __init__(self, link: Link, spoil: Spoil) -> None:
        self.name = link.name
        self._link, self._spoil = link, spoil

    def read(self) -> bytes:
        return self._spoil(self._link.read())

    def write(self, data: bytes) -> None:
        self._link.write(data)


def damaging(every: int) -> Spoil:
    """Return a function that changes a byte in one frame out of `every` on average.

    The frames are chosen at random: at even distances the answer to a repeated request could be hit every time.
    """
    chance = Random(every)

    def spoil(data: bytes) -> bytes:
        pieces = data.split(b"\0")
        for i, piece in enumerate(pieces):
            if len(piece) > 3 and chance.random() < 1 / every:
                pieces[i] = piece[:2] + bytes([piece[2] ^ 0x80 or 1]) + piece[3:]
        return b"\0".join(pieces)

    return spoil


@contextmanager
def gauge_on(scenario: dict[str, Any], folder: Path, spoil: Spoil | None = None) -> Iterator[Gauge]:
    """Open a gauge on a simulation of this scenario, with the imperfections it asks for, until the block ends."""
    with Rehearsal(perfect(scenario), folder) as rehearsal, SerialLink(rehearsal.port) as link:
        yield Gauge(link if spoil is None else SpoiltLink(link, spoil))


@contextmanager
def bare_line() -> Iterator[tuple[int, str]]:
    """Open a serial line without a device: yield the file descriptor of its far end and the port of its near end."""
    far, near = os.openpty()
    tty.setraw(near)
    try:
        yield far, os.ttyname(near)
    finally:
        os.close(near)
        os.close(far)


def ticking(step_s: float = 0.5) -> Callable[[], float]:
    """Return a clock that advances by a step each time it is read, so that no test waits."""
    now_s = [0.0]

    def clock() -> float:
        now_s[0] += step_s
        return now_s[0]

    return clock
