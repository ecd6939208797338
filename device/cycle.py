"""The measuring cycle and the bench: one table of states and events.

Readings stream from the zero before to the zero after; what a reading means for the cycle (contact, full load, turn
covered) comes back into the table as an event. A bench step is one sampled state, after which the head stands where it
is. A feeder brings shafts and takes them away. The device knows counts, microsteps and ticks only.
"""

from feeder import CHUTE, GUARDS, STOP
from motions import LOST_STEPS_MOST, Motions
from plan import Plan, Step
from records import (
    APPROACH, BENCH, BUFFER_FULL, CELL_SATURATED, CELL_SILENT, CONFIGURATION, DEEPEN, EMERGENCY_STOP, EVENT, FAULT,
    FAULTED, FAULT_CODES, FEEDING, FULL, HOLDING, HOME_STUCK, HOMING, IDLE, LID_OPEN, LIFT, LIGHT, LIGHT_AGAIN,
    LOADED, LOST_STEPS, PHASES, RELEASING, RETRACTING, RETURN, SEATING, SELECTING, STANDING, STARTING, STATES,
    ZERO_AFTER, ZERO_BEFORE,
)  # fmt: skip

PHASE_OF = [PHASES.index(name) if name in PHASES else -1 for name in STATES]  # the sampled states are the phases
MEASURING = tuple(range(SEATING, ZERO_AFTER + 1)) + (BENCH,)
DOWN = tuple(range(APPROACH, LIFT + 1)) + (BENCH,)  # the head may touch the shaft
GOING_HOME = (HOMING, LIFT, RETRACTING)
HANDLING = (FEEDING, SELECTING, RELEASING)
MOVING = MEASURING + HANDLING + (STARTING, HOMING, RETRACTING)
STUCK_LOOKS = 3  # of the loop, in a row, at a switch that cannot be closed: a long wire catches spikes


class CycleError(Exception):
    """Event for which the state has no transition; nothing was changed."""


