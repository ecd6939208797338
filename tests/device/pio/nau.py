"""A model of the NAU7802 converter, written from its data sheet, for scripts that MicroPython runs."""

from chip import chip

ADDRESS = 0x2A


class Nau:
    """A NAU7802 on an I2C bus: registers, times and order of the data sheet; `broken` names what it does wrong."""

    def __init__(self, broken=None, words=(5, 6, 7), rate_us=12500):
        self.broken, self.words, self.rate_us = broken, words, rate_us
        self.registers = bytearray(32)
        self.log = []
        self.number = 0
        self.powered_us = self.calibrating_us = self.next_us = None
        self.dead = broken == "absent"
        chip.parts.append(self)
        chip.drive(27, 0)

    def run(self, now_us):
        if self.next_us is not None and now_us >= self.next_us:
            self.next_us += self.rate_us
            self.number += 1
            chip.drive(27, 0)
            chip.drive(27, 1)

    def word(self):
        """Return the newest word."""
        return self.words[self.number % len(self.words)]

    def writeto_mem(self, address, register, data):
        self._bus(address)
        value = data[0]
        self.log.append((register, value))
        self.registers[register] = value
        if register == 0:
            self._power(value)
        if register == 2 and value & 4:
            self.calibrating_us = chip.now_us + 344000

    def _power(self, value):
        if value & 1:
            self.registers[:] = bytes(32)
            self.registers[0] = 1
            self.next_us = None
        if value & 2 and self.powered_us is None:
            self.powered_us = chip.now_us + 200
        if value & 0x16 == 0x16 and self.broken != "no words":
            self.next_us = chip.now_us + self.rate_us

    def readfrom_mem_into(self, address, register, buffer):
        self._bus(address)
        if register == 0x12:
            word = self.word()
            buffer[0], buffer[1], buffer[2] = word >> 16 & 255, word >> 8 & 255, word & 255
            chip.levels[27] = 0
            return
        value = self.registers[register]
        if register == 0 and self.powered_us is not None and chip.now_us >= self.powered_us:
            value |= 0 if self.broken == "no power" else 8
        if register == 2 and self.calibrating_us is not None and chip.now_us >= self.calibrating_us:
            if self.broken != "endless calibration":
                value &= ~4
            value |= 8 if self.broken == "calibration error" else 0
        buffer[0] = value

    def _bus(self, address):
        assert address == ADDRESS
        chip.pass_us(100)
        if self.dead:
            raise OSError(5)
