"""A rehearsal board: simulated physics in virtual time behind the interface that every board has.

The interface, which a board with real pins has too:

NAME, RUNTIME_NOTE        text for Identify; `boot` is a number that changes at every start
misconfigured             number of the setting at fault in the board's configuration, 0 if it is good; with a fault the
                          board has all of this with nominal values, and moves nothing
INTERVAL_US               nominal time between load-cell samples
COUNT_LIMIT, PRESS_LIMIT  the gauge's own limits: rise of the count, press microsteps below home
PRESS_SPEED_MAX, DOWN_SPEED_MAX   highest speed of the press, and on its way down, where the force sets it (SPEC.md)
ROTATE_SPEED_MAX, PRESS_ACCELERATION, ROTATE_ACCELERATION, HOME_SPEED   of the axes, in microsteps
READINGS                  number of readings to hold
GUARDS                    bits 1 lid, 2 emergency stop: safety inputs it has
free_bytes                least memory that a collection left free since the start; None if the board cannot tell
feeder                    None, or an object with
  places                  number of places the chute points to
  let_in(source)          begin a stroke of the escapement of the hopper (0) or of the slot (1)
  gate(is_open), select(place)   begin to open or shut the gate, to point the chute to a place (from 1)
  handling()              True if escapement, gate or selector still move
  chute_take()            True once for each shaft that came to the chute's sensor since it was last asked
  release_read()          last record of release_write(shaft, place, done, passed), across resets, or None
install_parts(gauge, answers)   let the optional parts that the board has, such as the feeder's, join the core
ticks_us()                clock in microseconds, 0 to 2^30 - 1, wraps
cell_take(sample)         next load-cell sample into sample[0:5]: tick, 24-bit word, 1 when the bits after it were
                          right, and the counted steps of the rotate and press axes latched at its moment, the end of
                          the conversion; False if none
press, rotate             the motors, each with
  play(direction, piece, pieces, ramp, ramps)
                          play the pairs (period in us, number of steps) in the array `piece`, then those in `ramp`, of
                          which `pieces` and `ramps` count; positive is the turning direction, and down. From rest at
                          once, a ramp alone too; while it moves, in place of the ramp that waits: False, and no
                          change, if that has begun
  due()                   True if the next piece should come: the last one is played or about to be and
                          not nearly over, or it stands
  halt()                  stop stepping now
  moving(), position()    True if steps are left; steps counted since start
home_closed()             True if the press's home switch is closed
mark_take(mark)           counted rotate steps at the next passage of the index mark into mark[0]; False if none
inputs()                  bits: 1 left end of a shaft on the rollers, 2 right end, 4 a second shaft above it, 8 hopper
                          or 16 slot hold a shaft, 32 something before the chute's sensor, 64 lid open, 128 stop pressed
temperature_centi()       thermometer of the board's chip in 0.01 degC, or None
sensor                    None, or the sensor of temperature by the shaft, an object with
  centi()                 temperature in 0.01 degC, None if the sensor is broken
program_begins(number, steps)   a program is about to run and nothing moves: collect garbage, or put in what it needs
read_into(buffer)         bytes the host sent, up to len(buffer); returns how many, never waits
write(buffer, start, end) send buffer[start:end]; returns how many bytes were taken, never waits
idle()                    wait for what comes next; False if the loop is to end

All are methods and attributes of what `this_board()` returns.
"""

import gc
import json
import math
import os
import sys
from array import array

from axis import Axis
from mechanics import Mechanics
from pipe import Pipe
from rotor import Rotor
from world import World

TICKS = 0x3FFFFFFF
PATIENCE_US = 1500000  # half of the time of silence
NOISIER = 30.0  # while the scenario says that the cell is noisy
WAITING_SAMPLES = 4  # like the converter's queue on a real board
BENCH = 9  # tag of the first step of a program that calibrates, in protocol/phase.avsc
STEPS_PER_MM = 400
# Limits of a 2 kg cell with an overload stop, as in device/board.json.
BEARS_COUNT, COUNT_PER_MM, FILTER, LOOP_S = 15000000, 11000000, 4, 0.010


def _down_speed(count: int, interval_s: float, acceleration: float) -> int:
    """Return the highest press speed down, microsteps/s, from which a rigid thing cannot overload the cell.

    From `count` on, the head goes on for the time that a reading takes to show it, v t, and brakes, v^2 / 2a. Both
    together may be as long as the cell bears it, s = (bears - count) / count per mm: v = sqrt((a t)^2 + 2 a s) - a t.
    """
    delay = acceleration * (interval_s * (2 + FILTER / 2) + LOOP_S)
    way = STEPS_PER_MM * (BEARS_COUNT - count) / COUNT_PER_MM
    return int(math.sqrt(delay * delay + 2 * acceleration * way) - delay)


