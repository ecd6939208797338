"""Meaning of a reading for the cycle: settling or good, zero known, load reached, turn covered, a limit passed.

Nothing here moves anything: `event` names what the cycle does next. A single reading never decides about a force,
because it may be a spike.
"""

from load_cell import BAD, GAP_BEFORE, SETTLING
from records import APPROACH, BENCH, FULL, LIFT, LIGHT, LIGHT_AGAIN, ZERO_AFTER, ZERO_BEFORE

ZEROS = (ZERO_BEFORE, ZERO_AFTER)
TURNS = (LIGHT, FULL, LIGHT_AGAIN)
ROW = 2  # readings in a row that settle a matter of force
TOUCH_PART = 16  # of the limit of force: at home nothing touches the head


class Progress:
    """Progress of the readings through the states.

    `threshold` is the rise of the count above `zero` that the press is waiting for, or None; `sampling_us` the time
    of the readings that count for the result; `detail` the number that goes with a fault. `zero_due` is True if a
    bench step is to give the zero.
    """

    def __init__(self, cell, rotate, count_limit: int, press_limit: int) -> None:
        self._cell = cell
        self._rotate = rotate
        self._count_limit = count_limit
        self._press_limit = press_limit
        self.zero = self.sampling_us = self.detail = 0
        self._base = self._sum = self._lowest = self._highest = self._turn_from = 0
        self.enter(0)

    def begin(self, plan) -> None:
        """Start on a shaft, or on a bench step."""
        self._plan = plan
        self.sampling_us = 0

    def enter(self, state: int) -> None:
        """Begin another state."""
        self._state = state
        self.threshold: int | None = None
        self.zero_due = False
        self._arrived = state != BENCH
        self._seen = self._good = self._over = self._reached = self._against = 0

    def arrive(self) -> None:
        """Note that the head of a bench step came to rest: from here on readings settle and count."""
        self.threshold = None
        self._arrived = True
        self._seen = self._good = 0

    def turn_steps(self) -> int:
        """Return the rotate microsteps that the present turn has to cover."""
        return self._plan.turn_again_steps if self._state == LIGHT_AGAIN else self._plan.turn_steps

    def settling(self, rotate: int) -> int:
        """Count a reading; return SETTLING if the result leaves it out, else 0.

        A turn settles until its speed is constant, so that the angle runs evenly through the good readings.
        """
        self._seen += 1
        if not self._arrived:
            waiting = True
        elif self._state in TURNS or self._state == BENCH:
            waiting = self._seen <= self._plan.settle_readings or not self._rotate.steady(rotate)
        else:
            waiting = self._state in ZEROS and self._seen <= self._plan.settle_readings
        return SETTLING if waiting else 0

    def event(self, settling: int, rotate: int, press: int) -> "str | None":
        """Return the event or fault of the cycle's table that a reading leads to, None if it leads to nothing."""
        limited = APPROACH <= self._state <= LIFT or (self._state == BENCH and not self.zero_due)
        if limited and not self._cell.status & BAD:
            event = self._loaded(self._cell.count - self.zero, press)
            if event is not None:
                return event
        if not settling and self._state in TURNS:
            return self._turning(rotate)
        if not settling and self._state in ZEROS:
            return self._zeroing(self._plan.zero_readings)
        if not settling and self._state == BENCH:
            return self._benching()
        return None

    def _loaded(self, rise: int, press: int) -> "str | None":
        """Return the fault of a passed limit, whatever the plan says, or the event of a reached load, or None.

        A cell may be wired with the wrong sign: the limit holds for the magnitude, and the load may have either sign.
        """
        self._over = self._over + 1 if abs(rise) > self._count_limit else 0
        self._reached = self._reached + 1 if self.threshold is not None and rise >= self.threshold else 0
        self._against = self._against + 1 if self.threshold is not None and -rise >= self.threshold else 0
        if press > self._press_limit:
            self.detail = press
            return "TRAVEL_LIMIT"
        self.detail = rise
        if self._over >= ROW:
            return "FORCE_LIMIT"
        if self._against >= ROW:
            return "FORCE_REVERSED"
        return "loaded" if self._reached >= ROW else None

    def touched(self) -> bool:
        """Return True if the force changed in either direction since this state began, by more than a single spike."""
        if self._cell.status & BAD:
            return False
        if self._seen == 0:
            self._base = self._cell.count
        self._seen += 1
        self._over = self._over + 1 if abs(self._cell.count - self._base) > self._count_limit // TOUCH_PART else 0
        return self._over >= ROW

    def _turning(self, rotate: int) -> "str | None":
        self.sampling_us += self._cell.gap_us
        if self._good == 0:
            self._turn_from = rotate
        self._good += 1
        return "turned" if rotate - self._turn_from >= self.turn_steps() else None

    def _benching(self) -> "str | None":
        if self.zero_due:
            enough = self._zeroing(self._plan.readings) is not None
        else:
            self.sampling_us += self._cell.gap_us
            self._good += 0 if self._cell.status & BAD else 1
            enough = self._good >= self._plan.readings
        return "taken" if enough and not self._rotate.moving() else None

    def _zeroing(self, readings: int) -> "str | None":
        self.sampling_us += self._cell.gap_us
        if self._cell.status & ~GAP_BEFORE:
            return None
        if self._good == 0:
            self._base = self._cell.count
            self._sum = self._lowest = self._highest = 0
        rise = self._cell.count - self._base  # sums of differences are small integers wherever the zero is
        self._sum += rise
        self._lowest = min(self._lowest, rise)
        self._highest = max(self._highest, rise)
        self._good += 1
        if self._good < readings:
            return None
        self.zero = self._base + self._mean_rise()
        return "zeroed"

    def _mean_rise(self) -> int:
        """Return the mean rise without the lowest and the highest reading, either of which may be a spike."""
        if self._good > 2:
            return (self._sum - self._lowest - self._highest) // (self._good - 2)
        return self._sum // self._good
