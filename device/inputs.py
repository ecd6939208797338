"""Switches and sensors as steady bits.

inputs = Inputs(wired(Pin, {"lid": [15, 1], "stop": None}, (("lid", LID), ("stop", STOP))))
inputs.look()  # in every turn of the loop
if inputs.bits & LID: ...
"""

from micropython import const

LID, STOP, GUARDS = const(64), const(128), const(192)  # bits 1 to 32 are the feeder's


def wired(pin, given: dict, bits) -> list:
    """Return (bit, pin, level at which it is set) of the switches that are wired; `pin` is the class of the pins."""
    found = [(bit, given[name]) for name, bit in bits if given[name] is not None]
    return [(bit, pin(wire[0], pin.IN, pin.PULL_UP), wire[1]) for bit, wire in found]


class Inputs:
    """Switches from `wired`, as `bits`; a bit changes only if two looks in a row agree.

    So a spike on a long wire does not stop a motor.
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
