"""Progress of a program: which step runs, what a reading means for it, when it is over.

Nothing here moves anything: `take` names what the gauge does next. A single reading never decides about a force,
because it may be a spike: the one before has to agree.
"""

from load_cell import BAD, GAP_BEFORE, SETTLING
from micropython import const
from program import STEP_S_MAX

_STILL_ROW = const(6)  # equal words in a row while the press moves: a cell that lives shows noise, and the head goes on
_TOUCH_PART = const(16)  # of the limit of force: at home nothing touches the head


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
        self.zero: "int | None" = None
        self.begin([], False)

    def begin(self, steps: list, stand: bool) -> None:
        """Take a program; `advance` then begins its first step."""
        self._steps = steps
        self.stand = stand
        self.index = -1
        self.sampling_us = self.detail = 0
        self._base = self._sum = self._lowest = self._highest = 0  # of the good readings of a step
        self._enter()

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
        self._calm = self._good = self._before = self._elapsed_us = 0

    def target(self) -> int:
        """Return where the press goes in this step: a place below home, 0 for home itself."""
        step = self.step
        base = 0 if step.from_step is None else self._steps[step.from_step].end
        return max(0, base + step.press_steps)

    def press(self, way: int) -> None:
        """Allow the time of a press that has some way to go."""
        self.step.most_ms += 1000 * min(way // self.step.press_speed + 1, STEP_S_MAX)

    def arrive(self, press: int) -> None:
        """Note where the press came to rest: from here on readings settle and count."""
        self.threshold = None
        self.arrived = True
        self.step.end = press

    def late(self, elapsed_us: int) -> bool:
        """Count time; return True if the step has taken longer than it ever should."""
        self._elapsed_us += elapsed_us
        self.detail = self._elapsed_us // 1000
        return self.detail > self.step.most_ms

    def over(self) -> bool:
        """Return True if the step is done; the zero that it gives is then known."""
        if not self.arrived or self._rotate.moving() or self._good < self.step.readings:
            return False
        if self.step.zero:
            self.zero = self._base + self._mean_rise()
        return True

    def take(self, rotate: int) -> "str | None":
        """Take the cell's reading; return the event or fault that it leads to, None if it leads to nothing.

        It is SETTLING while an axis moves unevenly, and as long as the converter may remember that.
        """
        cell = self._cell
        even = self.arrived and (self._rotate.steady(rotate) or not self._rotate.moving())
        self._calm = self._calm + 1 if even else 0
        if self._calm <= self.step.settle_readings:
            cell.status |= SETTLING
        if cell.same >= _STILL_ROW and not self.arrived:
            self.detail = cell.count
            return "CELL_STUCK"
        event = None if self.zero is None or cell.status & BAD else self._loaded(cell.count - self.zero)
        if event is None and not cell.status & SETTLING:
            self.sampling_us += cell.gap_us
            if not cell.status & ~GAP_BEFORE:
                self._count(cell.count)
        return event

    def _loaded(self, rise: int) -> "str | None":
        """Return the fault of a passed limit, whatever the program says, or the event of a reached load, or None.

        A cell may be wired with the wrong sign: the limit holds for the magnitude, and the load may have either sign.
        """
        before, self._before = self._before, rise
        shared = max(min(rise, before), 0) + min(max(rise, before), 0)  # by both readings; 0 if their signs differ
        self.detail = rise
        if abs(shared) > self._count_limit:
            return "FORCE_LIMIT"
        if self.threshold is None or abs(shared) < self.threshold:
            return None
        return "loaded" if shared > 0 else "FORCE_REVERSED"

    def begin_touch(self) -> None:
        """Forget the force: `touched` compares with the next reading."""
        self._good = self._before = 0

    def touched(self) -> bool:
        """Return True if the force changed in either direction by more than a single spike."""
        count, part = self._cell.count, self._count_limit // _TOUCH_PART
        if self._cell.status & BAD:
            return False
        if self._good == 0:
            self._base = count
        rise, before = count - self._base, self._before
        self._before = rise
        if abs(rise) <= part:
            self._good += 1
        elif self._good == 1 and abs(before) > part and abs(rise - before) <= part:
            self._base, self._before = count, 0  # two alike: the first reading was the spike
        else:
            return abs(before) > part
        return False

    def _count(self, count: int) -> None:
        """Count a good reading, and keep the sum of differences: a small integer wherever the zero is."""
        if self._good == 0:
            self._base = count
            self._sum = self._lowest = self._highest = 0
        if self.step.zero:
            rise = count - self._base
            self._sum += rise
            self._lowest = min(self._lowest, rise)
            self._highest = max(self._highest, rise)
        self._good += 1

    def _mean_rise(self) -> int:
        """Return the mean rise, without the lowest and the highest reading if there are more: they may be spikes."""
        if self._good > 2:
            return (self._sum - self._lowest - self._highest) // (self._good - 2)
        return self._sum // self._good
