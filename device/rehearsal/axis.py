"""A motor of the rehearsal: the steps of its moves, in virtual time and whole numbers."""

from array import array


class Axis:
    """Motor that counts steps from the (period, steps) pairs it was fed, in whole numbers.

    `begin` is called when it is fed and returns the time.
    """

    def __init__(self, at: int, begin) -> None:
        self.at = at
        self._begin = begin
        self._segments = array("i", [0] * 128)
        self._pairs = 0
        self._direction = 1

    def feed(self, direction: int, segments, pairs: int) -> None:
        """Begin to play the pairs."""
        for i in range(2 * pairs):
            self._segments[i] = segments[i]
        self._direction = direction
        self._pairs = pairs
        self._pair = 0
        self._begun_us = self._begin()  # when the present pair began
        self._done = 0  # steps of the present pair

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
