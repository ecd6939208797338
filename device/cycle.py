"""The measuring cycle: one table of states and events, and the actions it names.

Readings stream from the zero before to the zero after; what a reading means for the cycle (contact, full load, turn
covered) comes back into the table as an event. The device knows counts, microsteps and ticks only.
"""

from plan import Plan
from progress import Progress
from records import FAULT_CODES, STATES

(STARTING, HOMING, IDLE, SEATING, ZERO_BEFORE, APPROACH, LIGHT, DEEPEN, FULL, RETURN, LIGHT_AGAIN, LIFT, ZERO_AFTER,
 RETRACTING, HOLDING, FAULTED) = range(len(STATES))  # fmt: skip
HOST_SILENT, STOPPED_BY_HOST, BUFFER_FULL, INTERNAL = range(8, len(FAULT_CODES))
FIRST_PHASE = ZERO_BEFORE  # phases follow each other as their states do
MEASURING = range(SEATING, ZERO_AFTER + 1)
DOWN = range(APPROACH, LIFT + 1)  # the head may touch the shaft
GOING_HOME = (HOMING, LIFT, RETRACTING)
TURN_MARGIN = 2  # a turn gets a move this many times as long as it should need, and is stopped on the way


class CycleError(Exception):
    """An event came that the state has no transition for; nothing was changed."""


class Cycle:
    """Runs the table over the parts of the gauge; the attributes are for reading.

    `report` takes event(previous, state), fault(code, state, detail) and end(). `cause` is the first fault of the
    shaft, `shaft` the one under way or None.
    """

    def __init__(self, board, press, rotate, cell, held, report) -> None:
        self._board = board
        self._report = report
        self.press = press
        self.rotate = rotate
        self.cell = cell
        self.held = held
        self.state = STARTING
        self.shaft: int | None = None
        self.cause: int | None = None
        self.progress = Progress(cell, rotate, board.COUNT_LIMIT, board.PRESS_LIMIT)
        self.duration_us = 0
        self._faulty = False  # the way up ends in FAULTED
        self._light_depth = 0
        self._then: str | None = None  # event, or fault, when all motion is over

    # Events

    def handle(self, event: str) -> None:
        """Take the transition for this event. Raises CycleError and changes nothing when there is none."""
        key = (self.state, event)
        if key not in TABLE:
            raise CycleError(event + " in " + STATES[self.state])
        state, action = TABLE[key]
        if state != self.state:
            self.held.close()
            previous = self.state
            self.state = state
            self._then = None
            self.progress.enter(state)
            self._report.event(previous, state)
        action(self)

    def fail(self, code: int, detail: int) -> None:
        """Report a fault and take its transition."""
        self._report.fault(code, self.state, detail)
        if self.shaft is not None and self.cause is None:
            self.cause = code
        self.handle(FAULT_CODES[code])

    def allows(self, event: str) -> bool:
        """Whether the table has this event in the present state."""
        return (self.state, event) in TABLE

    def measuring(self) -> bool:
        """Whether a shaft's cycle is under way and not given up."""
        return SEATING <= self.state <= ZERO_AFTER

    def measure(self, shaft: int, plan: Plan) -> None:
        """Begin a cycle on this shaft by this plan."""
        self.plan = plan
        self.shaft = shaft
        self.cause = None
        self.duration_us = 0
        self.progress.begin(plan)
        self.held.begin(shaft, self.cell.interval_us())
        self._board.feed_shaft(shaft)
        self.handle("measure")

    def pass_time(self, elapsed_us: int) -> None:
        """Call it first in every turn of the loop, with the time since the last."""
        if self.shaft is not None:
            self.duration_us += elapsed_us

    def poll(self) -> None:
        """Notice the end of motions; call it in every turn of the loop."""
        if self.state in GOING_HOME and self.press.rising() and self._board.home_closed():
            self.press.halt()
            self.press.set_origin()
        if self._then is not None and not self.press.moving() and not self.rotate.moving():
            event = self._then
            self._then = None
            self._arrive(event, self.press.position())

    def _arrive(self, event: str, detail: int) -> None:
        if self.state == HOMING and not self._board.home_closed():
            event = "HOME_NOT_FOUND"
        if event in FAULT_CODES:
            self.fail(FAULT_CODES.index(event), detail)
        else:
            self.handle("up_faulty" if event == "up" and self._faulty else event)

    # Readings

    def sample(self, tick_us: int, word: int, in_step: int, rotate: int, press: int) -> None:
        """Take one converter word with the positions at its moment."""
        self.cell.take(tick_us, word, in_step)
        if self.measuring() and self.state != SEATING:
            self._reading(tick_us, self.rotate.located(rotate), self.press.located(press))
        self.judge_cell()

    def judge_cell(self) -> None:
        """Turn a fault of the cell into one of the cycle, once."""
        if self.cell.fault is not None and not self._faulty:
            self.fail(self.cell.fault, self.cell.detail)

    def _reading(self, tick_us: int, rotate: int, press: int) -> None:
        cell = self.cell
        settling = self.progress.settling(rotate)
        self.held.add(self.state - FIRST_PHASE, tick_us, cell.gap_us, rotate, press, cell.count, cell.status | settling)
        event = self.progress.event(settling, rotate, press)
        if self.held.full():
            self.fail(BUFFER_FULL, self.held.used())
        elif event is not None:
            self._arrive(event, self.progress.detail)

    # Actions

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

    def finish(self) -> None:
        """The cycle is over; its blocks wait for the host."""
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


