"""A rehearsal board: simulated physics in virtual time behind the interface that every board has.

The interface, which a board with real pins has too:

NAME, RUNTIME_NOTE        text for Identify; `boot` is a number that changes at every start
misconfigured             number of the setting at fault in the board's configuration, 0 if it is good; with a fault the
                          board has all of this with nominal values, and moves nothing
INTERVAL_US               nominal time between load-cell samples
COUNT_LIMIT, PRESS_LIMIT  the gauge's own limits: rise of the count, press microsteps below home
PRESS_SPEED_MAX, ROTATE_SPEED_MAX, PRESS_ACCELERATION, ROTATE_ACCELERATION, HOME_SPEED   of the axes, in microsteps
STORE                     bytearray for a shaft's blocks, taken before anything small can split the heap
PLACES, GUARDS            places the chute points to, 0 without feeder; bits 1 lid, 2 emergency stop: inputs it has
ticks_us()                clock in microseconds, 0 to 2^30 - 1, wraps
cell_take(sample)         next load-cell sample into sample[0:5]: tick, 24-bit word, 1 when the bits after it were
                          right, and the counted steps of the rotate and press axes latched at its moment; False if none
press, rotate             the motors, each with
  feed(direction, segments, pairs)
                          start the pairs (period in us, number of steps) in the array `segments` at once, from rest or
                          right after halt; positive is the cycle's turning direction, and down
  halt()                  stop stepping now
  moving(), position()    True if steps are left; steps counted since start
home_closed()             True if the press's home switch is closed
mark_take(mark)           counted rotate steps at the next passage of the index mark into mark[0]; False if none
inputs()                  bits: 1 left end of a shaft on the rollers, 2 right end, 4 a second shaft above it, 8 hopper
                          or 16 slot hold a shaft, 32 something before the chute's sensor, 64 lid open, 128 stop pressed
let_in(source)            begin a stroke of the escapement of the hopper (0) or of the slot (1)
gate(is_open), select(place)   begin to open or shut the gate, to point the chute to a place (from 1)
handling()                True if escapement, gate or selector still move
chute_take()              True once for each shaft that came to the chute's sensor since it was last asked
release_read()            last record of release_write(shaft, place, done, passed), across resets, or None
temperature_centi()       board's thermometer in 0.01 degC, or None
feed_shaft(number)        a shaft is about to be measured (for boards that bring it themselves)
bench_step(number)        a bench step is about to be taken (for boards whose person is simulated)
read_into(buffer)         bytes the host sent, up to len(buffer); returns how many, never waits
write(buffer, start, end) send buffer[start:end]; returns how many bytes were taken, never waits
idle()                    wait for what comes next; False if the loop is to end

All are methods and attributes of what `this_board()` returns.
"""

import gc
import json
import os
import sys
from array import array

from axis import Axis
from gauge import Gauge
from pipe import Pipe
from world import World

TICKS = 0x3FFFFFFF
PATIENCE_US = 1500000  # half of the time of silence
NOISIER = 30.0  # while the scenario says that the cell is noisy
WAITING_SAMPLES = 4  # like the converter's queue on a real board


