"""The NAU7802 converter on an I2C bus, with its ready pin. Registers and times are from its data sheet."""

from latch import settle

ADDRESS = 0x2A
POWER, CONTROL, RATE, WORD, CHOPPER, PGA, SUPPLY = 0x00, 0x01, 0x02, 0x12, 0x15, 0x1B, 0x1C
RESET, DIGITAL_ON, ANALOGUE_ON, POWERED, CONVERT, REGULATED = 0x01, 0x02, 0x04, 0x08, 0x10, 0x80  # of POWER
REGULATOR_3V0, GAIN_128 = 5 << 3, 7  # of CONTROL
CALIBRATE, CALIBRATION_FAILED = 0x04, 0x08  # of RATE
RATES = {10: 0, 20: 1, 40: 2, 80: 3}  # samples a second; 320 would be too many for the interpreter
CHOPPER_OFF = 0x30
LOW_ESR_OFF = 0xBF  # the regulator's capacitor is a ceramic one
PGA_CAPACITOR = 0x80
POWER_MS, REFERENCE_MS, CALIBRATION_MS, WORDS_MS = 50, 250, 1000, 1500
FLUSHED, SETTLING = 10, 4  # words that are still of what was before


class Nau7802:
    """Converter with `rate` samples a second; the ready pin's interrupt notes their times, the loop reads them."""

    def __init__(self, bus, ready, rate: int, latch, clock) -> None:
        self._bus = bus
        self._ready = ready
        self._rate = RATES[rate] << 4
        self._latch = latch
        self._clock = clock
        self._byte = bytearray(1)
        self._word = bytearray(3)
        ready.irq(self._arrived, ready.IRQ_RISING, hard=True)

    def start(self) -> bool:
        """Power up, calibrate and settle, in the maker's order; return True if it gives words."""
        try:
            return self._power_up() and self._calibrate() and settle(self.take, self._clock, SETTLING, WORDS_MS)
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
            self._bus.readfrom_mem_into(ADDRESS, WORD, self._word)
        except OSError:  # a lost sample, and silence when it goes on: load_cell notices both
            return False
        sample[1] = self._word[0] << 16 | self._word[1] << 8 | self._word[2]
        return True

    def _arrived(self, _) -> None:
        self._latch.put(0, 1)

    def _power_up(self) -> bool:
        self._set(POWER, RESET)
        self._set(POWER, DIGITAL_ON)
        if not self._wait(POWER, POWERED, POWERED, POWER_MS):
            return False
        self._set(POWER, REGULATED | CONVERT | ANALOGUE_ON | DIGITAL_ON)
        self._set(CONTROL, REGULATOR_3V0 | GAIN_128)
        self._set(RATE, self._rate)
        self._set(CHOPPER, CHOPPER_OFF)
        self._set(SUPPLY, PGA_CAPACITOR)
        self._set(PGA, self._get(PGA) & LOW_ESR_OFF)
        self._clock.sleep_ms(REFERENCE_MS)
        return settle(self.take, self._clock, FLUSHED, WORDS_MS)

    def _calibrate(self) -> bool:
        """Measure the offset of its front end; needed after every change of gain or rate."""
        self._set(RATE, self._rate | CALIBRATE)
        return self._wait(RATE, CALIBRATE, 0, CALIBRATION_MS) and not self._get(RATE) & CALIBRATION_FAILED

    def _set(self, register: int, value: int) -> None:
        self._byte[0] = value
        self._bus.writeto_mem(ADDRESS, register, self._byte)

    def _get(self, register: int) -> int:
        self._bus.readfrom_mem_into(ADDRESS, register, self._byte)
        return self._byte[0]

    def _wait(self, register: int, bit: int, value: int, wait_ms: int) -> bool:
        while self._get(register) & bit != value:
            if not wait_ms:
                return False
            self._clock.sleep_ms(1)
            wait_ms -= 1
        return True
