"""The feeder's hardware: RC servos that move shafts, and the sensors that see them.

A servo reports nothing, so each of its motions counts as over after a set time. parts/feeder.json has the usual wiring.

    servos = Servos(given["parts"]["feeder"], time, motor)
    servos.let_in(0)  # from the hopper
    while servos.handling(): pass
"""

from array import array

from inputs import wired
from load_cell import elapsed_us
from machine import PWM, Pin
from micropython import const
from parts import feeder, last_release
from parts.mark import Passages

INPUTS = ("left_end", "right_end", "above", "hopper", "slot", "chute")  # in the order of their bits, from 1
_GATE = const(2)  # after the escapements of hopper and slot
_CHUTE = const(32)


def _servo(pin: int, width_us: int) -> PWM:
    return PWM(Pin(pin), freq=50, duty_ns=1000 * width_us)


class Servos:
    """Escapements of hopper and slot, gate, selector and chute; `pins` are the sensors as Inputs takes them.

    `motor` is any motor, because a passage at the chute notes a position too.
    """

    def __init__(self, given: dict, clock, motor) -> None:
        self._clock = clock
        self._places_us = places_us = given["places_us"]
        self.places = len(places_us)
        parts = [given[name] for name in ("hopper", "slot", "gate")]
        self._servos = [(_servo(part["pin"], part["rest_us"]), part["rest_us"], part["work_us"]) for part in parts]
        self._selector = _servo(given["selector"], places_us[0])
        self._time_us = 1000 * given["move_ms"]
        self._stroke: int | None = None  # the escapement that is out
        self._moving, self._begun_us = True, clock.ticks_us()  # to where they are at rest
        self.pins = wired(Pin, given["inputs"], [(name, 1 << i) for i, name in enumerate(INPUTS)])
        chute = [Passages(pin, level, clock, motor) for bit, pin, level in self.pins if bit == _CHUTE]
        self._chute = chute[0] if chute else None
        self._place = array("i", [0])
        self.release_read, self.release_write = last_release.read, last_release.write

    def install(self, gauge, answers) -> None:
        """Add the feeder's states and requests to the core."""
        feeder.install(self, gauge, answers)

    def let_in(self, source: int) -> None:
        """Begin the stroke, out and back, that lets a shaft in from the hopper (0) or the slot (1)."""
        self._stroke = source
        self._set(source, True)

    def gate(self, is_open: bool) -> None:
        """Begin to open or to close."""
        self._set(_GATE, is_open)

    def select(self, place: int) -> None:
        """Begin to point the chute to a place, from 1."""
        self._selector.duty_ns(1000 * self._places_us[place - 1])
        self._begin()

    def handling(self) -> bool:
        """Return True if something moves; call it in every turn, because it also begins the way back of a stroke."""
        if self._moving and elapsed_us(self._clock.ticks_us(), self._begun_us) >= self._time_us:
            self._moving = False
            if self._stroke is not None:
                source, self._stroke = self._stroke, None
                self._set(source, False)
        return self._moving

    def chute_take(self) -> bool:
        """Return True once for each shaft that came to the chute's sensor."""
        return self._chute is not None and self._chute.take(self._place)

    def _set(self, part: int, working: bool) -> None:
        pwm, rest_us, work_us = self._servos[part]
        pwm.duty_ns(1000 * (work_us if working else rest_us))
        self._begin()

    def _begin(self) -> None:
        self._moving = True
        self._begun_us = self._clock.ticks_us()
