"""The NAU7802 converter on an I2C bus, with its ready pin. Registers and times are from its data sheet.

latch = Latch(time, rotate, press)
cell = on_bus({"data": 16, "clock": 17, "ready": 27, "rate": 80}, latch, time)
sample = array("i", [0] * 5)
if cell.start():
    while not cell.take(sample): pass
"""

from latch import settle
from machine import I2C, Pin
from micropython import const

_ADDRESS = const(0x2A)
_POWER, _CONTROL, _RATE, _WORD = const(0x00), const(0x01), const(0x02), const(0x12)
_CHOPPER, _PGA, _SUPPLY = const(0x15), const(0x1B), const(0x1C)
_RESET, _DIGITAL_ON, _POWERED, _WORKING = const(0x01), const(0x02), const(0x08), const(0x96)  # of _POWER
_REGULATOR_3V0_GAIN_128 = const(0x2F)  # of _CONTROL
_CALIBRATE, _CALIBRATION_FAILED = const(0x04), const(0x08)  # of _RATE
_RATES = (10, 20, 40, 80)  # samples a second, in the order of their bits; 320 would be too many for the interpreter
_CHOPPER_OFF = const(0x30)
_LOW_ESR_OFF = const(0xBF)  # the regulator's capacitor is a ceramic one
_PGA_CAPACITOR = const(0x80)
_POWER_MS, _REFERENCE_MS, _CALIBRATION_MS, _WORDS_MS = const(50), const(250), const(1000), const(1500)
_FLUSHED, _SETTLING = const(10), const(4)  # words that are still of what was before
_BUS_TIMEOUT_US = const(2000)


def on_bus(given: dict, latch, clock) -> "Nau7802":
    """Return the converter that the settings of the cell describe."""
    data, scl = given["data"], given["clock"]
    bus = I2C(data // 2 % 2, scl=Pin(scl), sda=Pin(data), freq=400000, timeout=_BUS_TIMEOUT_US)
    return Nau7802(bus, Pin(given["ready"], Pin.IN), given["rate"], latch, clock)


class Nau7802:
    """Converter with `rate` samples a second; the ready pin's interrupt notes their times, the loop reads them."""

    def __init__(self, bus, ready, rate: int, latch, clock) -> None:
        self._bus = bus
        self._ready = ready
        self._rate = _RATES.index(rate) << 4
        self._latch = latch
        self._clock = clock
        self._byte = bytearray(1)
        self._word = bytearray(3)
        ready.irq(self._arrived, ready.IRQ_RISING, hard=True)

    def start(self) -> bool:
        """Power up, calibrate and settle, in the maker's order; return True if it gives words."""
        try:
            return self._power_up() and self._calibrate() and settle(self.take, self._clock, _SETTLING, _WORDS_MS)
        except OSError:  # nothing answers on the bus
            return False

    def take(self, sample) -> bool:
        """Put the newest sample into sample[0:5]; return False if there is none or the bus failed."""
        if not self._ready.value():
            return False
        if not self._latch.waiting():  # its edge is gone: the bus failed when the word was to be read
            self._latch.put(0, 1)
        while self._latch.take(sample) and self._latch.waiting():  # the converter keeps no older words
            pass
        try:
            self._bus.readfrom_mem_into(_ADDRESS, _WORD, self._word)
        except OSError:  # a lost sample, and silence when it goes on: load_cell notices both
            return False
        sample[1] = self._word[0] << 16 | self._word[1] << 8 | self._word[2]
        return True

    def _arrived(self, _) -> None:
        self._latch.put(0, 1)

    def _power_up(self) -> bool:
        self._set(_POWER, _RESET)
        self._set(_POWER, _DIGITAL_ON)
        if not self._wait(_POWER, _POWERED, _POWERED, _POWER_MS):
            return False
        self._set(_POWER, _WORKING)
        self._set(_CONTROL, _REGULATOR_3V0_GAIN_128)
        self._set(_RATE, self._rate)
        self._set(_CHOPPER, _CHOPPER_OFF)
        self._set(_SUPPLY, _PGA_CAPACITOR)
        self._set(_PGA, self._get(_PGA) & _LOW_ESR_OFF)
        self._clock.sleep_ms(_REFERENCE_MS)
        return settle(self.take, self._clock, _FLUSHED, _WORDS_MS)

    def _calibrate(self) -> bool:
        """Measure the offset of its front end; needed after every change of gain or rate."""
        self._set(_RATE, self._rate | _CALIBRATE)
        return self._wait(_RATE, _CALIBRATE, 0, _CALIBRATION_MS) and not self._get(_RATE) & _CALIBRATION_FAILED

    def _set(self, register: int, value: int) -> None:
        self._byte[0] = value
        self._bus.writeto_mem(_ADDRESS, register, self._byte)

    def _get(self, register: int) -> int:
        self._bus.readfrom_mem_into(_ADDRESS, register, self._byte)
        return self._byte[0]

    def _wait(self, register: int, bit: int, value: int, wait_ms: int) -> bool:
        while self._get(register) & bit != value:
            if not wait_ms:
                return False
            self._clock.sleep_ms(1)
            wait_ms -= 1
        return True
