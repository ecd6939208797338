"""Models of what is wired to the chip: converters, a motor that stands, the USB port. Written from data sheets and the
firmware's own behaviour, for scripts that MicroPython runs.
"""

import io
import json
import os
import sys
from array import array

import board
from asking import pack_request
from chip import chip, clock
from frames import HEAD, Encoder

CONTACT, COUNT_PER_STEP = 3200, 60  # steps below home; a shaft of spine 500 on a 2 kg cell, about


DEFAULT, FLASH = (sys.argv[2] + "/board.json", sys.argv[3]) if len(sys.argv) > 3 else ("", "")
board.time = clock  # it may have been loaded before


def run(checks):
    """Run the check named on the command line; `checks` are a script's globals."""
    checks["check_" + sys.argv[1]]()
    print("good")


def segments(*pairs):
    """Return pairs of period and steps as a motor is fed."""
    return array("i", [number for pair in pairs for number in pair])


def settings(places_us=None):
    """Return the default settings, with the usual feeder if its places are given."""
    with open(DEFAULT) as file:
        given = json.load(file)
    if places_us is not None:
        with open(DEFAULT.replace("board.json", "parts/feeder.json")) as file:
            given["parts"]["feeder"] = json.load(file)
        given["parts"]["feeder"]["places_us"] = places_us
    return given


def go(motor, direction, period_us, steps):
    """Let a motor take steps of one period."""
    motor.play(direction, segments((period_us, steps - 1)), 1, segments((period_us, 1)), 1)


def whole(**changes):
    """Return the board by its default settings with changes (cell__rate=10); a folder acts as its flash."""
    given = settings(changes.pop("places_us", None))
    for name, value in changes.items():
        at = given
        keys = name.split("__")
        for key in keys[:-1]:
            at = at[key]
        at[keys[-1]] = value
    os.chdir(FLASH)
    with open("board.json", "w") as file:
        json.dump(given, file)
    for number in (15, 26, 7):  # lid, stop, home: at rest
        chip.drive(number, 0)
    return board.this_board()


class Still:
    """Motor that stands at a place."""

    def __init__(self, at=0):
        self.at = at

    def position(self):
        return self.at


class Ticking:
    """Converter with a word every 12.5 ms; `words` come after its start-up time, `trailing` after each."""

    def __init__(self, words, trailing=1, period_us=12500):
        self.words, self.trailing, self.period_us = words, trailing, period_us
        self.number, self.begun_us, self.restarts, self.silent = 0, 0, 0, False

    def restart(self, now_us):
        self.restarts += 1
        self.begun_us = now_us + 50000 - self.period_us

    def ready_us(self, since_us):
        if self.silent:
            return None
        periods = max(0, since_us - self.begun_us - 1) // self.period_us + 1
        return max(since_us, self.begun_us + periods * self.period_us)

    def word(self, at_us, pulses):
        word = self.words[self.number % len(self.words)]
        self.number += 1
        ones = (1 << pulses - 24) - 1
        return word << pulses - 24 | (ones if self.trailing else 0)


class Port(io.IOBase):
    """The USB port of the stock firmware: room for 256 bytes; a write that finds too little waits half a second, sends
    what fits and forgets the rest; a read waits for all it was asked for. `waited_ms` counts waits."""

    ROOM = 256

    def __init__(self):
        self.connected, self.waited_ms = True, 0
        self.waiting, self.sent, self.incoming = bytearray(), bytearray(), bytearray()

    def ioctl(self, request, wanted):
        if request != 3:  # MP_STREAM_POLL
            return -22
        ready = 1 if self.incoming else 0
        ready |= 4 if not self.connected or len(self.waiting) < self.ROOM else 0
        return ready & wanted

    def readinto(self, buffer):
        if len(self.incoming) < len(buffer):
            self.waited_ms += 1000000
        for i in range(len(buffer)):
            buffer[i] = self.incoming[i]
        self.incoming = self.incoming[len(buffer) :]
        return len(buffer)

    def write(self, data):
        if not self.connected:
            return len(data)
        fits = min(len(data), self.ROOM - len(self.waiting))
        if fits < len(data):
            self.waited_ms += 500
        self.waiting += data[:fits]
        return fits

    def host_reads(self):
        self.sent += self.waiting
        self.waiting = bytearray()


class Host:
    """Host that only keeps alive; bytes of the device are counted."""

    def __init__(self):
        self.encoder, self.waiting, self.size, self.sent = Encoder(), bytearray(1024), 0, 0
        self.said = None  # a bytearray collects what the device says

    def say(self, branch, *values):
        end = pack_request(self.encoder.raw, HEAD, branch, values)
        self.size = self.encoder.encode(end, self.waiting, self.size)

    def read_into(self, buffer):
        size = min(self.size, len(buffer))
        for i in range(size):
            buffer[i] = self.waiting[i]
        for i in range(size, self.size):
            self.waiting[i - size] = self.waiting[i]
        self.size -= size
        return size

    def write(self, buffer, start, end):
        self.sent += end - start
        if self.said is not None:
            self.said += buffer[start:end]
        return end - start


class Pressed:
    """Converter whose count rises once the head is on the shaft."""

    def __init__(self):
        self.press, self.number, self.begun_us = None, 0, 0

    def restart(self, now_us):
        self.begun_us = now_us

    def ready_us(self, since_us):
        return since_us + 12500 - (since_us - self.begun_us) % 12500

    def word(self, _, pulses):
        self.number += 1
        depth = self.press.position() - CONTACT if self.press is not None else 0
        count = 50000 + (depth * COUNT_PER_STEP if depth > 0 else 0) + self.number * 7919 % 91 - 45
        chip.drive(7, 1 if self.press is not None and self.press.position() <= 0 else 0)
        return (count & 0xFFFFFF) << 1 | 1
