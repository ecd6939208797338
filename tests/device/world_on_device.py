"""Bench around the simulated chip of tests/device/pio, for a board behind a pty: head, home switch, cell and a hand.

Run by MicroPython before the prompt or before main.py; the hand is moved from the host's side, by code at the prompt.
"""

import json
import os
import sys

sys.path.insert(1, __file__.rsplit("/", 1)[0] + "/pio")

from chip import chip, clock
from nau import Nau

sys.modules["time"] = clock  # the simulated chip's own: nothing here waits

STEP, DIRECTION, HOME, LID, STOP = 2, 3, 7, 15, 26
PINS = {"home": (HOME, 1), "lid": (LID, 1), "stop": (STOP, 1), "left_end": (9, 0), "right_end": (10, 0),
        "above": (11, 0), "hopper": (12, 0), "slot": (13, 0), "chute": (14, 0)}  # fmt: skip
INTERVAL_US = 12315
COUNT_PER_G = 1070
LOOK_US = 100000


class Converter:
    """Converter with words of a cell under a load, with some noise."""

    def __init__(self):
        self.load_g, self.interval_us = 0, INTERVAL_US
        self._seed = 1

    def ready_us(self, since_us):
        return (since_us // self.interval_us + 1) * self.interval_us

    def _noise(self):
        total = 0
        for _ in range(12):
            self._seed = (self._seed * 1103515245 + 12345) & 0x3FFFFFFF
            total += self._seed >> 16 & 0xFF
        return (total - 12 * 128) * 45 // 256

    def word(self, at_us, pulses):
        count = 50000 + COUNT_PER_G * self.load_g + self._noise()
        ones = (1 << pulses - 24) - 1
        return (count & 0xFFFFFF) << pulses - 24 | ones

    def restart(self, now_us):
        pass


class OnBus(Nau):
    """The same cell behind the other converter."""

    def word(self):
        return chip.converter.word(0, 24)


class Bench:
    """Bench whose head follows its motor and closes the switch at home; the hand acts in time."""

    def __init__(self, head):
        self.head = head
        self._counted = self._look_us = 0
        self._plans = []

    def run(self, now_us):
        press = [part for part in chip.parts if getattr(part, "number", None) == 0 and hasattr(part, "pushed")]
        if press:
            press[0].run(now_us)
            made = press[0].pushed - self._counted
            self._counted = press[0].pushed
            self.head += made if chip.read(DIRECTION) else -made
            if not self._plans:
                chip.drive(HOME, 1 if self.head <= 0 else 0)
        while self._plans and self._plans[0][0] <= now_us:
            _, pin, level = self._plans.pop(0)
            chip.drive(pin, level)

        if now_us >= self._look_us:
            self._look_us = now_us + LOOK_US
            self._take_hand()

    def _take_hand(self):
        """Do what the file `hand` in the flash says, such as "lid 1": the way to a bench without a prompt."""
        try:
            with open("hand") as file:
                name, state = file.read().split()
            os.remove("hand")
        except OSError:
            return
        pin, level = PINS[name]
        chip.drive(pin, level if int(state) else 1 - level)

    def touch(self, name, after_ms=500, for_ms=500):
        """Set an input a little later, then release it."""
        pin, level = PINS[name]
        self._plans += [(chip.now_us + 1000 * after_ms, pin, level),
                        (chip.now_us + 1000 * (after_ms + for_ms), pin, 1 - level)]  # fmt: skip


def begin(head=4000):
    """Make the bench with its head a number of steps below home."""
    bench = Bench(head)
    chip.converter = Converter()
    chip.parts.append(bench)
    for pin in (LID, STOP):
        chip.drive(pin, 0)
    chip.drive(HOME, 0)
    return bench


def on_bus():
    """Return True if the board's file, if there is one yet, puts the converter on the bus."""
    if "board.json" not in os.listdir():
        return False
    with open("board.json") as file:
        return json.loads(file.read().split("\n#crc32")[0])["cell"]["kind"] == "nau7802"


bench = begin()
if on_bus():
    chip.bus = OnBus(rate_us=INTERVAL_US)

sys.path[0] = ""  # the flash, not the tests
if "main" in sys.argv:
    import main  # noqa: F401
