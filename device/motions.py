"""What the cycle does: the actions its table names, each the beginning of a motion or its end.

Nothing here waits: `_then` names the event, or the fault, that the end of all motion is to bring.
"""

from plan import Plan, Step
from progress import Progress

TURN_MARGIN = 2  # a turn gets a move this many times as long as it should need, and is stopped on the way


class Motions:
    """The gauge's moving parts and what can be asked of them; the attributes are for reading.

    `report` takes end() when a shaft is over. `shaft` is the one under way or None.
    """

    def __init__(self, board, press, rotate, cell, report) -> None:
        self._board = board
        self._report = report
        self.press = press
        self.rotate = rotate
        self.cell = cell
        self.shaft: int | None = None
        self.plan: Plan
        self.bench_step: Step
        self.progress = Progress(cell, rotate, board.COUNT_LIMIT, board.PRESS_LIMIT)
        self._faulty = False  # the way up ends in FAULTED
        self._light_depth = 0
        self._then: str | None = None

    def _press_to(self, target: int, speed: int, then: str) -> None:
        self._then = then
        self.press.move_to(target, speed)

    def stay(self) -> None:
        """Nothing has to be moved."""

    def seek_home(self) -> None:
        """Up until the home switch closes, by the whole travel at most and a little."""
        self._faulty = False
        self.cell.clear(self._board.ticks_us())
        self._then = "up"
        self.press.move(-self._board.PRESS_LIMIT - self._board.PRESS_LIMIT // 16, self._board.HOME_SPEED)

    def seat(self) -> None:
        """Turn the shaft to let it find its place on the rollers."""
        self.rotate.set_origin()
        self._then = "seated"
        self.rotate.move(self.plan.seat_steps, self.plan.rotate_speed)

    def go_near(self) -> None:
        """Down to the clearance at full speed, though contact may come before."""
        self.progress.threshold = self.plan.light_count
        self._press_to(self.plan.clearance_steps, self.plan.press_speed, "near")

    def go_on(self) -> None:
        """Down slowly to the contact."""
        self._press_to(self.plan.travel_steps, self.plan.approach_speed, "NO_CONTACT")

    def ease(self) -> None:
        """The load is reached: stop with a ramp."""
        self.progress.threshold = None
        self._then = "at_depth"
        self.press.stop()

    def turn_light(self) -> None:
        """Remember the depth of the light load, then turn."""
        self._light_depth = self.press.position()
        self.turn()

    def turn(self) -> None:
        """Turn at this depth; the readings say when the turn is covered."""
        self._then = "INTERNAL"  # the move is so long that its end should never come
        speed = self.plan.rotate_speed
        waiting_ms = (self.plan.settle_readings + 4) * self.cell.interval_us() // 1000
        self.rotate.move(TURN_MARGIN * (self.progress.turn_steps() + speed + waiting_ms * speed // 1000), speed)

    def deepen(self) -> None:
        """Down to the full load."""
        self.rotate.stop()
        self.progress.threshold = self.plan.full_count
        self._press_to(self.plan.travel_steps, self.plan.press_speed, "TRAVEL_LIMIT")

    def go_back(self) -> None:
        """Up past the light depth, so that it is met from the same side of the backlash as before."""
        self.rotate.stop()
        past = max(0, self._light_depth - self.plan.takeup_steps)  # home is as far as the head can go
        self._press_to(past, self.plan.press_speed, "past_depth")

    def take_up(self) -> None:
        """Down to the light depth again."""
        self._press_to(self._light_depth, self.plan.approach_speed, "at_depth")

    def lift(self) -> None:
        """Off the shaft and home."""
        self.rotate.stop()
        self._press_to(0, self.plan.press_speed, "up")

    def begin_bench(self) -> None:
        """Take the bench's zero where nothing touches the head: at home."""
        self.rotate.set_origin()
        self.progress.zero_due = True
        self.go_to()

    def go_to(self) -> None:
        """To the bench step's position; only on the way down there is a load to stop at."""
        step = self.bench_step
        if step.press_steps > self.press.position():
            self.progress.threshold = step.stop_count
        self._press_to(step.press_steps, step.press_speed, "at_depth")

    def turn_exactly(self) -> None:
        """Turn by the bench step's angle; the readings say when there are enough."""
        self.progress.arrive()
        self.rotate.move(self.bench_step.rotate_steps, self.bench_step.rotate_speed)

    def finish(self) -> None:
        """The cycle or bench step is over; its blocks wait for the host."""
        self.shaft = None
        self._report.end()

    def halt(self) -> None:
        """Both motors stop at once."""
        self.press.halt()
        self.rotate.halt()

    def retract(self) -> None:
        """Both motors stop, the head goes home."""
        self.halt()
        self._press_to(0, self._board.HOME_SPEED, "up")

    def retract_faulty(self) -> None:
        """The same, to end in FAULTED."""
        self._faulty = True
        self.retract()

    def note_faulty(self) -> None:
        """The head is on its way up already; that is to end in FAULTED."""
        self._faulty = True

    def give_up(self) -> None:
        """Stop here, and close the shaft if one was under way."""
        self._faulty = True
        self.halt()
        if self.shaft is not None:
            self.finish()
