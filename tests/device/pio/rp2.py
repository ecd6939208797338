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
    """Steps of the program `steps`: pairs of words from a queue that its `source`, a DMA channel, keeps full."""

    def __init__(self, number):
        super().__init__(number)
        self.queue, self.source, self.pushed = [], None, 0
        self.rises_us = None  # a list collects the moments of the rising edges
        self.pair, self.due_us, self.filling = None, 0, False

    def exec(self, instruction):
        assert instruction == PULL
        assert not self.on
        self.queue = self.queue[1:]

    def restart(self):
        assert not self.on
        self.pair = None

    def resume(self):
        self.fill()
        if self.on and self.pair is None:
            self._begin(chip.now_us)

    def fill(self):
        while len(self.queue) < QUEUE and self.source is not None and self.source.gives() and not self.filling:
            self.filling = True  # the word that starts the next channel is in the queue before that one's first
            self.queue.append(self.source.give())
            self.filling = False

    def _begin(self, at_us):
        self.pair = None
        if len(self.queue) >= 2:
            steps, low = self.queue[0] + 1, self.queue[1]
            self.queue = self.queue[2:]
            self.pair = [steps, low]
            self.due_us = at_us + 3 + low + 2
            self.fill()

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


class Registers:
    """The last two registers of a channel: its next count, then the read address whose writing starts it."""

    def __init__(self, channel):
        self.channel = channel

    def __getitem__(self, part):
        assert (part.start, part.stop) == (14, 16)
        return self

    def put(self, number, value):
        if number == 0:
            self.channel.total = value
        else:
            self.channel.place = value
            if value:  # zero is a null trigger
                self.channel.start()


class DMA:
    """DMA channel that feeds a state machine, counts the words of a state machine, or starts another channel.

    Arrays lie in `chip.memory` at addresses a page apart, so that a read beyond one of them shows.
    """

    PAGE, MEMORY = 4096, 0x20000000

    def __init__(self):
        self.channel, self.busy = len(chip.channels), False
        chip.channels.append(self)
        self.place = self.total = self.left = self.since = 0
        self.given, self.write = self.pack_ctrl(), None

    @property
    def registers(self):
        return Registers(self)

    def pack_ctrl(self, **given):
        made = {"enable": True, "inc_read": True, "inc_write": True, "treq_sel": 63, "chain_to": self.channel}
        made.update({"ring_size": 0, "ring_sel": False})
        assert set(given) <= set(made)
        made.update(given)
        return made

    def config(self, read=None, write=None, count=None, ctrl=None, trigger=False):
        if read is not None:
            self.read = read
        if write is not None:
            self.write = write
        if count is not None:
            self.total = count
        if ctrl is not None:
            self.given = ctrl
        if trigger:
            self.start()

    def start(self):
        """Begin a sequence, as a trigger does; a channel that is busy or disabled ignores it."""
        given = self.given
        if self.busy or not given["enable"]:
            return
        assert self.total > 0
        self.busy, self.left = True, self.total
        if isinstance(self.write, Registers):
            assert (given["ring_size"], given["ring_sel"], given["treq_sel"], self.total) == (3, True, 63, 2)
            for number in range(self.total):
                self.write.put(number, self.give())
            return
        counts = isinstance(self.place, Steps)
        machine = self.place if counts else self.write
        assert given["treq_sel"] == machine.number // 4 * 8 + machine.number % 4 + (RECEIVE if counts else TRANSMIT)
        assert (given["inc_read"], given["inc_write"]) == (not counts, False)
        if counts:
            self.since = machine.pushed
        else:
            machine.source = self
            if machine.pair is None:
                machine.resume()

    def gives(self):
        """Return True if a word is left and the channel is not paused."""
        return self.busy and self.given["enable"]

    def give(self):
        """Return the next word; the last starts the channel that is chained."""
        offset = self.place - self.MEMORY
        word = chip.memory[offset // self.PAGE][offset % self.PAGE // 4]
        self.place += 4
        self.left -= 1
        if self.left == 0:
            self.busy = False
            if self.given["chain_to"] != self.channel:
                chip.channels[self.given["chain_to"]].start()
        return word

    def active(self, on):
        if on:
            self.start()
            return
        assert not self.given["enable"] or self.given["chain_to"] == self.channel, "E5: disable before stopping"
        self._catch_up()
        self.busy, self.left = False, 0

    def _catch_up(self):
        for part in chip.parts:
            if isinstance(part, Steps):
                part.run(chip.now_us)

    @property
    def ctrl(self):
        return self.given

    @ctrl.setter
    def ctrl(self, given):
        self._catch_up()
        self.given = given
        if isinstance(self.write, Steps):
            self.write.resume()

    @property
    def read(self):
        self._catch_up()
        return self.place

    @read.setter
    def read(self, place):
        self._catch_up()
        if not isinstance(place, (int, Steps)):
            chip.memory.append(place)
            place = self.MEMORY + self.PAGE * (len(chip.memory) - 1)
        self.place = place

    @property
    def count(self):
        self._catch_up()
        if isinstance(self.place, Steps):
            return max(0, self.left - (self.place.pushed - self.since)) if self.busy else 0
        return self.left
