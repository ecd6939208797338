"""One stepper axis: moves with ramps, in microsteps and integers.

A move is a list of (period in microseconds, number of steps) pairs in an array allocated once; the motor plays it and
counts. Ramps rise in LEVELS equal steps of speed: from rest, v^2 = 2 a s.
"""

from array import array

LEVELS = 16
PAIRS = 2 * LEVELS + 1
SPEED_MAX = 32767  # its square still is a small integer on the chip
HALF = 1 << 27  # of the span that a motor's count stays in: the chip's small integers end at 2^30


class TravelError(Exception):
    """Move beyond the limits of the axis; it was not begun."""


def root(number: int) -> int:
    """Return the integer square root, by Newton's method from above (the chip's floats have 24 bits only).

    >>> root(99), root(100)
    (9, 10)
    """
    if number < 2:
        return number
    guess = 1 << 15
    while True:
        better = (guess + number // guess) >> 1
        if better >= guess:
            return guess
        guess = better


def near(count: int) -> int:
    """Return a count within half a span of 0: years of turning one way must not outgrow a small integer.

    >>> near(HALF - 1) == HALF - 1, near(HALF) == -HALF
    (True, True)
    """
    return (count + HALF & 2 * HALF - 1) - HALF


class Stepper:
    """Axis that drives a motor of the board with `acceleration` (microsteps/s^2) between `low` and `high`.

    Positions are microsteps from the origin; `rising` means that the position falls, as the press's does going up.
    """

    def __init__(self, motor, acceleration: int, low: int, high: int) -> None:
        self._motor = motor
        self._acceleration = acceleration
        self._low = low
        self._high = high
        self._segments = array("i", [0] * (2 * PAIRS))
        self._pairs = 0
        self._begin = self._steps = self._ramp = 0
        self._direction = 1
        self.set_origin()

    def set_origin(self) -> None:
        """Call the present position 0."""
        self._origin = self._motor.position()

    def position(self) -> int:
        """Return the present position."""
        return self.located(self._motor.position())

    def located(self, counted: int) -> int:
        """Return the position for a count of the board at some moment."""
        return near(counted - self._origin)

    def moving(self) -> bool:
        """Return True if a move is under way."""
        return self._motor.moving()

    def rising(self) -> bool:
        """Return True if a move towards smaller positions is under way."""
        return self._direction < 0 and self.moving()

    def steady(self, position: int) -> bool:
        """Return True if the move's first ramp was over at a position."""
        return (position - self._begin) * self._direction >= self._ramp

    def move_to(self, target: int, speed: int) -> None:
        """Begin a move to `target`; raise TravelError if it lies outside the limits."""
        if not self._low <= target <= self._high:
            raise TravelError(target)
        self.move(target - self.position(), speed)

    def move(self, steps: int, speed: int) -> None:
        """Begin a move by some steps, whatever the limits: for seeking home, and for axes without limits."""
        self._direction = -1 if steps < 0 else 1
        self._begin = self.position()
        self._steps = abs(steps)
        peak = self._peak(speed)
        self._ramp = min(peak * peak // (2 * self._acceleration), self._steps // 2)
        self._pairs = 0
        for level in range(1, LEVELS + 1):
            self._level(peak, level)
        self._append(peak, self._steps - 2 * self._ramp)
        self._decelerate(peak)
        self._feed()

    def stop(self) -> None:
        """End the move by a ramp, without going past its target."""
        if self.moving():
            self._motor.halt()
            done = abs(self.position() - self._begin)
            self._begin = self.position()
            self._steps = self._ramp = min(done, self._steps - done, self._ramp)
            self._pairs = 0
            self._decelerate(root(2 * self._acceleration * self._ramp))
            self._feed()

    def halt(self) -> None:
        """End the move at once, as far as the motor follows."""
        self._motor.halt()

    def _peak(self, speed: int) -> int:
        if self._steps > speed * speed // self._acceleration:
            return speed
        return max(1, root(self._acceleration * self._steps))

    def _reached(self, peak: int, level: int) -> int:
        """Return the steps from rest to a level of the ramp to `peak`."""
        if level == LEVELS:
            return self._ramp
        speed = peak * level // LEVELS
        return min(speed * speed // (2 * self._acceleration), self._ramp)

    def _level(self, peak: int, level: int) -> None:
        steps = self._reached(peak, level) - self._reached(peak, level - 1)
        self._append(peak * (2 * level - 1) // (2 * LEVELS), steps)

    def _decelerate(self, peak: int) -> None:
        for level in range(LEVELS, 0, -1):
            self._level(peak, level)

    def _append(self, speed: int, steps: int) -> None:
        if steps:
            self._segments[2 * self._pairs] = 1000000 // max(speed, 1)
            self._segments[2 * self._pairs + 1] = steps
            self._pairs += 1

    def _feed(self) -> None:
        if self._pairs:
            self._motor.feed(self._direction, self._segments, self._pairs)
