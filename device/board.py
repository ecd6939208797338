"""The board with real pins: the only module of the core that imports `machine` and `rp2`.

The head of rehearsal/board.py lists what a board offers, board.json assigns the pins. If it is wrong, the
board of parts/bare.py says so over the line and moves nothing.

    board = this_board()
    while board.idle(): print(board.inputs(), board.press.position())
"""

import gc
import os
import sys
import time

import pulses
import rp2
from hx711 import Hx711
from inputs import LID, STOP, Inputs, wired
from latch import Latch
from line import Line
from load_cell import elapsed_us
from machine import ADC, WDT, Pin
from micropython import const, kbd_intr
from motor import Motor
from settings import SERVICE, ConfigurationError, load
from stepper import SPEED_MAX

SETTINGS = "board.json"
_PIO_HZ = const(1000000)
_REST_US = const(10000000)  # at rest, garbage is collected this often, and a converter silent for so long is restarted
_LOOP_MS = const(10)  # longest turn of the loop while the press moves


def _motor(number: int, given: dict, program) -> Motor:
    steps = rp2.StateMachine(number, program, freq=_PIO_HZ, sideset_base=Pin(given["step"]))
    towards = Pin(given["direction"], Pin.OUT)
    return Motor(steps, number, towards, given["forward"], rp2.DMA(), rp2.DMA(), rp2.DMA())


def _cell(given: dict, latch: Latch):
    if given["kind"] == "nau7802":
        from parts.nau7802 import on_bus

        return on_bus(given, latch, time)
    program = rp2.asm_pio(set_init=rp2.PIO.OUT_LOW, in_shiftdir=rp2.PIO.SHIFT_LEFT)(pulses.words)
    data, clock = Pin(given["data"], Pin.IN, Pin.PULL_UP), Pin(given["clock"])
    reader = rp2.StateMachine(2, program, freq=_PIO_HZ, in_base=data, set_base=clock)  # 0 and 1 are the motors'
    return Hx711(reader, given["pulses"], latch, time)


def _line(given: dict) -> Line:
    if given["line"] != "usb":
        from parts.lines import other_line

        return other_line(given)
    kbd_intr(-1)  # 0x03 is a byte like any other
    return Line(sys.stdin.buffer, sys.stdout.buffer)


def _nothing():
    """Return a function in place of what this board does not have."""
    return lambda *_: 0