class Board:
    """The rehearsal board for a scenario (see README.md) and a link.

    The link has read_into, write and `wait(us)`, which waits for a time, less if bytes come, and returns the time that
    passed; `closed` is True if the host has gone for good. The clock jumps from event to event as long as the host was
    heard within PATIENCE_US of virtual time; after that it runs at the pace of `wait`, so that a busy host does not
    count as silent. `first_tick_us` is the clock at the start. After a reset, `before` is the board until then: head,
    shaft and world stay as they were.
    """

    RUNTIME_NOTE = " (rehearsal)"
    INTERVAL_US = 12500
    COUNT_LIMIT = 1700000  # about 1.6 kg on a 2 kg cell
    PRESS_LIMIT = 20000  # 50 mm
    PRESS_SPEED_MAX = 12000
    ROTATE_SPEED_MAX = 4000
    PRESS_ACCELERATION = 200000
    ROTATE_ACCELERATION = 24000
    DOWN_SPEED_MAX = _down_speed(COUNT_LIMIT, INTERVAL_US / 1e6, PRESS_ACCELERATION)
    HOME_SPEED = 4000
    READINGS = 2400

    def __init__(self, scenario: dict, link, boot: int, first_tick_us: int = 0, before=None) -> None:
        self.boot = boot
        gc.collect()
        if before is None:
            self.mechanics = Mechanics(scenario)
            numbers = [shaft["number"] for shaft in scenario.get("shafts", [])]
            self.world = World(scenario.get("feeder"), numbers, self.mechanics.truths["temperature_c"])
            self.now_us = 0
        else:
            self.mechanics, self.world, self.now_us = before.mechanics, before.world, before.now_us
            self.mechanics.restart()
        world, truths = self.world, self.mechanics.truths
        self.NAME, self.GUARDS, self.misconfigured = [world.keys[key] for key in ("name", "guards", "misconfigured")]
        self.feeder = world if world.places else None
        self.temperature_centi = world.temperature_centi
        self.sensor = None if world.keys["shaft_centi"] is None else world
        self._first_tick_us = first_tick_us - self.now_us
        self.link = link
        self._heard_us = self.now_us
        self.free_bytes: "int | None" = truths["free_bytes"]
        self.home_broken: "str | None" = truths["home_switch_broken"]
        start = int(truths["start_mm"] * truths["press_steps_per_mm"]) if before is None else before.press.steps()
        self.press = Rotor(start, lambda: self.now_us, truths["pull_in_steps_s"])
        self.rotate = Axis(0 if before is None else before.rotate.at, lambda: self.now_us)
        self._axes = (self.press, self.rotate)
        self._samples = array("i", [0] * (5 * WAITING_SAMPLES))
        self._waiting = 0
        self._fed = False
        self._begun_us = self._sample_us = self._instant_us = 0
        self._begin_conversion()

    # Clock

    def ticks_us(self) -> int:
        """Return the time of the virtual clock in microseconds."""
        return (self.now_us + self._first_tick_us) & TICKS

    def idle(self) -> bool:
        """Go to the next event: at once, or at the pace of the link."""
        us = self._next_us() - self.now_us
        if self.now_us - self._heard_us > PATIENCE_US:
            us = self.link.wait(us)
        self._advance(self.now_us + us)
        hang_us = int(1e6 * self.mechanics.hang_s) or self.world.hang_us
        if hang_us:
            self._hang(hang_us)
        if self.link.closed:
            self.world.note_end(*self.mechanics.head())
        return not self.link.closed

    def _hang(self, us: int) -> None:
        """Let time pass without the loop; what was ordered goes on by itself until the watchdog ends it."""
        self.mechanics.hang_s = self.world.hang_us = 0
        watchdog_us = 1000 * self.mechanics.truths["watchdog_ms"]
        until_us = self.now_us + min(us, watchdog_us)
        while self.now_us < until_us:
            self._advance(min(self._next_us(), until_us))
        if us > watchdog_us:
            self.press.halt()
            self.rotate.halt()
            self.world.reset()

    def _next_us(self) -> int:
        next_us = min(self._sample_us, self.world.next_us(), self.now_us + self.INTERVAL_US)
        for axis in self._axes:
            if axis.moving():
                next_us = min(next_us, axis.when(1 << 30))
        press = self.press
        if press.direction() < 0 and press.steps() > 0:
            next_us = min(next_us, press.when(press.steps()))
        return max(next_us, self.now_us)

    def _advance(self, now_us: int) -> None:
        if self._fed and self.press.moving():  # angles count from where the shaft lies when the press first moves
            self.mechanics.set_angle_origin()
            self._fed = False
        while self._instant_us <= now_us:
            self._move()
        self.now_us = now_us
        for axis in self._axes:
            axis.advance(now_us)
        self.world.advance(now_us)
        if now_us >= self._sample_us:
            self._convert()

    def _move(self) -> None:
        """Let the mechanics see the next instant of the conversion."""
        for axis in self._axes:
            axis.advance(self._instant_us)
        self.mechanics.move(self._instant_us, self.press.steps(), self.rotate.at)
        self._instant += 1
        self._instant_us = self._instant_time()

    def _instant_time(self) -> int:
        instants = self.mechanics.instants
        if self._instant >= len(instants):
            return self._sample_us + TICKS  # none before the next conversion
        return self._begun_us + int(instants[self._instant] * (self._sample_us - self._begun_us))

    def _begin_conversion(self) -> None:
        self._begun_us = self.now_us
        self._sample_us = self._begun_us + self.mechanics.interval_us()
        self._instant = 0
        self._instant_us = self._instant_time()

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
        mechanics = self.mechanics
        mechanics.noisier = NOISIER if "noisy" in self.world.lasting else 1.0
        read = mechanics.sample()
        self.press.lost += mechanics.lost_steps()
        if read is not None and "silent" not in self.world.lasting and self._waiting < WAITING_SAMPLES:
            at = 5 * self._waiting
            self._samples[at] = (self._sample_us + self._first_tick_us) & TICKS
            self._samples[at + 1], self._samples[at + 2] = read
            self._samples[at + 3], self._samples[at + 4] = self.rotate.at, self.press.at
            self._waiting += 1
        self._begin_conversion()

    def mark_take(self, mark) -> bool:
        """Take the mark that passed since the last sample."""
        if self.mechanics.marked is None:
            return False
        mark[0] = self.mechanics.marked
        self.mechanics.marked = None
        return True

    # Axes and shafts

    def home_closed(self) -> bool:
        """Return True if the switch is closed, as at the top; a broken switch or wire gives the same everywhere."""
        lasting = self.world.lasting
        if self.home_broken is not None:
            return self.home_broken == "closed"
        return "home_closed" in lasting or (self.press.steps() <= 0 and "home_open" not in lasting)

    def program_begins(self, number: int, steps) -> None:
        """Let the scenario's person put in what a program needs; with the head down, only what is there can stay.

        A first step with the tag BENCH is a calibration's. Else it is the shaft that the feeder brought, or the
        scenario's of this number; the converter begins anew with it, so that its counts do not depend on what was.
        """
        self.mechanics.warm_to(self.world.room_c())
        if steps[0].phase == BENCH:
            self.mechanics.bench(number, self.rotate.at)
            self._fed = False
        elif self.home_closed() or self.press.steps() <= 0:
            self._put_in(self.world.note_measured(number) if self.feeder else self.world.laid_in(number))

    def _put_in(self, number: int) -> None:
        self.mechanics.feed(number, self.now_us, self.rotate.at)
        self._fed = True
        self._waiting = 0
        self._begin_conversion()

    def turn_by_hand(self, head_mm: float) -> None:
        """Turn the screw as a person does, its motor without supply, until the head is at a distance below home."""
        self.press.lost = self.press.at - int(head_mm * self.mechanics.truths["press_steps_per_mm"])

    # Parts

    def install_parts(self, gauge, answers) -> None:
        """Let the feeder's part join the core if the scenario has a feeder."""
        if self.feeder is not None:
            import parts.feeder

            parts.feeder.install(self.feeder, gauge, answers)

    def inputs(self) -> int:
        """Return the bits listed at the head of this file."""
        return self.world.inputs

    # Line

    def read_into(self, buffer) -> int:
        """Take bytes from the host; return their number."""
        size = self.link.read_into(buffer)
        if size:
            self._heard_us = self.now_us
        return size

    def write(self, buffer, start: int, end: int) -> int:
        """Send bytes to the host; return their number."""
        return self.link.write(buffer, start, end)


_boards: "list[Board]" = []  # the last one of this process


def this_board() -> Board:
    """Return the rehearsal board for the scenario named on the command line.

    After a reset it goes on from where the last board was, on the same line.
    """
    with open(sys.argv[1]) as file:
        scenario = json.load(file)
    before = _boards.pop() if _boards else None
    link = _line() if before is None else before.link
    _boards.append(Board(scenario, link, int.from_bytes(os.urandom(4), "little") & TICKS, 0, before))
    return _boards[0]


def _line():
    """Return the line to the host: standard input and output, or the socket whose port the command line names.

    The word that the socket's host wants to hear comes as a line on standard input, where no other program sees it.
    """
    if len(sys.argv) < 3:
        return Pipe()
    from loopback import Loopback

    return Loopback(int(sys.argv[2]), sys.stdin.readline().strip())