class Cycle(Motions):
    """State machine that runs the table over the parts of the gauge; its attributes are for reading.

    It reports to `outbox`. `cause` is the first fault of the shaft.
    """

    def __init__(self, board, press, rotate, cell, held, outbox) -> None:
        super().__init__(board, press, rotate, cell, held)
        self._outbox = outbox
        self.state = STARTING
        self.cause: int | None = None
        self.duration_us = self._elapsed_us = self._stuck = 0

    # Events

    def handle(self, event: str) -> None:
        """Take the transition for an event; raise CycleError and change nothing if there is none."""
        key = (self.state, event)
        if key not in TABLE:
            raise CycleError(event + " in " + STATES[self.state])
        state, action = TABLE[key]
        if state != self.state:
            self.held.close()
            previous, self.state = self.state, state
            self._then = None
            self.progress.enter(state)
            self._outbox.record(EVENT, (self._board.ticks_us(), previous, state, self.shaft))
        action(self)

    def fail(self, code: int, detail: int) -> None:
        """Report a fault and take its transition."""
        self._outbox.record(FAULT, (code, self.state, self._board.ticks_us(), self.shaft, detail))
        self.fault = code
        if self.shaft is not None and self.cause is None:
            self.cause = code
        self.handle(FAULT_CODES[code])

    def allows(self, event: str) -> bool:
        """Return True if the table has an event in the present state."""
        return (self.state, event) in TABLE

    def measuring(self) -> bool:
        """Return True if a shaft's cycle or a bench step is under way and not given up."""
        return self.state in MEASURING

    def start(self, misconfigured: int) -> None:
        """Look for home, unless the board's configuration or a guard forbids it."""
        if misconfigured:
            self.fail(CONFIGURATION, misconfigured)
        elif not self._guarded(self._board.inputs()):
            self.handle("start")

    def feed(self, shaft: int, source: int) -> None:
        """Bring a shaft onto the rollers, or take the one that lies there."""
        self.fault = None
        self.feeder.shaft = shaft
        self.feeder.source = source
        self.handle("feed")

    def release(self, place: int) -> None:
        """Let the shaft on the rollers go to a place."""
        self.fault = None
        self.feeder.place = place
        self.handle("release")

    def measure(self, shaft: int, plan: Plan) -> None:
        """Begin a cycle on this shaft by this plan."""
        self.plan = plan
        self._begin(shaft, plan)
        self._board.feed_shaft(shaft)
        self.handle("measure")

    def bench(self, step: Step) -> None:
        """Begin a bench step."""
        self.bench_step = step
        self._begin(step.shaft, step)
        self._board.bench_step(step.shaft)
        self.handle("bench")

    def _begin(self, shaft: int, plan) -> None:
        self.shaft = shaft
        self.cause = self.fault = None
        self.duration_us = 0
        self.progress.begin(plan)
        self.held.begin(shaft, self.cell.interval_us())

    def pass_time(self, elapsed_us: int) -> None:
        """Count time; call it first in every turn of the loop, with the time since the last turn."""
        self._elapsed_us = elapsed_us
        if self.shaft is not None:
            self.duration_us += elapsed_us

    def poll(self) -> None:
        """Notice guards, sensors and the end of motions; call it in every turn of the loop."""
        inputs = self._board.inputs()
        if self._guarded(inputs):
            return
        if self.state == FEEDING:
            self._arrive(self.feeder.coming(self._elapsed_us, inputs), inputs)
        elif self.state == RELEASING:
            self._arrive(self.feeder.leaving(self._elapsed_us, inputs), inputs)
        else:
            self._watch_home()
        if self._then is not None and not self._in_motion():
            event = self._then
            self._then = None
            if event == "selected" and inputs & CHUTE:
                event = "BIN_FULL"
            self._arrive(event, inputs if self.state in HANDLING else self.press.position())

    def _guarded(self, inputs: int) -> bool:
        """Return True if the lid or the emergency stop has just ended all motion."""
        if not inputs & GUARDS or self.state not in MOVING:
            return False
        self.fail(EMERGENCY_STOP if inputs & STOP else LID_OPEN, inputs)
        return True

    def _in_motion(self) -> bool:
        return self.press.moving() or self.rotate.moving() or (self.state in HANDLING and self._board.handling())

    def _watch_home(self) -> None:
        """Notice a head that came home or backed off, and a switch that is closed with the head far from home."""
        closed = self._board.home_closed() and not self._blind
        far = self.state != HOMING and self.press.position() > self._slip
        self._stuck = self._stuck + 1 if closed and far else 0
        if self._stuck >= STUCK_LOOKS and self.allows("HOME_STUCK"):
            self.fail(HOME_STUCK, self.press.position())
        elif closed and not far and self.state in GOING_HOME and self.press.rising():
            self._reach_home()
        elif self._then == "HOME_STUCK" and not closed:
            self.handle("opened")

    def _reach_home(self) -> None:
        if self.state == HOMING and not self._backed_off:
            self.handle("closed")
            return
        counted = self.press.position()
        self.press.halt()
        self.press.set_origin()
        self._top = 0
        self._then = "up"
        if self.state != HOMING and abs(counted) > LOST_STEPS_MOST:
            self.fail(LOST_STEPS, counted)

    def _arrive(self, event: "str | None", detail: int) -> None:
        if event in FAULT_CODES:
            self.fail(FAULT_CODES.index(event), detail)
        elif event is not None:
            self.handle("up_faulty" if event == "up" and self._faulty else event)

    # Readings

    def sample(self, tick_us: int, word: int, in_step: int, rotate: int, press: int) -> None:
        """Take one converter word with the positions at its moment."""
        self.cell.take(tick_us, word, in_step)
        if self.measuring() and self.state != SEATING:
            self._reading(tick_us, self.rotate.located(rotate), self.press.located(press))
        elif self._then == "HOME_STUCK" and self.progress.touched():
            self.fail(HOME_STUCK, self.press.position())
        self.judge_cell()

    def judge_cell(self) -> None:
        """Turn a fault of the cell into a fault of the cycle, once."""
        if self.cell.fault is not None and not self._faulty and self.state not in HANDLING:
            self.fail(self.cell.fault, self.cell.detail)

    def _reading(self, tick_us: int, rotate: int, press: int) -> None:
        cell = self.cell
        settling = self.progress.settling(rotate)
        self.held.add(PHASE_OF[self.state], tick_us, cell.gap_us, rotate, press, cell.count, cell.status | settling)
        event = self.progress.event(settling, rotate, press)
        if self.held.full():
            self.fail(BUFFER_FULL, self.held.used())
        else:
            self._arrive(event, self.progress.detail)


