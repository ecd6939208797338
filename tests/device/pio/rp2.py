"""A shadow of the chip's `rp2`: state machines and DMA channels, by what they do to the world. See chip.py.

A state machine here does not run its program; tests/device/test_board_pulses.py compares it with the program, cycle by
cycle.
"""

from assembler import Program
from chip import chip

QUEUE = 4  # words of a PIO queue
PULL = 0x8080
TRANSMIT, RECEIVE = 0, 4


class PIO:
    OUT_LOW = 2
    SHIFT_LEFT = 0


def asm_pio(**given):
    return Program(**given).assemble


class StateMachine:
    """Factory of a Steps or a Words, depending on the pins."""

    def __new__(cls, number, program, freq, sideset_base=None, in_base=None, set_base=None):
        assert freq == 1000000
        assert len(program.words) <= 32
        machine = Steps(number) if sideset_base is not None else Words(number, in_base.number, set_base.number)
        chip.parts.append(machine)
        return machine


class Machine:
    """State machine that can be switched on and off and has queues."""

    def __init__(self, number):
        self.number, self.on, self.handler = number, False, None

    def active(self, on=None):
        if on is not None:
            self.run(chip.now_us)
            self.on = bool(on)
            self.resume()
        return self.on

    def irq(self, handler, hard=False):
        assert hard, "a soft interrupt waits for the interpreter"
        self.handler = handler


class Steps(Machine):
    """Steps of the program `steps`: pairs of words from `waiting`, of which the queue holds the first few."""

    def __init__(self, number):
        super().__init__(number)
        self.waiting, self.fed_by_dma, self.pushed = [], 0, 0
        self.rises_us = None  # a list collects the moments of the rising edges
        self.pair, self.due_us = None, 0

    def supply(self, words):
        self.run(chip.now_us)
        self.waiting += words
        self.resume()

    def cut_supply(self):
        self.run(chip.now_us)
        self.waiting = self.waiting[:QUEUE]

    def tx_fifo(self):
        self.run(chip.now_us)
        return min(len(self.waiting), QUEUE)

    def exec(self, instruction):
        assert instruction == PULL
        assert not self.on
        self.waiting = self.waiting[1:]

    def restart(self):
        assert not self.on
        self.pair = None

    def resume(self):
        if self.on and self.pair is None:
            self._begin(chip.now_us)

    def _begin(self, at_us):
        self.pair = None
        if len(self.waiting) >= 2:
            steps, low = self.waiting[0] + 1, self.waiting[1]
            self.waiting = self.waiting[2:]
            self.pair = [steps, low]
            self.due_us = at_us + 3 + low + 2

    def run(self, now_us):
        while self.on and self.pair is not None and self.due_us <= now_us:
            self.pushed += 1
            if self.rises_us is not None:
                self.rises_us.append(self.due_us)
            self.pair[0] -= 1
            if self.pair[0]:
                self.due_us += self.pair[1] + 5
            else:
                self._begin(self.due_us + 3)


class Words(Machine):
    """Words of the program `words`, one whenever the converter has one. `chip.converter` gives ready_us(since_us),
    when its next word is ready or None, and word(at_us, pulses) with the bits of the pulses after it."""

    def __init__(self, number, data, clock):
        super().__init__(number)
        self.pins = data, clock
        self.queue, self.pulses, self.high, self.next_us = [], 0, False, None

    def put(self, word):
        self.pulses = word + 1

    def exec(self, instruction):
        if instruction == "set(pins, 1)":
            self.high_since_us = chip.now_us
        else:
            assert instruction == "set(pins, 0)"
            if chip.now_us - self.high_since_us > 60 and chip.converter is not None:
                chip.converter.restart(chip.now_us)

    def restart(self):
        self.pulses = 0

    def rx_fifo(self):
        return len(self.queue)

    def get(self):
        assert self.queue, "get of an empty queue waits for ever"
        return self.queue.pop(0)

    def resume(self):
        self.next_us = chip.converter.ready_us(chip.now_us) if chip.converter is not None else None

    def run(self, now_us):
        while self.on and self.pulses and self.next_us is not None and self.next_us <= now_us:
            at_us = self.next_us
            if len(self.queue) < QUEUE:
                self.queue.append(chip.converter.word(at_us, self.pulses))
            self.next_us = chip.converter.ready_us(at_us + 1200)
            if self.handler is not None:
                self.handler(self)


class DMA:
    """DMA channel that feeds a state machine from an array, or counts the words of a state machine."""

    def __init__(self):
        self.total = self.since = 0
        self.machine, self.counts, self.closed = None, False, True

    def pack_ctrl(self, **given):
        return given

    def config(self, read, write, count, ctrl, trigger):
        assert trigger
        assert ctrl["inc_write"] is False
        self.counts = isinstance(read, Machine)
        self.machine = read if self.counts else write
        queue = RECEIVE if self.counts else TRANSMIT
        assert ctrl["treq_sel"] == self.machine.number // 4 * 8 + self.machine.number % 4 + queue
        assert ctrl.get("inc_read", True) is not self.counts
        if self.counts:
            assert len(write) >= 1
            self.total, self.since, self.closed = count, self.machine.pushed, False
        else:
            self.machine.supply([read[i] for i in range(count)])

    def active(self, on):
        assert not on
        self.closed = True  # some chips clear the count then
        if not self.counts and self.machine is not None:
            self.machine.cut_supply()

    @property
    def count(self):
        if self.closed:
            return 0
        self.machine.run(chip.now_us)
        return max(0, self.total - (self.machine.pushed - self.since))
