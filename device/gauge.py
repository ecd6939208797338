"""The gauge's states: a table of states and events, which a program, the guards and the parts drive.

While a program runs every reading goes to the host; what a reading means comes back into the table as an event. The
device knows counts, microsteps and ticks only. An optional part adds its states to `table` and itself to `parts`.
"""

from home import LOST_STEPS_MOST, Motions
from inputs import GUARDS, STOP
from micropython import const
from records import EVENT, FAULT, FAULT_CODES, HOMING, RUNNING, STANDING, STARTING, STATES

_STUCK_LOOKS = const(3)  # of the loop, in a row, at a switch that cannot be closed: a long wire catches spikes


class StateError(Exception):
    """Event for which the state has no transition; nothing was changed."""


class Gauge(Motions):
    """State machine over the parts of the gauge; its attributes are for reading.

    It reports to `outbox`. `cause` is the first fault of the program, `duration_us` its time so far.
    """

    def __init__(self, board, held, outbox) -> None:
        super().__init__(board, held)
        self._outbox = outbox
        self.table = TABLE
        self.state = STARTING
        self.cause: int | None = None
        self.duration_us = self._stuck = 0

    def allows(self, event: str) -> bool:
        """Return True if the table has an event in the present state."""
        return (self.state, event) in self.table

    def handle(self, event: str, detail: int = 0) -> None:
        """Take the transition for an event and report a fault; raise StateError and change nothing if there is none."""
        key = (self.state, event)
        if key not in self.table:
            raise StateError(event + " in " + STATES[self.state])
        if event in FAULT_CODES:
            self._report(FAULT_CODES.index(event), detail)
        previous = self.state
        self.state, action = self.table[key]
        if self.state != previous:
            self.held.close()
            self._then = None
            self._outbox.record(EVENT, (self.board.boot, self.board.ticks_us(), previous, self.state, self.shaft))
        action(self)

    def offer(self, event: str, detail: int = 0) -> bool:
        """Take the transition for an event if there is one; return True if so."""
        allowed = self.allows(event)
        if allowed:
            self.handle(event, detail)
        return allowed

    def _report(self, code: int, detail: int) -> None:
        board, step = self.board, self.run.index if self.state == RUNNING else None
        self._outbox.record(FAULT, (board.boot, code, self.state, step, board.ticks_us(), self.shaft, detail))
        self.fault = code
        if self.shaft is not None and self.cause is None:
            self.cause = code

    def start(self, misconfigured: int) -> None:
        """Look for home, unless the board's configuration or a guard forbids it."""
        if misconfigured:
            self.handle("CONFIGURATION", misconfigured)
        elif not self._guarded(self.board.inputs()):
            self.handle("start")

    # The program

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
            self._press_to(run.target(), run.step)

    def _press_to(self, target: int, step) -> None:
        steps, then = target - self.press.position(), "there"
        self.run.press(abs(steps))
        if target == 0:
            self._go_home(step.press_speed)
        elif target > self.board.PRESS_LIMIT:
            self.handle("TRAVEL_LIMIT", target)
        else:
            if steps > 0 and step.until_count is not None:  # only on the way down can a load stop the head
                self.run.threshold = step.until_count
                then = then if step.unreached is None else FAULT_CODES[step.unreached]
            self._move_press(steps, step.press_speed, then)

    def ease(self) -> None:
        """Stop with a ramp because the load is reached."""
        self.run.threshold = None
        self._then = "there"
        self.press.stop()

    def arrive(self) -> None:
        """Turn, if the step says so, now that the press has come to rest."""
        self.run.arrive(self.press.position())
        if self.run.step.rotate_steps:
            self.rotate.move(self.run.step.rotate_steps, self.run.step.rotate_speed)

    # In every turn of the loop

    def poll(self, now_us: int, elapsed_us: int) -> None:
        """Feed the motors, notice a bad cell, guards, sensors, late steps and the end of motions."""
        self._watch_cell(now_us)
        self.press.poll()
        self.rotate.poll()
        inputs = self.board.inputs()
        if self._guarded(inputs):
            return
        for part in self.parts:
            event = part.poll(elapsed_us, inputs)
            if event is not None:
                self.handle(event, inputs)
        self._watch_home()
        if self._then is not None and not self.press.moving() and not self.rotate.moving():
            event, self._then = self._then, None
            self.handle("up_faulty" if event == "up" and self._faulty else event, self.press.position())
        elif self.state == RUNNING and self.run.over():
            self.next_step()
        if self.state == RUNNING and self.run.late(elapsed_us):
            self.handle("STEP_OVERTIME", self.run.detail)

    def _guarded(self, inputs: int) -> bool:
        """Return True if the lid or the emergency stop has just ended all motion."""
        return inputs & GUARDS != 0 and self.offer("EMERGENCY_STOP" if inputs & STOP else "LID_OPEN", inputs)

    def _watch_home(self) -> None:
        """Notice a head that came home or backed off, and a switch that is closed with the head far from home."""
        closed = self.board.home_closed()
        far = self.state != HOMING and self.press.position() > self._slip
        self._stuck = self._stuck + 1 if closed and far and self._then != "up" else 0
        if self._stuck >= _STUCK_LOOKS:
            self.offer("HOME_STUCK", self.press.position())
        elif closed and not far and self._then in ("missed", "HOME_NOT_FOUND"):
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
            self.handle("LOST_STEPS", counted)

    def sample(self, tick_us: int, word: int, in_step: int, rotate: int, press: int) -> None:
        """Take one converter word with the counted steps at its moment."""
        cell, run, held = self.cell, self.run, self.held
        cell.take(tick_us, word, in_step)
        if self.state != RUNNING:
            if self._then == "HOME_STUCK" and run.touched():
                self.handle("HOME_STUCK", self.press.position())
            return
        rotate, press = self.rotate.located(rotate), self.press.located(press)
        event = run.take(rotate)
        held.add(run.step.phase, tick_us, cell.gap_us, rotate, press, cell.count, cell.status)
        if held.full():
            self.handle("BUFFER_FULL", held.readings)
        elif event is not None:
            self.handle(event, run.detail)

    def _watch_cell(self, now_us: int) -> None:
        """Turn a fault of the cell, silence too, into a fault of the gauge, once."""
        cell = self.cell
        cell.watch(now_us)
        if cell.fault is not None and not self._faulty:
            self.offer(FAULT_CODES[cell.fault], cell.detail)