TABLE = {
    (STARTING, "start"): (HOMING, Motions.seek_home),
    (HOMING, "closed"): (HOMING, Motions.back_off),
    (HOMING, "opened"): (HOMING, Motions.rise),
    (HOMING, "up"): (IDLE, Motions.stay),
    (IDLE, "measure"): (SEATING, Motions.seat),
    (SEATING, "seated"): (ZERO_BEFORE, Motions.stay),
    (ZERO_BEFORE, "zeroed"): (APPROACH, Motions.go_near),
    (APPROACH, "near"): (APPROACH, Motions.go_on),
    (APPROACH, "loaded"): (APPROACH, Motions.ease),
    (APPROACH, "at_depth"): (LIGHT, Motions.turn_light),
    (APPROACH, "NO_CONTACT"): (RETRACTING, Motions.retract),
    (LIGHT, "turned"): (DEEPEN, Motions.deepen),
    (DEEPEN, "loaded"): (DEEPEN, Motions.ease),
    (DEEPEN, "at_depth"): (FULL, Motions.turn),
    (FULL, "turned"): (RETURN, Motions.go_back),
    (RETURN, "past_depth"): (RETURN, Motions.take_up),
    (RETURN, "at_depth"): (LIGHT_AGAIN, Motions.turn),
    (LIGHT_AGAIN, "turned"): (LIFT, Motions.lift),
    (LIFT, "missed"): (LIFT, Motions.search),
    (LIFT, "up"): (ZERO_AFTER, Motions.stay),
    (ZERO_AFTER, "zeroed"): (HOLDING, Motions.finish),
    (RETRACTING, "missed"): (RETRACTING, Motions.search),
    (RETRACTING, "up"): (HOLDING, Motions.finish),
    (HOLDING, "acknowledged"): (IDLE, Motions.be_ready),
    (HOLDING, "acknowledged_here"): (LOADED, Motions.be_ready),
    (FAULTED, "clear"): (HOMING, Motions.seek_home),
    (IDLE, "bench"): (BENCH, Motions.begin_bench),
    (BENCH, "loaded"): (BENCH, Motions.ease),
    (BENCH, "at_depth"): (BENCH, Motions.turn_exactly),
    (BENCH, "taken"): (STANDING, Motions.finish),
    (STANDING, "bench"): (BENCH, Motions.go_to),
    (STANDING, "clear"): (HOMING, Motions.seek_home),
    (IDLE, "feed"): (FEEDING, Motions.let_in),
    (FEEDING, "HOPPER_EMPTY"): (IDLE, Motions.stay),
    (LOADED, "measure"): (SEATING, Motions.seat),
    (LOADED, "release"): (SELECTING, Motions.select),
    (SELECTING, "selected"): (RELEASING, Motions.let_out),
    (RELEASING, "gone"): (IDLE, Motions.stay),
}
for _event in ("arrived", "SHAFT_SHORT", "TWO_SHAFTS"):
    TABLE[(FEEDING, _event)] = (LOADED, Motions.take)
for _state, _event in (
    (STARTING, "CONFIGURATION"), (HOMING, "up_faulty"), (HOMING, "HOME_NOT_FOUND"), (LIFT, "HOME_NOT_FOUND"),
    (RETRACTING, "HOME_NOT_FOUND"), (LIFT, "LOST_STEPS"),
    (RETRACTING, "up_faulty"), (RETRACTING, "LOST_STEPS"), (FEEDING, "JAM"), (RELEASING, "JAM"),
    (SELECTING, "BIN_FULL"), (RELEASING, "BIN_FULL"),
):  # fmt: skip
    TABLE[(_state, _event)] = (FAULTED, Motions.give_up)
for _state in MOVING:
    TABLE[(_state, "LID_OPEN")] = TABLE[(_state, "EMERGENCY_STOP")] = (FAULTED, Motions.give_up)
CELL_FAULTS = FAULT_CODES[CELL_SILENT : CELL_SATURATED + 1]
for _state in MEASURING:
    for _event in ("HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL"):
        TABLE[(_state, _event)] = (RETRACTING, Motions.retract)
for _state in MEASURING + (STANDING,):
    for _event in CELL_FAULTS + ("INTERNAL",):
        TABLE[(_state, _event)] = (RETRACTING, Motions.retract_faulty)
for _state in DOWN:
    TABLE[(_state, "TRAVEL_LIMIT")] = (RETRACTING, Motions.retract)
    TABLE[(_state, "FORCE_LIMIT")] = TABLE[(_state, "FORCE_REVERSED")] = (RETRACTING, Motions.retract_faulty)
for _state in DOWN + (STANDING, HOMING, RETRACTING):
    TABLE[(_state, "HOME_STUCK")] = (RETRACTING, Motions.retract_blind)
for _event in CELL_FAULTS:
    TABLE[(HOMING, _event)] = (HOMING, Motions.note_faulty)
    TABLE[(RETRACTING, _event)] = (RETRACTING, Motions.note_faulty)
    for _state in (IDLE, LOADED, HOLDING):
        TABLE[(_state, _event)] = (FAULTED, Motions.give_up)
for _state in (STARTING, HOMING, IDLE, LOADED, RETRACTING, HOLDING, FAULTED) + HANDLING:
    TABLE[(_state, "INTERNAL")] = (FAULTED, Motions.give_up)
