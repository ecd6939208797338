"""The press's motor with its rotor, which need not be where the count says."""

import math

from axis import Axis

CYCLE = 64  # microsteps of four full steps: a rotor that lost its field catches it again this far off, or a multiple
BRAKE_STEPS_S2 = 800000  # what the motor can do to a rotor that it has lost, four times what its ramps ask of it


class Rotor(Axis):
    """Motor whose rotor runs on when the steps end at more than the speed from which it can stop at once.

    `lost` are the steps by which the rotor is behind the count: higher than counted, with the press.
    """

    def __init__(self, at: int, begin, pull_in_steps_s: float) -> None:
        super().__init__(at, begin)
        self.lost = 0
        self._pull_in_steps_s = pull_in_steps_s

    def steps(self) -> int:
        """Return the steps of the rotor, whatever the count."""
        return self.at - self.lost

    def advance(self, now_us: int) -> None:
        """Step up to a time."""
        pairs = self._pairs
        super().advance(now_us)
        if pairs and not self._pairs:  # its last pair is over: a ramp ends slowly, a move without one does not
            self._run_on(self._segments[2 * pairs - 2])

    def halt(self) -> None:
        """Stop stepping at once."""
        if self.moving():
            self._run_on(self.when(2) - self.when(1))
        super().halt()

    def _run_on(self, period_us: int) -> None:
        """Let a rotor that was too fast run on by whole cycles of the motor's field."""
        if period_us:
            too_fast = (1e6 / period_us) ** 2 - self._pull_in_steps_s**2
            self.lost -= self._direction * CYCLE * math.ceil(max(0.0, too_fast) / (2 * BRAKE_STEPS_S2 * CYCLE))
