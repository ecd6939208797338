"""The simulated board and its parts for a test, without the device code that runs on them."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

import pytest
from perfect import perfect
from places import ROOT

DEVICE = ROOT / "device"
for _folder in (DEVICE, DEVICE / "rehearsal"):  # the rehearsal's board comes before any other
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

import beam  # noqa: E402, F401  tests take these modules from here, where the path is set
import board  # noqa: E402
import mechanics  # noqa: E402, F401
import rotor  # noqa: E402, F401
import shaft as shafts  # noqa: E402, F401
import supports  # noqa: E402, F401
import truths  # noqa: E402, F401
import word_filter  # noqa: E402, F401
import world  # noqa: E402, F401

MICROPYTHON = shutil.which("micropython", path=str(Path(sys.executable).parent))
needs_micropython = pytest.mark.skipif(MICROPYTHON is None, reason="no MicroPython wheel for this platform")


class FakeLink:
    """A line in memory; `taken` limits how many bytes a write may take, and waiting passes virtual time only."""

    def __init__(self) -> None:
        self.closed = False
        self.to_device = bytearray()
        self.from_device = bytearray()
        self.taken = 1 << 20

    def wait(self, us: int) -> int:
        return us

    def read_into(self, buffer: bytearray) -> int:
        size = min(len(buffer), len(self.to_device))
        buffer[:size] = self.to_device[:size]
        del self.to_device[:size]
        return size

    def write(self, buffer: bytearray, start: int, end: int) -> int:
        size = min(self.taken, end - start)
        self.from_device += buffer[start : start + size]
        return size


class Step:
    """Step of a program, of which the board looks at the tag only."""

    def __init__(self, phase: int) -> None:
        self.phase = phase


def board_of(scenario: dict[str, Any], shaft: int = 1) -> board.Board:
    """Return a board with a shaft put in, without device code; it has the imperfections that the scenario asks for."""
    at_home = {"start_mm": 0.0} | scenario.get("gauge", {})
    made = board.Board(perfect(scenario | {"gauge": at_home}), FakeLink(), 7)
    made.program_begins(shaft, [Step(2)])
    return made


def move(axis: Any, steps: int, period_us: int) -> None:
    """Begin a move at constant speed, without ramps; -steps the other way."""
    axis.play(-1 if steps < 0 else 1, [period_us, abs(steps)], 1, [], 0)


def samples(made: board.Board, seconds: float) -> list[tuple[int, ...]]:
    """Let time pass; return tick, word, in step, rotate and press of every sample."""
    taken, row = [], [0] * 5
    until_us = made.now_us + int(1e6 * seconds)
    while made.now_us < until_us:
        made.idle()
        while made.cell_take(row):
            taken.append(tuple(row))
    return taken
