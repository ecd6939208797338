"""Parts that see and handle shafts: switches and sensors, escapements, gate and selector."""

from load_cell import elapsed_us

QUIET_US = 5000  # edges that follow within this time are those of one passage
HOPPER, SLOT, GATE = range(3)


class Inputs:
    """Sensors and switches as bits, from (bit, pin, level at which it is set); `bits` are steady ones.

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
    """Counter of passages at a sensor, in the interrupt of its edge; it notes the motor's position at the last."""

    def __init__(self, pin, level: int, clock, motor) -> None:
        self._clock = clock
        self._motor = motor
        self._last_us = 0
        self._passed = self._taken = 0  # modulo 256
        self.at = 0
        pin.irq(self._edge, pin.IRQ_RISING if level else pin.IRQ_FALLING, hard=True)

    def _edge(self, _) -> None:
        now_us = self._clock.ticks_us()
        if (now_us - self._last_us) & 0x3FFFFFFF > QUIET_US:
            self.at = self._motor.position()
            self._passed = (self._passed + 1) & 0xFF
        self._last_us = now_us

    def take(self) -> bool:
        """Return True once for each passage."""
        if self._passed == self._taken:
            return False
        self._taken = (self._taken + 1) & 0xFF
        return True


class Servos:
    """RC servos that move shafts; they report nothing, so each motion counts as over after a set time.

    `servos` are the hopper's escapement, the slot's and the gate, as (pwm, pulse width at rest, at work);
    `places_us` the selector's widths.
    """

    def __init__(self, clock, servos, selector, places_us, time_us: int) -> None:
        self._clock = clock
        self._servos = servos
        self._selector = selector
        self._places_us = places_us
        self._time_us = time_us
        self._stroke: int | None = None  # the escapement that is out
        self._moving = True  # to where they are at rest
        self._begun_us = clock.ticks_us()

    def let_in(self, source: int) -> None:
        """Begin the stroke, out and back, that lets a shaft in."""
        self._stroke = source
        self._set(source, True)

    def gate(self, opened: bool) -> None:
        """Begin to open or to close."""
        self._set(GATE, opened)

    def select(self, place: int) -> None:
        """Begin to point the chute to a place, from 1."""
        self._selector.duty_ns(1000 * self._places_us[place - 1])
        self._begin()

    def busy(self) -> bool:
        """Return True if something moves; call it in every turn, because it also begins the way back of a stroke."""
        if self._moving and elapsed_us(self._clock.ticks_us(), self._begun_us) >= self._time_us:
            self._moving = False
            if self._stroke is not None:
                source, self._stroke = self._stroke, None
                self._set(source, False)
        return self._moving

    def _set(self, part: int, working: bool) -> None:
        pwm, rest_us, work_us = self._servos[part]
        pwm.duty_ns(1000 * (work_us if working else rest_us))
        self._begin()

    def _begin(self) -> None:
        self._moving = True
        self._begun_us = self._clock.ticks_us()
