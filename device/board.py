"""The board with real pins: the only module that imports `machine` and `rp2`.

The head of rehearsal/board.py lists what a board offers, board.json assigns the pins. A board whose file is wrong
touches no pin and reports it over the line.
"""

import gc
import micropython
import os
import sys
import time

import machine
import rp2

import last_release
import pulses
from feeder import GUARDS
from handling import Inputs, Passages, Servos
from hx711 import Hx711
from latch import Latch
from line import Line
from load_cell import elapsed_us
from machine import Pin
from motor import Motor
from nau7802 import Nau7802
from settings import INPUTS, SERVICE, ConfigurationError, load

SETTINGS = "board.json"
# Refused pins, a firmware without a part, a file or a store too large for the heap, lists in lists in lists.
UNUSABLE = (ValueError, OSError, ImportError, AttributeError, MemoryError, RuntimeError)
PIO_HZ = 1000000
CELL_MACHINE = 2  # state machines 0 and 1 are the motors'
BUS_TIMEOUT_US = 2000
RETRY_US = 10000000  # at rest, a converter that is silent for this long is restarted
NOTE_MAX = 60  # characters of what is wrong that have room in Identify


def _sensor(given):
    return None if given is None else Pin(given[0], Pin.IN, Pin.PULL_UP)


def _passages(given, motor):
    return None if given is None else Passages(_sensor(given), given[1], time, motor)


def _servo(pin: int, width_us: int) -> machine.PWM:
    return machine.PWM(Pin(pin), freq=50, duty_ns=1000 * width_us)


def _servos(given: dict) -> Servos:
    places_us = given["places_us"]
    parts = [given[name] for name in ("hopper", "slot", "gate")]
    servos = [(_servo(part["pin"], part["rest_us"]), part["rest_us"], part["work_us"]) for part in parts]
    return Servos(time, servos, _servo(given["selector"], places_us[0]), places_us, 1000 * given["move_ms"])


def _motor(number: int, given: dict, program) -> Motor:
    step = rp2.StateMachine(number, program, freq=PIO_HZ, sideset_base=Pin(given["step"]))
    return Motor(step, number, Pin(given["direction"], Pin.OUT), given["forward"], rp2.DMA(), rp2.DMA())


