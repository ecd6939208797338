"""Simulated chip behind the shadows of `machine` and `rp2`: its clock, and what happens as time passes.

The shadows behave as the stock firmware does according to its sources and data sheets, and are never written from the
drivers. All of it runs under both Pythons.
"""

import sys

TICKS = 0x3FFFFFFF
LOOK_US = 50  # each look at the clock takes so long, so that a loop that waits for the clock ends


def _nothing():
    return 0


class Chip:
    """Time, and the parts that do something as it passes; `parts` have run(now_us)."""

    def __init__(self):
        self.reset()

    def reset(self):
        self.now_us = 0
        self.parts = []
        self.channels, self.memory = [], []  # of DMA
        self.levels = {}  # what the outside world drives, by pin
        self.pins = {}
        self.converter = None
        self.bus = None
        self.slept_ms = 0
        self.look_us, self.slice_us = LOOK_US, LOOK_US
        self.meter, self.spent = _nothing, 0  # bytes or time, of which the world's own share is `spent`
        self.in_interrupt = False

    def pass_us(self, us):
        """Let time pass in slices, so that interrupts come nearly in time; during an interrupt it stands still."""
        if self.in_interrupt:
            return
        self.in_interrupt = True
        before = self.meter()
        until_us = self.now_us + us
        while self.now_us < until_us:
            self.now_us = min(until_us, self.now_us + self.slice_us)
            for part in self.parts:
                part.run(self.now_us)
        self.spent += self.meter() - before
        self.in_interrupt = False

    def drive(self, number, level):
        """Set a pin from the outside."""
        before = self.read(number)
        self.levels[number] = level
        pin = self.pins.get(number)
        if pin is not None and pin.handler is not None and before != level:
            wanted = pin.IRQ_RISING if level else pin.IRQ_FALLING
            if pin.trigger & wanted:
                pin.handler(pin)

    def read(self, number):
        if number in self.levels:
            return self.levels[number]
        pin = self.pins.get(number)
        if pin is None:
            return 0
        return pin.level if pin.mode == pin.OUT else 1 if pin.pull == pin.PULL_UP else 0


class Clock:
    """The `time` module as the chip has it."""

    def ticks_us(self):
        chip.pass_us(chip.look_us)
        return chip.now_us & TICKS

    def sleep_us(self, us):
        chip.pass_us(us)

    def sleep_ms(self, ms):
        chip.slept_ms += ms
        chip.pass_us(1000 * ms)


chip = Chip()
clock = Clock()
sys.modules["time"] = clock  # for parts that the board loads by need
