"""Switches and sensors: steady bits of all of them, and counted passages at a fast one.

inputs = Inputs(wired(Pin, {"lid": [15, 1], "stop": None}, (("lid", LID), ("stop", STOP))))
inputs.look()  # in every turn of the loop
if inputs.bits & LID: ...
mark = Passages(Pin(8, Pin.IN, Pin.PULL_UP), 0, time, motor)
if mark.take(): print(mark.at)
"""

from micropython import const

LID, STOP = const(64), const(128)  # bits 1 to 32 are the feeder's
GUARDS = const(192)
_QUIET_US = const(5000)  # edges that follow within this time are those of one passage
_TICKS = const(0x3FFFFFFF)


def wired(pin, given: dict, bits) -> list:
    """Return (bit, pin, level at which it is set) of the switches that are wired; `pin` is the class of the pins."""
    found = [(bit, given[name]) for name, bit in bits if given[name] is not None]
    return [(bit, pin(wire[0], pin.IN, pin.PULL_UP), wire[1]) for bit, wire in found]


class Inputs:
    """Switches as bits, from what `wired` returns; `bits` are steady ones.

    A bit changes only if two looks in a row agree, so that a spike on a long wire does not stop a motor.
    """

    def __init__(self, pins) -> None:
        self._pins = pins
        self.bits = self._last = 0

    def look(self) -> None:
        """Read all pins; call it in every turn of the loop."""
        now = 0
        for bit, pin, level in self._pins:
            if pin.value() == level:
                now |= bit
        self.bits = (self.bits & (now | self._last)) | (now & self._last)
        self._last = now


class Passages:
    """Counter of passages at a sensor, in the interrupt of its edge; `at` is the motor's position at the last."""

    def __init__(self, pin, level: int, clock, motor) -> None:
        self._clock = clock
        self._motor = motor
        self._last_us = self._passed = self._taken = self.at = 0  # passages modulo 256
        pin.irq(self._edge, pin.IRQ_RISING if level else pin.IRQ_FALLING, hard=True)

    def _edge(self, _) -> None:
        now_us = self._clock.ticks_us()
        if (now_us - self._last_us) & _TICKS > _QUIET_US:
            self.at = self._motor.position()
            self._passed = (self._passed + 1) & 0xFF
        self._last_us = now_us

    def take(self) -> bool:
        """Return True once for each passage."""
        if self._passed == self._taken:
            return False
        self._taken = (self._taken + 1) & 0xFF
        return True
