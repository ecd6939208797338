"""The gauge's states: a table of states and events, which a program, the guards and the parts drive.

While a program runs every reading goes to the host; what a reading means comes back into the table as an event. The
device knows counts, microsteps and ticks only. An optional part adds its states to `table` and itself to `parts`.
"""

from home import LOST_STEPS_MOST, Motions
from inputs import GUARDS, STOP
from micropython import const
from records import (
    BUFFER_FULL, CELL_SATURATED, CELL_SILENT, CONFIGURATION, EMERGENCY_STOP, EVENT, FAULT, FAULTED, FAULT_CODES,
    HOLDING, HOME_STUCK, HOMING, IDLE, LID_OPEN, LOST_STEPS, RETRACTING, RUNNING, STANDING, STARTING, STATES,
    STEP_OVERTIME, TRAVEL_LIMIT,
)  # fmt: skip

_STUCK_LOOKS = const(3)  # of the loop, in a row, at a switch that cannot be closed: a long wire catches spikes


class StateError(Exception):
    """Event for which the state has no transition; nothing was changed."""


class Gauge(Motions):
    """State machine over the parts of the gauge; its attributes are for reading.

    It reports to `outbox`. `cause` is the first fault of the program.
    """

    def __init__(self, board, press, rotate, cell, held, run, outbox) -> None:
        super().__init__(board, press, rotate, cell, held, run)
        self._outbox = outbox
        self.table = TABLE
        self.state = STARTING
        self.cause: int | None = None
        self.duration_us = self._elapsed_us = self._stuck = 0

    # Events

    def handle(self, event: str) -> None:
        """Take the transition for an event; raise StateError and change nothing if there is none."""
        key = (self.state, event)
        if key not in self.table:
            raise StateError(event + " in " + STATES[self.state])
        state, action = self.table[key]
        if state != self.state:
            self.held.close()
            previous, self.state = self.state, state
            self._then = None
            self._outbox.record(EVENT, (self.board.boot, self.board.ticks_us(), previous, state, self.shaft))
        action(self)

    def fail(self, code: int, detail: int) -> None:
        """Report a fault and take its transition."""
        board, step = self.board, self.run.index if self.state == RUNNING else None
        self._outbox.record(FAULT, (board.boot, code, self.state, step, board.ticks_us(), self.shaft, detail))
        self.fault = code
        if self.shaft is not None and self.cause is None:
            self.cause = code
        self.handle(FAULT_CODES[code])

    def allows(self, event: str) -> bool:
        """Return True if the table has an event in the present state."""
        return (self.state, event) in self.table

    def start(self, misconfigured: int) -> None:
        """Look for home, unless the board's configuration or a guard forbids it."""
        if misconfigured:
            self.fail(CONFIGURATION, misconfigured)
        elif not self._guarded(self.board.inputs()):
            self.handle("start")

    def begin(self, shaft: int, steps: list, stand: bool) -> None:
        """Begin a program under a number."""
        self.shaft = shaft
        self.cause = self.fault = None
        self.duration_us = 0
        if self.state != STANDING:
            self.run.zero = None  # the cell has had time to drift, and a person to touch it
            self.rotate.set_origin()
        self.run.begin(steps, stand)
        self.held.begin(shaft, self.cell.interval_us())
        self.board.program_begins(shaft, steps)
        self.cell.begin()
        self.handle("run")

    def next_step(self) -> None:
        """Begin the next step of the program, or end it."""
        self.held.close()
        run = self.run
        if not run.advance():
            self.handle("stand" if run.stand else "over" if self.at_home() else "leave")
        elif run.step.press_steps is None:
            self.arrive()
        else:
            self._press_to(run.target())

    def _press_to(self, target: int) -> None:
        run = self.run
        run.press(abs(target - self.press.position()))
        if target == 0:
            self._go_home(run.step.press_speed)
        elif target > self.board.PRESS_LIMIT:
            self.fail(TRAVEL_LIMIT, target)
        else:
            if target > self.press.position():  # only on the way down can a load stop the head
                run.threshold = run.step.until_count
            self._then = "there"
            self.press.move_to(target, run.step.press_speed)

    def pass_time(self, elapsed_us: int) -> None:
        """Count time; call it first in every turn of the loop, with the time since the last turn."""
        self._elapsed_us = elapsed_us
        if self.shaft is not None:
            self.duration_us += elapsed_us

    def poll(self) -> None:
        """Feed the motors, notice guards, sensors and the end of motions; call it in every turn of the loop."""
        self.press.poll()
        self.rotate.poll()
        inputs = self.board.inputs()
        if self._guarded(inputs):
            return
        for part in self.parts:
            self._arrive(part.poll(self._elapsed_us, inputs), inputs)
        self._watch_home()
        if self._then is not None and not self.press.moving() and not self.rotate.moving():
            event = self._then
            self._then = None
            self._arrive(self._come_to_rest(event), self.press.position())
        elif self.state == RUNNING and self.run.over():
            self.next_step()
        if self.state == RUNNING and self.run.late(self._elapsed_us):
            self.fail(STEP_OVERTIME, self.run.detail)

    def _come_to_rest(self, event: str) -> str:
        """Return the event, or the fault of a press that came to its place before the load did."""
        run = self.run
        if event == "there" and run.threshold is not None and run.step.unreached is not None:
            return FAULT_CODES[run.step.unreached]
        return event

    def _guarded(self, inputs: int) -> bool:
        """Return True if the lid or the emergency stop has just ended all motion."""
        if not inputs & GUARDS or not self.allows("LID_OPEN"):
            return False
        self.fail(EMERGENCY_STOP if inputs & STOP else LID_OPEN, inputs)
        return True

    def _watch_home(self) -> None:
        """Notice a head that came home or backed off, and a switch that is closed with the head far from home."""
        closed = self.board.home_closed() and not self._blind
        far = self.state != HOMING and self.press.position() > self._slip
        self._stuck = self._stuck + 1 if closed and far else 0
        if self._stuck >= _STUCK_LOOKS and self.allows("HOME_STUCK"):
            self.fail(HOME_STUCK, self.press.position())
        elif closed and not far and self._to_switch() and self.press.rising():
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
        if self.state == RUNNING:
            self._reading(tick_us, self.rotate.located(rotate), self.press.located(press))
        elif self._then == "HOME_STUCK" and self.run.touched():
            self.fail(HOME_STUCK, self.press.position())
        self.judge_cell()

    def judge_cell(self) -> None:
        """Turn a fault of the cell into a fault of the gauge, once."""
        cell = self.cell
        if cell.fault is not None and not self._faulty and self.allows(FAULT_CODES[cell.fault]):
            self.fail(cell.fault, cell.detail)

    def _reading(self, tick_us: int, rotate: int, press: int) -> None:
        cell, run = self.cell, self.run
        settling = run.settling(rotate)
        self.held.add(run.step.phase, tick_us, cell.gap_us, rotate, press, cell.count, cell.status | settling)
        event = run.event(settling)
        if self.held.full():
            self.fail(BUFFER_FULL, self.held.readings)
        else:
            self._arrive(event, run.detail)