def down_mm_s(limits: dict, interval_us: int, spanned: int) -> int:
    """Return the highest speed downwards at which the cell bears a rigid thing under the head, in mm/s.

    The head goes on until filter, next word and loop have noticed the force, and then brakes. SPEC.md has the formula,
    and the host computes the same, in micrometres, which keep it in small integers.
    """
    late_ms = (interval_us * (4 + spanned) // 2 + 999) // 1000 + _LOOP_MS
    bears_um = (limits["bears_count"] - limits["count"]) // ((limits["count_per_mm"] + 999) // 1000)
    mm_s = limits["press_mm_s"]
    while mm_s > 0 and mm_s * late_ms + 500 * mm_s * mm_s // limits["press_mm_s2"] >= bears_um:
        mm_s -= 1
    if mm_s <= 0:
        raise ConfigurationError("the cell bears no press: see limits.bears_count")
    return mm_s


class Board:
    """The real board; rehearsal/board.py describes each attribute and method."""

    RUNTIME_NOTE = ""
    misconfigured = 0
    feeder = free_bytes = sensor = None

    def __init__(self, line: Line, given: dict) -> None:
        self.boot = int.from_bytes(os.urandom(4), "little") & 0x3FFFFFFF
        self.read_into, self.write = line.read_into, line.write
        self.mark_take = self.install_parts = self._feed_watchdog = _nothing()
        self._collected_us = 0
        self._heard = True  # a word of the converter since the last look at rest
        self._take_limits(given)
        self._take_pins(given)

    def _take_limits(self, given: dict) -> None:
        gear, limits, cell = given["gear"], given["limits"], given["cell"]
        per_mm, per_turn = gear["press_steps_per_mm"], gear["rotate_steps_per_turn"]
        self.NAME, self.INTERVAL_US, self.READINGS = given["name"], 1000000 // cell["rate"], limits["readings"]
        self.COUNT_LIMIT, self.PRESS_LIMIT = limits["count"], limits["press_mm"] * per_mm
        self.PRESS_SPEED_MAX = min(SPEED_MAX, limits["press_mm_s"] * per_mm)
        self.DOWN_SPEED_MAX = min(SPEED_MAX, down_mm_s(limits, self.INTERVAL_US, cell["filter"]) * per_mm)
        self.HOME_SPEED = min(SPEED_MAX, limits["home_mm_s"] * per_mm)
        self.ROTATE_SPEED_MAX = min(SPEED_MAX, limits["rotate_rpm"] * per_turn // 60)
        self.PRESS_ACCELERATION = limits["press_mm_s2"] * per_mm
        self.ROTATE_ACCELERATION = limits["rotate_rpm_s"] * per_turn // 60

    def _take_pins(self, given: dict) -> None:
        steps = rp2.asm_pio(sideset_init=rp2.PIO.OUT_LOW)(pulses.steps)
        self.press, self.rotate = _motor(0, given["press"], steps), _motor(1, given["rotate"], steps)
        if given["enable"] is not None:
            Pin(given["enable"][0], Pin.OUT, value=given["enable"][1])
        pins = wired(Pin, given["inputs"], (("lid", LID), ("stop", STOP)))
        self.GUARDS = sum([bit for bit, _, _ in pins]) // LID
        _, self._home, self._home_level = wired(Pin, given, (("home", 0),))[0]
        if given["mark"] is not None:
            from parts.mark import on_pin

            self.mark_take = on_pin(given["mark"], time, self.rotate).take
        parts = given["parts"]
        if parts.get("feeder") is not None:
            from parts.servos import Servos

            self.feeder = Servos(parts["feeder"], time, self.rotate)
            self.install_parts = self.feeder.install
            pins += self.feeder.pins
        if parts.get("thermometer") is not None:
            from parts.thermometer import Thermometer

            self.sensor = Thermometer(ADC(parts["thermometer"]["pin"]), parts["thermometer"])
        self._inputs = Inputs(pins)
        self._cell = _cell(given["cell"], Latch(time, self.rotate, self.press))
        self._cell.start()
        for _ in range(2):  # the pull-ups have lifted their wires by now; the first motion must know the guards
            self._inputs.look()
        if given["watchdog_ms"]:
            self._feed_watchdog = WDT(timeout=given["watchdog_ms"]).feed

    def ticks_us(self):
        """Return the time of the chip's own clock in microseconds; it wraps at 2^30."""
        return time.ticks_us()

    def idle(self) -> bool:
        """Look at the switches and feed the watchdog; nothing else feeds it, so a loop that hangs is restarted."""
        self._inputs.look()
        handling = self.feeder is not None and self.feeder.handling()
        self._feed_watchdog()
        moving = handling or self.press.moving() or self.rotate.moving()
        if not moving and elapsed_us(self.ticks_us(), self._collected_us) > _REST_US:
            if not self._heard:
                self._cell.start()
            self._heard = False
            self.program_begins(0, ())  # so that no motion begins with a full heap
        return True

    def program_begins(self, _number: int, _steps) -> None:
        """Collect garbage now, while nothing moves, and note how much memory is free."""
        gc.collect()
        self._collected_us = self.ticks_us()
        free = gc.mem_free()
        self.free_bytes = free if self.free_bytes is None else min(free, self.free_bytes)

    def inputs(self) -> int:
        """Return the bits of the switches and sensors."""
        return self._inputs.bits

    def home_closed(self) -> bool:
        """Return True if the home switch is closed."""
        return self._home.value() == self._home_level

    def cell_take(self, sample) -> bool:
        """Take the next sample; the interrupt noted its time and the positions."""
        taken = self._cell.take(sample)
        self._heard = self._heard or taken
        return taken

    def temperature_centi(self) -> "int | None":
        """Return the chip's temperature, 0.01 degC, some degrees above the room's (data sheet: 0.706 V at 27 degC)."""
        microvolts = (ADC(ADC.CORE_TEMP).read_u16() >> 4) * 806  # 3.3 V in 4096 parts
        centi = 2700 - (microvolts - 706000) * 100 // 1721
        return centi if -4000 <= centi <= 12500 else None  # beyond, no chip would run: its converter is broken


def service_wanted() -> bool:
    """Return True if a jumper holds the service pin at ground: then boot.py keeps main.py from starting."""
    pin = Pin(SERVICE, Pin.IN, Pin.PULL_UP)
    time.sleep_ms(1)  # for the pull-up to lift the wire
    return pin.value() == 0


def this_board():
    """Return the board that the settings describe; if they cannot be used, one that only says what is wrong."""
    try:
        given = load(SETTINGS)
        return Board(_line(given), given)
    except Exception as error:  # noqa: BLE001  a key that is missing, a pin that the chip refuses, no room in the heap
        gc.collect()  # in case the heap was full
        from parts.bare import Bare

        return Bare(_line({"line": "usb"}), error)