CELL_FAULTS = "CELL_SILENT CELL_STUCK CELL_OUT_OF_STEP CELL_SATURATED "
_ROWS = (  # in these states, on these events, the gauge goes to this state or stays, and does this
    ("STARTING", "start", "HOMING", Motions.seek_home),
    ("HOMING", "closed", None, Motions.back_off),
    ("HOMING", "opened", None, Motions.rise),
    ("HOMING", "up", "IDLE", Motions.be_ready),
    ("IDLE STANDING", "run", "RUNNING", Gauge.next_step),
    ("RUNNING", "loaded", None, Gauge.ease),
    ("RUNNING", "there up", None, Gauge.arrive),
    ("RUNNING RETRACTING", "missed", None, Motions.search),
    ("RUNNING", "stand", "STANDING", Motions.finish),
    ("RUNNING", "over", "HOLDING", Motions.finish),
    ("RUNNING", "leave", "RETRACTING", Motions.retract),
    ("RETRACTING", "up", "HOLDING", Motions.finish),
    ("HOLDING", "acknowledged", "IDLE", Motions.be_ready),
    ("STANDING FAULTED", "clear", "HOMING", Motions.seek_home),
    ("RUNNING", "NO_CONTACT TRAVEL_LIMIT STEP_OVERTIME HOST_SILENT STOPPED_BY_HOST BUFFER_FULL", "RETRACTING",
     Motions.retract),
    ("RUNNING", "FORCE_LIMIT FORCE_REVERSED", "RETRACTING", Motions.retract_faulty),
    ("RUNNING STANDING", CELL_FAULTS + "INTERNAL", "RETRACTING", Motions.retract_faulty),
    ("RUNNING STANDING HOMING RETRACTING", "HOME_STUCK", "RETRACTING", Motions.retract_blind),
    ("HOMING RETRACTING", CELL_FAULTS, None, Motions.note_faulty),
    ("STARTING", "CONFIGURATION", "FAULTED", Motions.give_up),
    ("STARTING HOMING RUNNING RETRACTING", "LID_OPEN EMERGENCY_STOP", "FAULTED", Motions.give_up),
    ("HOMING IDLE RUNNING RETRACTING", "HOME_NOT_FOUND", "FAULTED", Motions.give_up),
    ("RUNNING RETRACTING", "LOST_STEPS", "FAULTED", Motions.give_up),
    ("HOMING RETRACTING", "up_faulty", "FAULTED", Motions.give_up),
    ("IDLE HOLDING", CELL_FAULTS, "FAULTED", Motions.give_up),
    ("STARTING HOMING IDLE RETRACTING HOLDING FAULTED", "INTERNAL", "FAULTED", Motions.give_up),
)  # fmt: skip


def table_of(rows) -> dict:
    """Return the next state and the action by state and event; a part makes its own rows into a table by this."""
    return {
        (STATES.index(state), event): (STATES.index(after or state), action)
        for states, events, after, action in rows for state in states.split() for event in events.split()
    }  # fmt: skip


TABLE = table_of(_ROWS)
