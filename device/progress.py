"""Progress of a program: which step runs, what a reading means for it, when it is over.

Nothing here moves anything: `event` names what the gauge does next. A single reading never decides about a force,
because it may be a spike.
"""

from array import array

from load_cell import BAD, GAP_BEFORE, SETTLING
from micropython import const
from program import STEP_S_MAX

_ROW = const(2)  # readings in a row that settle a matter of force
_TOUCH_PART = const(16)  # of the limit of force: at home nothing touches the head
_STEPS = const(32)


class Run:
    """Progress of a program through its steps; `step` is the present one, `index` its number, -1 before the first.

    `zero` is the count without load, or None if it is not known; `threshold` the rise above it that the press is
    waiting for, or None. `arrived` is True once the press has come to rest in this step. `sampling_us` is the time of
    the good readings, `detail` the number that goes with a fault.
    """

    def __init__(self, cell, rotate, count_limit: int) -> None:
        self._cell = cell
        self._rotate = rotate
        self._count_limit = count_limit
        self._ends = array("i", [0] * _STEPS)  # where the press came to rest in each step
        self.zero: "int | None" = None
        self._steps: list = []
        self.stand = False
        self.index = -1
        self.sampling_us = self.detail = 0
        self._base = self._last = self._sum = self._lowest = self._highest = 0
        self._enter()

    def begin(self, steps: list, stand: bool) -> None:
        """Take a program; `advance` then begins its first step."""
        self._steps = steps
        self.stand = stand
        self.index = -1
        self.sampling_us = 0

    def advance(self) -> bool:
        """Begin the next step; return False if there is none."""
        if self.index + 1 == len(self._steps):
            return False
        self.index += 1
        self.step = self._steps[self.index]
        self._enter()
        return True

    def _enter(self) -> None:
        self.threshold: "int | None" = None
        self.arrived = False
        self._calm = self._good = self._over = self._reached = self._against = self._elapsed_us = self._press_ms = 0

    def target(self) -> int:
        """Return where the press goes in this step: a place below home, 0 for home itself."""
        step = self.step
        return step.press_steps if step.from_step is None else max(0, self._ends[step.from_step] + step.press_steps)

    def press(self, way: int) -> None:
        """Allow the time of a press that has some way to go."""
        self._press_ms = 1000 * min(way // self.step.press_speed + 1, STEP_S_MAX)

    def arrive(self, press: int) -> None:
        """Note where the press came to rest: from here on readings settle and count."""
        self.threshold = None
        self.arrived = True
        self._ends[self.index] = press

    def late(self, elapsed_us: int) -> bool:
        """Count time; return True if the step has taken longer than it ever should."""
        self._elapsed_us += elapsed_us
        self.detail = self._elapsed_us // 1000
        return self.detail > self.step.most_ms + self._press_ms

    def over(self) -> bool:
        """Return True if the step is done; the zero that it gives is then known."""
        if not self.arrived or self._rotate.moving() or self._good < self.step.readings:
            return False
        if self.step.zero:
            self.zero = self._base + self._mean_rise()
        return True

    # Readings

    def settling(self, rotate: int) -> int:
        """Count a reading; return SETTLING if an axis moves unevenly or the converter may remember it, else 0."""
        if not self.arrived or (self._rotate.moving() and not self._rotate.steady(rotate)):
            self._calm = 0
            return SETTLING
        self._calm += 1
        return SETTLING if self._calm <= self.step.settle_readings else 0

    def event(self, settling: int) -> "str | None":
        """Return the event or fault that a reading leads to, None if it leads to nothing."""
        cell = self._cell
        if self.zero is not None and not cell.status & BAD:
            event = self._loaded(cell.count - self.zero)
            if event is not None:
                return event
        if not settling:
            self.sampling_us += cell.gap_us
            if not cell.status & ~GAP_BEFORE:
                self._count()
        return None

    def _loaded(self, rise: int) -> "str | None":
        """Return the fault of a passed limit, whatever the program says, or the event of a reached load, or None.

        A cell may be wired with the wrong sign: the limit holds for the magnitude, and the load may have either sign.
        """
        self._over = self._over + 1 if abs(rise) > self._count_limit else 0
        self._reached = self._reached + 1 if self.threshold is not None and rise >= self.threshold else 0
        self._against = self._against + 1 if self.threshold is not None and -rise >= self.threshold else 0
        self.detail = rise
        if self._over >= _ROW:
            return "FORCE_LIMIT"
        if self._against >= _ROW:
            return "FORCE_REVERSED"
        return "loaded" if self._reached >= _ROW else None

    def begin_touch(self) -> None:
        """Forget the force: `touched` compares with the next reading."""
        self._calm = self._over = 0

    def touched(self) -> bool:
        """Return True if the force changed in either direction by more than a single spike."""
        count, part = self._cell.count, self._count_limit // _TOUCH_PART
        if self._cell.status & BAD:
            return False
        if self._calm == 0:
            self._base = count
        if abs(count - self._base) <= part:
            self._calm += 1
            self._over = 0
        else:
            self._over += 1
        if self._over == _ROW and self._calm == 1 and abs(count - self._last) <= part:
            self._base = count  # two alike: the first reading was the spike
            self._over = 0
        self._last = count
        return self._over >= _ROW

    def _count(self) -> None:
        """Count a good reading, and keep the sum of differences: a small integer wherever the zero is."""
        if self._good == 0:
            self._base = self._cell.count
            self._sum = self._lowest = self._highest = 0
        rise = self._cell.count - self._base
        if self.step.zero:
            self._sum += rise
            self._lowest = min(self._lowest, rise)
            self._highest = max(self._highest, rise)
        self._good += 1

    def _mean_rise(self) -> int:
        """Return the mean rise without the lowest and the highest reading, either of which may be a spike."""
        if self._good > 2:
            return (self._sum - self._lowest - self._highest) // (self._good - 2)
        return self._sum // self._good
