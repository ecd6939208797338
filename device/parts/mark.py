"""Passages at a fast sensor, counted in the interrupt of its edge: the index mark's, and the chute's.

mark = on_pin([8, 0], time, motor)
place = array("i", [0])
while mark.take(place): print(place[0])
"""

from machine import Pin
from micropython import const

_QUIET_US = const(5000)  # edges that follow within this time are those of one passage
_TICKS = const(0x3FFFFFFF)


def on_pin(wire, clock, motor) -> "Passages":
    """Return the counter at a pin, given as [number, level] in the settings."""
    return Passages(Pin(wire[0], Pin.IN, Pin.PULL_UP), wire[1], clock, motor)


class Passages:
    """Counter of passages; it notes the motor's position at the last."""

    def __init__(self, pin, level: int, clock, motor) -> None:
        self._clock = clock
        self._motor = motor
        self._last_us = self._passed = self._taken = self._at = 0  # passages modulo 256
        pin.irq(self._edge, pin.IRQ_RISING if level else pin.IRQ_FALLING, hard=True)

    def _edge(self, _) -> None:
        now_us = self._clock.ticks_us()
        if (now_us - self._last_us) & _TICKS > _QUIET_US:
            self._at = self._motor.position()
            self._passed = (self._passed + 1) & 0xFF
        self._last_us = now_us

    def take(self, place) -> bool:
        """Put the position at a passage into place[0], once for each; return False if there is none."""
        if self._passed == self._taken:
            return False
        place[0] = self._at
        self._taken = (self._taken + 1) & 0xFF
        return True
