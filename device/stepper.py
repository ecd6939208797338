"""One stepper axis: moves with ramps, in microsteps and integers, handed to its motor piece by piece.

A ramp rises in LEVELS equal steps of speed: from rest, v^2 = 2 a s. Behind each piece lies the ramp that brakes from
it, the mirror of the way up: if the loop hangs, the motor ends its pieces and brakes without losing a step.

    press = Stepper(board.press, 200000)
    press.move(4000, 12000)
    while press.moving():
        press.poll()
"""

from array import array

from micropython import const

LEVELS = const(16)
CRUISE = const(17)  # follows the last level of the way up
PAIRS = const(32)  # in a piece, at most
SPEED_MAX = const(32767)  # microsteps/s; its square still is a small integer on the chip
SLOW = const(500)  # microsteps/s: a motor starts and stops at this speed without a ramp
# A motor reads up to three pairs ahead, and never holds more than this and two pieces before the ramp: 46 ms.
PAIR_US = const(2000)
PIECE_US = const(20000)
PIECE_PAIRS = const(8)  # at least, so that a piece of long periods is not read ahead as a whole
HALF = const(1 << 27)  # of the span that a motor's count stays in: the chip's small integers end at 2^30
_SECOND_US = const(1000000)


def peak(speed: int, acceleration: int, steps: int) -> int:
    """Return the speed, up to an ordered one, from which half of some steps are enough to brake: v^2 = a s.

    >>> peak(32767, 8000, 200), peak(1000, 8000, 200)
    (1264, 1000)
    """
    found = 0
    for bit in range(14, -1, -1):  # in whole numbers: the chip's floats have 24 bits only
        faster = found + (1 << bit)
        if faster <= speed and -(-faster * faster // acceleration) <= steps:
            found = faster
    return max(1, found)


def near(count: int) -> int:
    """Return a count within half a span of 0: years of turning one way must not outgrow a small integer.

    >>> near(HALF - 1) == HALF - 1, near(HALF) == -HALF
    (True, True)
    """
    return (count + HALF & 2 * HALF - 1) - HALF


class Stepper:
    """Axis that drives a motor of the board with `acceleration`, microsteps/s^2; positions count from its origin."""

    def __init__(self, motor, acceleration: int) -> None:
        self._motor = motor
        self._acceleration = acceleration
        self._speed = self._direction = 1
        self._begin = self._given = 0  # where the move began at rest, and its steps in the pieces so far
        self._ends = array("i", [0] * (CRUISE + 1))  # steps from the begin to the end of each level and of the cruise
        self._periods_us = array("i", [0] * (CRUISE + 1))
        self._piece = array("i", [0] * (2 * PAIRS))
        self._ramp = array("i", [0] * (2 * LEVELS))
        self.set_origin()

    def set_origin(self) -> None:
        """Call the present position 0. Only at rest."""
        self._origin = self._motor.position()

    def position(self) -> int:
        """Return the present position."""
        return self.located(self._motor.position())

    def located(self, counted: int) -> int:
        """Return the position for a count of the board at some moment."""
        return near(counted - self._origin)

    def moving(self) -> bool:
        """Return True until the whole move is over, even if the motor stands because the loop came late."""
        return self._given < self._ends[CRUISE] or self._motor.moving()

    def steady(self, position: int) -> bool:
        """Return True if the speed was constant at a position of the last move, between its ramps."""
        return self._ends[LEVELS] <= (position - self._begin) * self._direction <= self._given

    def move(self, steps: int, speed: int) -> None:
        """Begin a move by some steps."""
        self._direction = -1 if steps < 0 else 1
        self._speed = max(1, speed)
        self._plan(abs(steps))
        self.poll()

    def poll(self) -> None:
        """Hand out the next piece if it is due; after a loop that came too late go on from rest."""
        if self._given < self._ends[CRUISE] and self._motor.due():
            if not self._motor.moving():
                if self._given:
                    self._plan(self._ends[CRUISE] + self._ends[LEVELS] - self._done())
                self._feed()  # and the next one at once: this one is being read already
            self._feed()

    def stop(self) -> None:
        """End the move by a ramp from the present speed, without going past its target."""
        done = self._done()
        if self._motor.moving() and done < self._given:  # beyond, it brakes already
            self._motor.halt()
            self._given = self._done()
            self._play(0, self._given)
        self._ends[CRUISE] = self._given

    def halt(self) -> None:
        """End the move at once, as far as the motor follows."""
        self._motor.halt()
        self._ends[CRUISE] = self._given

    def _done(self) -> int:
        return (self.position() - self._begin) * self._direction

    def _plan(self, steps: int) -> None:
        """Lay out a move from rest: where its levels of speed end, and their periods."""
        self._begin = self.position()
        self._given = 0
        acceleration, ends, periods_us = self._acceleration, self._ends, self._periods_us
        top = peak(self._speed, acceleration, steps)
        ramp = min(top * top // (2 * acceleration), steps // 2) if top > SLOW else 0
        for level in range(1, CRUISE):
            speed = top * level // LEVELS
            ends[level] = min(speed * speed // (2 * acceleration), ramp)
            # A period is rounded up, so that no level is faster than it should be.
            periods_us[level] = -(-_SECOND_US // max(1, top * (2 * level - 1) // (2 * LEVELS)))
        ends[LEVELS] = ramp
        ends[CRUISE] = steps - ramp
        periods_us[CRUISE] = -(-_SECOND_US // top)

    def _feed(self) -> None:
        """Hand the motor its next piece with its ramp; what it cannot take any more is planned anew from rest."""
        piece, given, level = self._piece, self._given, 1
        us = pairs = 0
        while level <= CRUISE and pairs < PAIRS and (us < PIECE_US or pairs < PIECE_PAIRS):
            steps = self._ends[level] - given
            if steps <= 0:
                level += 1
                continue
            period_us = self._periods_us[level]
            steps = min(steps, max(1, min(PAIR_US, PIECE_US - us) // period_us))
            piece[2 * pairs] = period_us
            piece[2 * pairs + 1] = steps
            pairs += 1
            us += period_us * steps
            given += steps
        if pairs and self._play(pairs, given):
            self._given = given

    def _play(self, pairs: int, given: int) -> bool:
        """Play a piece of some pairs, then the ramp from there: the mirror of the first `given` steps of the way up."""
        ramp, ends, ramps = self._ramp, self._ends, 0
        for level in range(LEVELS, 0, -1):
            steps = min(given, ends[level]) - ends[level - 1]
            if steps > 0:
                ramp[2 * ramps] = self._periods_us[level]
                ramp[2 * ramps + 1] = steps
                ramps += 1
        return self._motor.play(self._direction, self._piece, pairs, ramp, ramps)