class Board:
    """The rehearsal board for a scenario (see README.md) and a link.

    The link has read_into, write and `wait(us)`, which waits for a time, less if bytes come, and returns the time that
    passed; `closed` is True if the host has gone for good. The clock jumps from event to event as long as the host was
    heard within PATIENCE_US of virtual time; after that it runs at the pace of `wait`, so that a busy host does not
    count as silent. `first_tick_us` is the clock at the start.
    """

    RUNTIME_NOTE = " (rehearsal)"
    INTERVAL_US = 12500
    COUNT_LIMIT = 1700000  # about 1.6 kg on a 2 kg cell
    PRESS_LIMIT = 20000  # 50 mm
    PRESS_SPEED_MAX = 12000
    ROTATE_SPEED_MAX = 4000
    PRESS_ACCELERATION = 200000
    ROTATE_ACCELERATION = 8000
    HOME_SPEED = 4000

    def __init__(self, scenario: dict, link, boot: int, first_tick_us: int = 0) -> None:
        self.boot = boot
        gc.collect()
        self.STORE = bytearray(49152)
        self.gauge = Gauge(scenario)
        self.world = World(scenario.get("feeder"), [shaft["number"] for shaft in scenario.get("shafts", [])])
        self.NAME, self.PLACES, self.GUARDS = [self.world.keys[key] for key in ("name", "places", "guards")]
        self.misconfigured = self.world.keys["misconfigured"]
        self.now_us = 0
        self._first_tick_us = first_tick_us
        self._link = link
        self._heard_us = 0
        truths = self.gauge.truths
        self.home_broken: "str | None" = truths["home_switch_broken"]
        world = self.world
        self.let_in, self.gate, self.select, self.handling = world.let_in, world.gate, world.select, world.handling
        self.chute_take, self.temperature_centi = world.chute_take, world.temperature_centi
        self.release_read, self.release_write = world.files.release_read, world.files.release_write
        self.press = Axis(int(truths["start_mm"] * truths["press_steps_per_mm"]), self._press_begins)
        self.rotate = Axis(0, lambda: self.now_us)
        self._axes = (self.press, self.rotate)
        self._samples = array("i", [0] * (5 * WAITING_SAMPLES))
        self._waiting = 0
        self._mark = None
        self._fed = False
        self._lost = 0  # steps by which the head is higher than counted
        self._sample_us = self.gauge.interval_us()

    # Clock

    def ticks_us(self) -> int:
        """Return the time of the virtual clock in microseconds."""
        return (self.now_us + self._first_tick_us) & TICKS

    def idle(self) -> bool:
        """Go to the next event: at once, or at the pace of the link."""
        us = self._next_us() - self.now_us
        if self.now_us - self._heard_us > PATIENCE_US:
            us = self._link.wait(us)
        self._advance(self.now_us + us)
        if self._link.closed:
            self.world.note_end(*self.gauge.head())
        return not self._link.closed

    def _next_us(self) -> int:
        next_us = min(self._sample_us, self.world.next_us(), self.now_us + self.INTERVAL_US)
        for axis in self._axes:
            if axis.moving():
                next_us = min(next_us, axis.when(1 << 30))
        press = self.press
        if press.direction() < 0 and press.at > self._lost:
            next_us = min(next_us, press.when(press.at - self._lost))
        return max(next_us, self.now_us)

    def _advance(self, now_us: int) -> None:
        self.now_us = now_us
        for axis in self._axes:
            axis.advance(now_us)
        self.world.advance(now_us)
        if now_us >= self._sample_us:
            self._convert()

    # Load cell and mark

    def cell_take(self, sample) -> bool:
        """Take the oldest waiting sample."""
        if not self._waiting:
            return False
        for i in range(5):
            sample[i] = self._samples[i]
        self._waiting -= 1
        for i in range(5 * self._waiting):
            self._samples[i] = self._samples[i + 5]
        return True

    def _convert(self) -> None:
        press, rotate = self.press.at, self.rotate.at
        self._mark = self.gauge.mark(rotate)
        self.gauge.noisier = NOISIER if "noisy" in self.world.lasting else 1.0
        read = self.gauge.sample(self.now_us, press - self._lost, rotate)
        self._lost += self.gauge.lost_steps()
        if read is not None and "silent" not in self.world.lasting and self._waiting < WAITING_SAMPLES:
            at = 5 * self._waiting
            self._samples[at] = (self._sample_us + self._first_tick_us) & TICKS
            self._samples[at + 1], self._samples[at + 2] = read
            self._samples[at + 3], self._samples[at + 4] = rotate, press
            self._waiting += 1
        self._sample_us += self.gauge.interval_us()

    def mark_take(self, mark) -> bool:
        """Take the mark that passed since the last sample."""
        if self._mark is None:
            return False
        mark[0] = self._mark
        self._mark = None
        return True

    # Axes and shafts

    def _press_begins(self) -> int:
        """Count angles from where the shaft lies when the press first moves."""
        if self._fed:
            self.gauge.set_angle_origin()
            self._fed = False
        return self.now_us

    def home_closed(self) -> bool:
        """Return True if the switch is closed, as at the top; a broken switch or wire gives the same everywhere."""
        lasting = self.world.lasting
        if self.home_broken is not None:
            return self.home_broken == "closed"
        return "home_closed" in lasting or (self.press.at <= self._lost and "home_open" not in lasting)

    def feed_shaft(self, number: int) -> None:
        """Begin on the shaft that the feeder brought, or the scenario's shaft of a number; the converter restarts."""
        if self.PLACES:
            number = self.world.note_measured(number)
        self.gauge.feed(number, self.now_us, self.rotate.at)
        self._fed = True
        self._waiting = 0
        self._sample_us = self.now_us + self.gauge.interval_us()

    def bench_step(self, number: int) -> None:
        """Let the scenario's person put in what this bench step needs."""
        self.gauge.bench(number, self.rotate.at)
        self._fed = False

    def turn_by_hand(self, head_mm: float) -> None:
        """Turn the screw as a person does, its motor without supply, until the head is at a distance below home."""
        self._lost = self.press.at - int(head_mm * self.gauge.truths["press_steps_per_mm"])

    # Feeder, chute and guards

    def inputs(self) -> int:
        """Return the bits listed at the head of this file."""
        return self.world.inputs

    # Line

    def read_into(self, buffer) -> int:
        """Take bytes from the host; return their number."""
        size = self._link.read_into(buffer)
        if size:
            self._heard_us = self.now_us
        return size

    def write(self, buffer, start: int, end: int) -> int:
        """Send bytes to the host; return their number."""
        return self._link.write(buffer, start, end)


def this_board() -> Board:
    """Return the rehearsal board for the scenario named on the command line, on standard input and output."""
    with open(sys.argv[1]) as file:
        scenario = json.load(file)
    return Board(scenario, Pipe(), int.from_bytes(os.urandom(4), "little") & TICKS)