TABLE = {
    (STARTING, "start"): (HOMING, Cycle.seek_home),
    (HOMING, "up"): (IDLE, Cycle.stay),
    (HOMING, "up_faulty"): (FAULTED, Cycle.give_up),
    (HOMING, "HOME_NOT_FOUND"): (FAULTED, Cycle.give_up),
    (IDLE, "measure"): (SEATING, Cycle.seat),
    (SEATING, "seated"): (ZERO_BEFORE, Cycle.stay),
    (ZERO_BEFORE, "zeroed"): (APPROACH, Cycle.go_near),
    (APPROACH, "near"): (APPROACH, Cycle.go_on),
    (APPROACH, "loaded"): (APPROACH, Cycle.ease),
    (APPROACH, "at_depth"): (LIGHT, Cycle.turn_light),
    (APPROACH, "NO_CONTACT"): (RETRACTING, Cycle.retract),
    (LIGHT, "turned"): (DEEPEN, Cycle.deepen),
    (DEEPEN, "loaded"): (DEEPEN, Cycle.ease),
    (DEEPEN, "at_depth"): (FULL, Cycle.turn),
    (FULL, "turned"): (RETURN, Cycle.go_back),
    (RETURN, "past_depth"): (RETURN, Cycle.take_up),
    (RETURN, "at_depth"): (LIGHT_AGAIN, Cycle.turn),
    (LIGHT_AGAIN, "turned"): (LIFT, Cycle.lift),
    (LIFT, "up"): (ZERO_AFTER, Cycle.stay),
    (ZERO_AFTER, "zeroed"): (HOLDING, Cycle.finish),
    (RETRACTING, "up"): (HOLDING, Cycle.finish),
    (RETRACTING, "up_faulty"): (FAULTED, Cycle.give_up),
    (HOLDING, "acknowledged"): (IDLE, Cycle.stay),
    (FAULTED, "clear"): (HOMING, Cycle.seek_home),
}
CELL_FAULTS = FAULT_CODES[:4]
for _state in MEASURING:
    for _event in ("HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL"):
        TABLE[(_state, _event)] = (RETRACTING, Cycle.retract)
    for _event in CELL_FAULTS + ("INTERNAL",):
        TABLE[(_state, _event)] = (RETRACTING, Cycle.retract_faulty)
for _state in DOWN:
    TABLE[(_state, "TRAVEL_LIMIT")] = (RETRACTING, Cycle.retract)
    TABLE[(_state, "FORCE_LIMIT")] = (RETRACTING, Cycle.retract_faulty)
for _event in CELL_FAULTS:
    TABLE[(HOMING, _event)] = (HOMING, Cycle.note_faulty)
    TABLE[(RETRACTING, _event)] = (RETRACTING, Cycle.note_faulty)
    TABLE[(IDLE, _event)] = TABLE[(HOLDING, _event)] = (FAULTED, Cycle.give_up)
for _state in (STARTING, HOMING, IDLE, RETRACTING, HOLDING, FAULTED):
    TABLE[(_state, "INTERNAL")] = (FAULTED, Cycle.give_up)
