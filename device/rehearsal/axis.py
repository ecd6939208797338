"""A motor of the rehearsal: the steps of its moves, in virtual time and whole numbers."""

from array import array

from stepper import LEVELS, PAIRS

AHEAD = 3  # pairs that the real motor reads before it plays them


class Axis:
    """Motor that counts steps from the (period, steps) pairs it plays, in whole numbers.

    `begin` is called when it starts from rest and returns the time.
    """

    def __init__(self, at: int, begin) -> None:
        self.at = at
        self._begin = begin
        self._segments = array("i", [0] * (2 * (AHEAD + 2 * PAIRS + LEVELS)))
        self._pairs = 0
        self._pair = self._first = self._ramp = 0  # the present pair, the last piece's first, its ramp's first
        self._direction = 1
        self._begun_us = self._done = 0  # when the present pair began, and its steps so far

    def play(self, direction: int, piece, pieces: int, ramp, ramps: int) -> bool:
        """Play pairs in place of the ramp that waits, or from rest, then a new ramp; return False if it is too late."""
        if self.moving() and (direction != self._direction or not self.due()):
            return False
        if not self.moving():
            self._pair = self._ramp = self._done = 0
            self._begun_us = self._begin()
            self._direction = direction
        kept = self._ramp - self._pair
        for i in range(2 * kept):
            self._segments[i] = self._segments[2 * self._pair + i]
        self._put(kept, piece, pieces)
        self._put(kept + pieces, ramp, ramps)
        self._pair = 0  # one by one: a tuple of four would cost memory in the turns that are counted
        self._first = kept
        self._ramp = kept + pieces
        self._pairs = kept + pieces + ramps
        return True

    def due(self) -> bool:
        """Return True if the next piece can be played now: the last one is being read, or the motor stands."""
        return not self.moving() or self._first - AHEAD <= self._pair < self._ramp - AHEAD - 1

    def _put(self, at: int, pairs, number: int) -> None:
        for i in range(2 * number):
            self._segments[2 * at + i] = pairs[i]

    def position(self) -> int:
        """Return the counted steps."""
        return self.at

    def halt(self) -> None:
        """Forget the rest."""
        self._pairs = 0

    def moving(self) -> bool:
        """Return True if pairs are left."""
        return self._pairs > 0

    def direction(self) -> int:
        """Return 1 or -1 while moving, 0 at rest."""
        return self._direction if self._pairs else 0

    def advance(self, now_us: int) -> None:
        """Step up to a time."""
        while self._pairs:
            period, steps = self._segments[2 * self._pair], self._segments[2 * self._pair + 1]
            done = min((now_us - self._begun_us) // period, steps)
            self.at += (done - self._done) * self._direction
            self._done = done
            if done < steps:
                return
            self._begun_us += period * steps
            self._done = 0
            self._pair += 1
            if self._pair == self._pairs:
                self._pairs = 0

    def when(self, steps: int) -> int:
        """Return the time at which some more steps are done, at most that of the last step."""
        at, left = self._begun_us, steps + self._done
        for pair in range(self._pair, self._pairs):
            period, count = self._segments[2 * pair], self._segments[2 * pair + 1]
            if left <= count:
                return at + left * period
            at += count * period
            left -= count
        return at