def _cell(given: dict, latch: Latch):
    data, clock = given["data"], given["clock"]
    if given["kind"] == "nau7802":
        bus = machine.I2C(data // 2 % 2, scl=Pin(clock), sda=Pin(data), freq=400000, timeout=BUS_TIMEOUT_US)
        return Nau7802(bus, Pin(given["ready"], Pin.IN), given["rate"], latch, time)
    program = rp2.asm_pio(set_init=rp2.PIO.OUT_LOW, in_shiftdir=rp2.PIO.SHIFT_LEFT)(pulses.words)
    pin = Pin(data, Pin.IN, Pin.PULL_UP)
    reader = rp2.StateMachine(CELL_MACHINE, program, freq=PIO_HZ, in_base=pin, set_base=Pin(clock))
    return Hx711(reader, given["pulses"], latch, time)


def _usb() -> Line:
    micropython.kbd_intr(-1)  # 0x03 is a byte like any other
    return Line(sys.stdin.buffer, sys.stdout.buffer)


def _line(given: dict) -> Line:
    uart = given["uart"]
    if given["line"] == "uart":
        number = (uart["tx"] + 4) // 8 % 2  # which of the chip's two serves this pin (data sheet, pin functions)
        stream = machine.UART(number, uart["baud"], tx=Pin(uart["tx"]), rx=Pin(uart["rx"]), rxbuf=512, timeout=0)
    elif given["line"] == "usb2":
        import usb.device
        from usb.device.cdc import CDCInterface

        stream = CDCInterface(timeout=0)
        usb.device.get().init(stream, builtin_driver=True)
    else:
        return _usb()
    return Line(stream, stream)


def _absent():
    """Return an answer of 0 to everything, for a missing part; it allocates, so no good board calls it every turn."""
    return lambda *_: 0


class Still:
    """Motor that is missing: it never moves."""

    feed = halt = moving = position = _absent()


class Bare:
    """Board with a clock and a line but no parts, used if the settings are wrong."""

    NAME = "midspan"
    INTERVAL_US, STORE = 12500, bytearray(0)
    COUNT_LIMIT = PRESS_LIMIT = PRESS_SPEED_MAX = ROTATE_SPEED_MAX = PRESS_ACCELERATION = ROTATE_ACCELERATION = 1
    HOME_SPEED = 1
    PLACES = GUARDS = 0
    press: "Motor | Still" = Still()
    rotate: "Motor | Still" = press
    cell_take = mark_take = home_closed = _absent()
    inputs = chute_take = let_in = gate = select = handling = _absent()
    release_read, release_write = staticmethod(last_release.read), staticmethod(last_release.write)

    def __init__(self, line, misconfigured: int = 0, reason: str = "") -> None:
        self.misconfigured = misconfigured
        self.RUNTIME_NOTE = " ({})".format(reason[:NOTE_MAX]) if reason else ""
        self.boot = int.from_bytes(os.urandom(4), "little") & 0x3FFFFFFF
        self.read_into, self.write = line.read_into, line.write

    def ticks_us(self):
        """Return the time of the chip's own clock in microseconds; it wraps at 2^30."""
        return time.ticks_us()

    def idle(self) -> bool:
        """Return True: there is always a next turn."""
        return True

    def feed_shaft(self, _: int) -> None:
        """Collect garbage now, while nothing moves."""
        gc.collect()

    bench_step = feed_shaft

    def temperature_centi(self) -> int:
        """Return the chip's temperature, 0.01 degC, some degrees above the room's (data sheet: 0.706 V at 27 degC)."""
        microvolts = (machine.ADC(machine.ADC.CORE_TEMP).read_u16() >> 4) * 806  # 3.3 V in 4096 parts
        return 2700 - (microvolts - 706000) * 100 // 1721


class Board(Bare):
    """The real board; rehearsal/board.py describes each attribute and method."""

    def __init__(self, given: dict, line) -> None:
        super().__init__(line)
        self._take_limits(given)
        inputs, home, enable = given["inputs"], given["home"], given["enable"]
        if enable is not None:
            Pin(enable[0], Pin.OUT, value=enable[1])
        steps = rp2.asm_pio(sideset_init=rp2.PIO.OUT_LOW)(pulses.steps)
        self.press, self.rotate = press, rotate = _motor(0, given["press"], steps), _motor(1, given["rotate"], steps)
        home_pin = _sensor(home)
        self.home_closed = lambda: home_pin.value() == home[1]
        wired = [(1 << i, inputs[name]) for i, name in enumerate(INPUTS)]
        self._inputs = Inputs([(bit, _sensor(sensor), sensor[1]) for bit, sensor in wired if sensor is not None])
        self._mark, chute = _passages(given["mark"], rotate), _passages(inputs["chute"], rotate)
        if chute is not None:
            self.chute_take = chute.take
        self._servos = servos = _servos(given["feeder"]) if self.PLACES else None
        if servos is not None:
            self.let_in, self.gate, self.select = servos.let_in, servos.gate, servos.select
        self._cell = _cell(given["cell"], Latch(time, rotate, press))
        self._cell.start()
        for _ in range(2):  # the pull-ups have lifted their wires by now; the first motion must know the guards
            self._inputs.look()
        self._heard_us = self.ticks_us()
        self._watchdog = machine.WDT(timeout=given["watchdog_ms"]) if given["watchdog_ms"] else None

    def _take_limits(self, given: dict) -> None:
        gear, limits = given["gear"], given["limits"]
        self.NAME = given["name"]
        self.INTERVAL_US = 1000000 // given["cell"]["rate"]
        self.COUNT_LIMIT, self.STORE = limits["count"], bytearray(limits["buffer_bytes"])
        per_mm, per_turn = gear["press_steps_per_mm"], gear["rotate_steps_per_turn"]
        self.PRESS_LIMIT, self.HOME_SPEED = limits["press_mm"] * per_mm, limits["home_mm_s"] * per_mm
        self.PRESS_SPEED_MAX, self.PRESS_ACCELERATION = limits["press_mm_s"] * per_mm, limits["press_mm_s2"] * per_mm
        self.ROTATE_SPEED_MAX = limits["rotate_rpm"] * per_turn // 60
        self.ROTATE_ACCELERATION = limits["rotate_rpm_s"] * per_turn // 60
        self.PLACES = len(given["feeder"]["places_us"])
        self.GUARDS = sum([1 << i for i, name in enumerate(("lid", "stop")) if given["inputs"][name] is not None])

    def idle(self) -> bool:
        """Look at the switches and feed the watchdog; nothing else feeds it, so a loop that hangs is restarted."""
        self._inputs.look()
        moving = self.handling() or self.press.moving() or self.rotate.moving()
        if self._watchdog is not None:
            self._watchdog.feed()
        if not moving and elapsed_us(self.ticks_us(), self._heard_us) > RETRY_US:
            self._cell.start()
            self._heard_us = self.ticks_us()
        return True

    def handling(self) -> bool:
        """Return True if escapement, gate or selector still move."""
        return self._servos is not None and self._servos.busy()

    def inputs(self) -> int:
        """Return the bits of the sensors and switches; without a feeder those of the guards only."""
        return self._inputs.bits if self.PLACES else self._inputs.bits & GUARDS

    def cell_take(self, sample) -> bool:
        """Take the next sample; the interrupt noted its time and the positions."""
        if not self._cell.take(sample):
            return False
        self._heard_us = self.ticks_us()
        return True

    def mark_take(self, mark) -> bool:
        """Take the mark that passed; return False if there is none."""
        if self._mark is None or not self._mark.take():
            return False
        mark[0] = self._mark.at
        return True


def service_wanted() -> bool:
    """Return True if a jumper holds the service pin at ground: then boot.py keeps main.py from starting."""
    pin = Pin(SERVICE, Pin.IN, Pin.PULL_UP)
    time.sleep_ms(1)  # for the pull-up to lift the wire
    return pin.value() == 0


def this_board() -> Bare:
    """Return the board that the settings describe; if they cannot be used, a bare board that says what is wrong."""
    try:
        given = load(SETTINGS)
        return Board(given, _line(given))
    except ConfigurationError as error:
        return Bare(_usb(), error.number(), str(error))
    except UNUSABLE as error:
        gc.collect()  # in case the heap was full
        return Bare(_usb(), 1, str(error))
