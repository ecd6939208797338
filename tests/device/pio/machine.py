"""A shadow of the chip's `machine`: pins, servos, buses, watchdog. See chip.py."""

import io

from chip import chip


class Pin:
    IN, OUT, PULL_UP = 0, 1, 1
    IRQ_FALLING, IRQ_RISING = 4, 8

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        before = chip.pins.get(number)
        self.mode = mode if before is None or mode != -1 else before.mode
        self.pull = pull if before is None or pull != -1 else before.pull
        self.level = value or 0
        self.handler, self.trigger = None, 0
        chip.pins[number] = self

    def value(self, level=None):
        if level is None:
            return chip.read(self.number)
        assert self.mode == self.OUT
        self.level = level
        return None

    def irq(self, handler, trigger, hard=False):
        assert hard, "a soft interrupt waits for the interpreter"
        self.handler, self.trigger = handler, trigger


class PWM:
    def __init__(self, pin, freq, duty_ns):
        self.number, self.freq, self.ns = pin.number, freq, duty_ns
        self.widths_us = [duty_ns // 1000]
        chip.pins[self.number] = self

    def duty_ns(self, ns):
        assert 0 < ns < 20000000
        self.widths_us.append(ns // 1000)


class ADC:
    CORE_TEMP = 4
    reading = 0  # of the chip's thermometer
    at_pin = dict.fromkeys((26, 27, 28), 0)

    def __init__(self, source):
        assert source == self.CORE_TEMP or source in self.at_pin
        self.source = source

    def read_u16(self):
        return self.at_pin.get(self.source, self.reading)


class WDT:
    last = None

    def __init__(self, timeout):
        assert 0 < timeout <= 8388
        self.timeout_ms, self.fed = timeout, 0
        WDT.last = self

    def feed(self):
        self.fed += 1


class I2C:
    """I2C bus, on the pins of the data sheet's table of pin functions."""

    def __new__(cls, number, scl, sda, freq, timeout):
        if scl.number % 2 != 1 or sda.number % 2 != 0 or {scl.number // 2 % 2, sda.number // 2 % 2} != {number}:
            raise ValueError("bad SCL pin")
        assert freq <= 400000
        return chip.bus


class UART(io.IOBase):
    """UART that is never ready: the line is tested on other streams."""

    made = None

    def __init__(self, number, baudrate, tx, rx, rxbuf, timeout):
        if (tx.number, number) not in ((0, 0), (12, 0), (16, 0), (28, 0), (4, 1), (8, 1), (20, 1), (24, 1)):
            raise ValueError("bad TX pin")
        assert timeout == 0
        UART.made = (number, baudrate, tx.number, rx.number, rxbuf)

    def ioctl(self, request, argument):
        return 0 if request == 3 else -22

    def readinto(self, buffer):
        return None

    def write(self, data):
        return len(data)
