"""The whole line for tests: the real device code on MicroPython, a pseudo-terminal, and the host's gauge."""

from __future__ import annotations

import os
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any

from midspan.link.gauge import Gauge
from midspan.link.serial_port import Link, SerialLink
from midspan.rehearsal.process import Rehearsal
from midspan.wire.records import CyclePlan

# Fits the rehearsal's default gauge: 1070 counts per gram, 400 microsteps per mm, 640 per turn of a 6 mm shaft.
PLAN = CyclePlan(
    light_count=94_000, full_count=940_000, clearance_steps=1600, travel_steps=19_000, takeup_steps=200,
    seat_steps=160, turn_steps=1400, turn_again_steps=700, zero_readings=16, settle_readings=5,
    press_speed=6400, approach_speed=2400, rotate_speed=640,
)  # fmt: skip

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
    """Open a gauge on a simulation of this scenario until the block ends."""
    with Rehearsal(scenario, folder) as rehearsal, SerialLink(rehearsal.port) as link:
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
