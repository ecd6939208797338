"""Actions that the cycle's table names; each begins or ends a motion.

Nothing here waits: `_then` names the event or fault that follows when all motion has ended.
"""

from feeder import Feeder
from plan import Plan, Step
from progress import Progress

LOST_STEPS_MOST = 32  # a home switch repeats better, and a motor slips by four full steps, 64 microsteps, at once
SLIP_PART = 16  # of the whole travel: nearer home than this the switch is believed, further off the count
BACK_OFF = 4  # part of the speed of homing: two readings must come before a head that meets something presses hard
TURN_MARGIN = 2  # a turn gets a move this many times as long as it should need, and is stopped on the way


class Motions:
    """The gauge's moving parts and their actions; its attributes are for reading.

    `shaft` is the shaft under way or None, `fault` the fault since the last order or None.
    """

    def __init__(self, board, press, rotate, cell, held) -> None:
        self._board = board
        self.press = press
        self.rotate = rotate
        self.cell = cell
        self.held = held
        self.feeder = Feeder(board)
        self.shaft: int | None = None
        self.fault: int | None = None
        self.plan: Plan
        self.bench_step: Step
        self.progress = Progress(cell, rotate, board.COUNT_LIMIT, board.PRESS_LIMIT)
        self._faulty = False  # the way up ends in FAULTED
        self._blind = False  # the home switch is not believed
        self._backed_off = False  # in this search for home
        self._top = 0  # where the head goes when the switch is not believed
        self._slip = board.PRESS_LIMIT // SLIP_PART
        self._light_depth = 0
        self._then: str | None = None

    def _press_to(self, target: int, speed: int, then: str) -> None:
        self._then = then
        self.press.move_to(target, speed)

    def stay(self) -> None:
        """Do nothing: no motion is needed."""

    def be_ready(self) -> None:
        """Forget the fault of the shaft that is over."""
        self.fault = None

    def at_home(self) -> bool:
        """Return True if the home switch is closed and the counted position allows it."""
        return self.press.position() <= self._slip and self._board.home_closed()

    def _go_home(self, speed: int) -> None:
        """Go up until the home switch closes, which has to be where it was before."""
        self._then = "up"
        if not self.at_home():
            self._then = "missed"
            self.press.move(-self.press.position() - LOST_STEPS_MOST, speed)

    def search(self) -> None:
        """Go on slowly past the old home, as steps may be lost; only a little, not to grind at the end stop."""
        self._then = "HOME_NOT_FOUND"
        self.press.move(-self._slip // 2, self._board.HOME_SPEED // BACK_OFF)

    def seek_home(self) -> None:
        """Find where the home switch closes, whatever the count: the head may have been turned by hand."""
        self._faulty = self._blind = self._backed_off = False
        self.fault = self.feeder.in_gauge = None  # a person may have been at the rollers
        self.cell.clear(self._board.ticks_us())
        self._board.gate(False)
        if self._board.home_closed():
            self.back_off()
        else:
            self.rise()

    def back_off(self) -> None:
        """Go down slowly until the home switch opens: home is its edge, and a switch that never opens stops nothing."""
        self.press.halt()
        self._backed_off = True
        self._top = min(0, self.press.position())
        self._then = "HOME_STUCK"
        self.press.move(self._slip, self._board.HOME_SPEED // BACK_OFF)

    def rise(self) -> None:
        """Go up until the home switch closes, at most a little more than the whole travel."""
        self.press.halt()
        self._then = "HOME_NOT_FOUND"
        self.press.move(-self._board.PRESS_LIMIT - self._slip, self._board.HOME_SPEED)

    def seat(self) -> None:
        """Turn the shaft so that it settles on its rollers."""
        self.rotate.set_origin()
        self._then = "seated"
        self.rotate.move(self.plan.seat_steps, self.plan.rotate_speed)

    def go_near(self) -> None:
        """Go down to the clearance at full speed; contact may come before."""
        self.progress.threshold = self.plan.light_count
        self._press_to(self.plan.clearance_steps, self.plan.press_speed, "near")

    def go_on(self) -> None:
        """Go down slowly to the contact."""
        self._press_to(self.plan.travel_steps, self.plan.approach_speed, "NO_CONTACT")

    def ease(self) -> None:
        """Stop with a ramp because the load is reached."""
        self.progress.threshold = None
        self._then = "at_depth"
        self.press.stop()

    def turn_light(self) -> None:
        """Remember the depth of the light load, then turn."""
        self._light_depth = self.press.position()
        self.turn()

    def turn(self) -> None:
        """Turn at this depth until the readings cover the turn."""
        self._then = "INTERNAL"  # the move is so long that its end should never come
        speed = self.plan.rotate_speed
        waiting_ms = (self.plan.settle_readings + 4) * self.cell.interval_us() // 1000
        self.rotate.move(TURN_MARGIN * (self.progress.turn_steps() + speed + waiting_ms * speed // 1000), speed)

    def deepen(self) -> None:
        """Go down to the full load."""
        self.rotate.stop()
        self.progress.threshold = self.plan.full_count
        self._press_to(self.plan.travel_steps, self.plan.press_speed, "TRAVEL_LIMIT")

    def go_back(self) -> None:
        """Go up past the light depth, so that it is reached from the same side of the backlash as before."""
        self.rotate.stop()
        past = max(0, self._light_depth - self.plan.takeup_steps)  # the head cannot go beyond home
        self._press_to(past, self.plan.press_speed, "past_depth")

    def take_up(self) -> None:
        """Go down to the light depth again."""
        self._press_to(self._light_depth, self.plan.approach_speed, "at_depth")

    def lift(self) -> None:
        """Lift the head off the shaft and go home."""
        self.rotate.stop()
        self._go_home(self.plan.press_speed)

    def begin_bench(self) -> None:
        """Take the bench's zero at home, where nothing touches the head."""
        self.rotate.set_origin()
        self.progress.zero_due = True
        self.go_to()

    def go_to(self) -> None:
        """Go to the bench step's position; only on the way down can a load stop the head."""
        step = self.bench_step
        if step.press_steps > self.press.position():
            self.progress.threshold = step.stop_count
        self._press_to(step.press_steps, step.press_speed, "at_depth")

    def turn_exactly(self) -> None:
        """Turn by the bench step's angle until there are enough readings."""
        self.progress.arrive()
        self.rotate.move(self.bench_step.rotate_steps, self.bench_step.rotate_speed)

    def let_in(self) -> None:
        """Begin a stroke of the escapement if there is a shaft to let in."""
        if not self.feeder.let_in():
            self._then = "HOPPER_EMPTY"

    def take(self) -> None:
        """Accept what lies on the rollers as the ordered shaft."""
        self.feeder.in_gauge = self.feeder.shaft

    def select(self) -> None:
        """Point the chute to the place."""
        self._then = "selected"
        self._board.select(self.feeder.place)

    def let_out(self) -> None:
        """Record where the shaft goes, then open the gate; the sensors show when it has gone."""
        self.feeder.let_out()

    def finish(self) -> None:
        """End the cycle or bench step; its blocks wait for the host."""
        self.shaft = None
        self.held.end_due = True

    def halt(self) -> None:
        """Stop both motors at once."""
        self.press.halt()
        self.rotate.halt()

    def retract(self) -> None:
        """Stop both motors, then move the head home."""
        self.halt()
        self._go_home(self._board.HOME_SPEED)

    def retract_faulty(self) -> None:
        """Stop both motors, then move the head home; end in FAULTED."""
        self._faulty = True
        self.retract()

    def retract_blind(self) -> None:
        """Stop both motors, then move the head up by the count, ignoring the home switch; end in FAULTED."""
        self._faulty = self._blind = True
        self.halt()
        self._then = "up"
        self.press.move(self._top - self.press.position(), self._board.HOME_SPEED)

    def note_faulty(self) -> None:
        """Let the head, which is already on its way up, go on; end in FAULTED."""
        self._faulty = True

    def give_up(self) -> None:
        """Stop here, and end the shaft if there is one."""
        self._faulty = True
        self.halt()
        if self.shaft is not None:
            self.finish()