_CELL = FAULT_CODES[CELL_SILENT : CELL_SATURATED + 1]
_ROWS = (
    ((STARTING,), ("start",), HOMING, Motions.seek_home),
    ((HOMING,), ("closed",), HOMING, Motions.back_off),
    ((HOMING,), ("opened",), HOMING, Motions.rise),
    ((HOMING,), ("up",), IDLE, Motions.stay),
    ((IDLE, STANDING), ("run",), RUNNING, Gauge.next_step),
    ((RUNNING,), ("loaded",), RUNNING, Motions.ease),
    ((RUNNING,), ("there", "up"), RUNNING, Motions.arrive),
    ((RUNNING,), ("missed",), RUNNING, Motions.search),
    ((RUNNING,), ("stand",), STANDING, Motions.finish),
    ((RUNNING,), ("over",), HOLDING, Motions.finish),
    ((RUNNING,), ("leave",), RETRACTING, Motions.retract),
    ((RETRACTING,), ("missed",), RETRACTING, Motions.search),
    ((RETRACTING,), ("up",), HOLDING, Motions.finish),
    ((HOLDING,), ("acknowledged",), IDLE, Motions.be_ready),
    ((STANDING, FAULTED), ("clear",), HOMING, Motions.seek_home),
    ((RUNNING,), ("NO_CONTACT", "TRAVEL_LIMIT", "STEP_OVERTIME", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL"),
     RETRACTING, Motions.retract),
    ((RUNNING,), ("FORCE_LIMIT", "FORCE_REVERSED"), RETRACTING, Motions.retract_faulty),
    ((RUNNING, STANDING), _CELL + ("INTERNAL",), RETRACTING, Motions.retract_faulty),
    ((RUNNING, STANDING, HOMING, RETRACTING), ("HOME_STUCK",), RETRACTING, Motions.retract_blind),
    ((HOMING,), _CELL, HOMING, Motions.note_faulty),
    ((RETRACTING,), _CELL, RETRACTING, Motions.note_faulty),
    ((STARTING,), ("CONFIGURATION",), FAULTED, Motions.give_up),
    ((STARTING, HOMING, RUNNING, RETRACTING), ("LID_OPEN", "EMERGENCY_STOP"), FAULTED, Motions.give_up),
    ((HOMING, RUNNING, RETRACTING), ("HOME_NOT_FOUND",), FAULTED, Motions.give_up),
    ((RUNNING, RETRACTING), ("LOST_STEPS",), FAULTED, Motions.give_up),
    ((HOMING, RETRACTING), ("up_faulty",), FAULTED, Motions.give_up),
    ((IDLE, HOLDING), _CELL, FAULTED, Motions.give_up),
    ((STARTING, HOMING, IDLE, RETRACTING, HOLDING, FAULTED), ("INTERNAL",), FAULTED, Motions.give_up),
)  # fmt: skip
TABLE = {(state, event): row[2:] for row in _ROWS for state in row[0] for event in row[1]}
