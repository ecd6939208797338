"""Requests of the host: each is checked against state, limits and guards before it is carried out.

A request whose reply was lost comes again: what is under way or done already is accepted and not done twice.
"""

import sys

from codec import RecordError, Unpacker
from feeder import GUARDS, HOPPER, LID, SLOT
from frames import HEAD
from load_cell import COUNT_MAX, COUNT_MIN
from plan import SHAFT_MAX, Plan, RefusalError, Step, check_room
from records import (
    ACKNOWLEDGE, BENCH_STEP, CLEAR_FAULT, COMMAND, CONFIGURATION, CYCLE_PLAN, FAULTED, FEED, FEEDING, FINGERPRINT,
    GREET, HOMING, IDENTIFY, IDLE, KEEP_ALIVE, LOADED, MEASURE, NO_FEEDER, NO_PLAN, NOT_SAFE, OUT_OF_RANGE,
    PROTOCOL_MAJOR, PROTOCOL_MINOR, RELEASE, RELEASING, REPLY, RESEND, SEATED, SELECTING, STANDING, STOP,
    STOPPED_BY_HOST, UNKNOWN_SHAFT, WRONG_PROTOCOL, WRONG_STATE,
)  # fmt: skip

FIRMWARE = "0.1.0"
SILENCE_MS = 3000


class Answers:
    """Receiver of requests, which it carries out or refuses; `greeted` is True if the host speaks this protocol."""

    def __init__(self, board, cycle, held, outbox) -> None:
        self.greeted = False
        self.plan: Plan | None = None
        self._board = board
        self._cycle = cycle
        self._held = held
        self._outbox = outbox
        self._obey = {
            CYCLE_PLAN: self._take_plan, COMMAND: self._command, ACKNOWLEDGE: self._acknowledge, RESEND: self._resend,
            BENCH_STEP: self._bench, FEED: self._feed, RELEASE: self._release,
        }  # fmt: skip

    def hear(self, sequence: int, frame: bytearray, end: int) -> None:
        """Answer the request in frame[HEAD:end]."""
        try:
            request = Unpacker(frame, HEAD, end)
            if request.branch == GREET:
                self._greet(*request.values())
                return
            if not self.greeted or request.branch not in self._obey:
                raise RefusalError(WRONG_PROTOCOL, "")
            values = request.values()
            self._obey[request.branch](*values)
            if request.branch != COMMAND or values[0] != KEEP_ALIVE:
                self._outbox.record(REPLY, (sequence, None, ""))
        except RefusalError as refusal:
            self._outbox.record(REPLY, (sequence, refusal.args[0], refusal.args[1]))
        except RecordError:
            self._outbox.record(REPLY, (sequence, WRONG_PROTOCOL, ""))

    def _greet(self, major: int, _minor: int, fingerprint: bytes) -> None:
        self.greeted = major == PROTOCOL_MAJOR and fingerprint == FINGERPRINT
        board, held, cycle, feeder = self._board, self._held, self._cycle, self._cycle.feeder
        inputs = board.inputs()
        self._outbox.record(IDENTIFY, (
            PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT, board.NAME, FIRMWARE, _runtime(board), board.boot,
            cycle.state, held.shaft, held.blocks, board.ticks_us(), board.INTERVAL_US, COUNT_MIN, COUNT_MAX,
            board.COUNT_LIMIT, board.PRESS_LIMIT, SILENCE_MS, len(board.STORE), feeder.in_gauge, feeder.seated(),
            inputs & HOPPER, inputs & SLOT, board.PLACES, board.GUARDS, cycle.fault, feeder.last,
            board.temperature_centi()))  # fmt: skip

    # Orders that move something

    def _command(self, order: int, shaft) -> None:
        if order == MEASURE:
            self._measure(shaft)
        elif order == STOP and self._cycle.measuring():
            self._cycle.fail(STOPPED_BY_HOST, self._cycle.press.position())
        elif order == CLEAR_FAULT or (order == STOP and self._cycle.state == STANDING):
            self._clear_fault()

    def _measure(self, shaft) -> None:
        self._check_number(shaft)
        if self._repeated(shaft):
            return
        if self.plan is None:
            raise RefusalError(NO_PLAN, "")
        self._check_allowed("measure")
        if self._cycle.state == LOADED and self._cycle.feeder.in_gauge != shaft:
            raise RefusalError(WRONG_STATE, "shaft")
        self._cycle.measure(shaft, self.plan)

    def _bench(self, *values) -> None:
        step = Step(values, self._board, self._cycle.press.position())
        if self._repeated(step.shaft):
            return
        self._check_allowed("bench")
        if self._cycle.state == IDLE and step.press_steps:
            raise RefusalError(OUT_OF_RANGE, "press_steps")  # the zero is taken where nothing touches the head
        check_room(step, self._board)
        self._cycle.bench(step)

    def _feed(self, shaft: int, source: int) -> None:
        self._check_number(shaft, feeder=True)
        cycle, feeder = self._cycle, self._cycle.feeder
        if feeder.in_gauge == shaft or (cycle.state == FEEDING and feeder.shaft == shaft):
            return
        self._check_allowed("feed")
        if feeder.seated() != (source == SEATED):
            raise RefusalError(WRONG_STATE, "source")
        cycle.feed(shaft, source)

    def _release(self, shaft: int, place: int) -> None:
        self._check_number(shaft, feeder=True)
        if not 1 <= place <= self._board.PLACES:
            raise RefusalError(OUT_OF_RANGE, "place")
        cycle, feeder = self._cycle, self._cycle.feeder
        if feeder.in_gauge != shaft:
            if feeder.last is not None and tuple(feeder.last[:3]) == (shaft, place, True):
                return
            raise RefusalError(WRONG_STATE, "shaft")
        if cycle.state not in (SELECTING, RELEASING) or feeder.place != place:
            self._check_allowed("release")
            cycle.release(place)

    def _clear_fault(self) -> None:
        if self._cycle.allows("clear") and self._cycle.fault != CONFIGURATION:
            self._check_guards()
            self._cycle.handle("clear")
        elif self._cycle.state not in (HOMING, IDLE):  # there it is done already
            raise RefusalError(WRONG_STATE, "")

    # What they are checked against

    def _check_number(self, shaft, feeder: bool = False) -> None:
        if feeder and not self._board.PLACES:
            raise RefusalError(NO_FEEDER, "")
        if shaft is None or not 0 <= shaft <= SHAFT_MAX:
            raise RefusalError(OUT_OF_RANGE, "shaft")

    def _repeated(self, shaft: int) -> bool:
        """Return True if the host repeats a request because the reply was lost."""
        return self._held.shaft == shaft and self._cycle.state not in (HOMING, IDLE, FAULTED)

    def _check_allowed(self, event: str) -> None:
        if self._held.shaft is not None or not self._cycle.allows(event):
            raise RefusalError(WRONG_STATE, "")
        self._check_guards()

    def _check_guards(self) -> None:
        unsafe = self._board.inputs() & GUARDS
        if unsafe:
            raise RefusalError(NOT_SAFE, "lid" if unsafe == LID else "stop")

    # Plan and blocks

    def _take_plan(self, *values) -> None:
        if self._cycle.shaft is not None:
            raise RefusalError(WRONG_STATE, "")
        plan = Plan(values, self._board)
        check_room(plan, self._board)
        self.plan = plan

    def _acknowledge(self, shaft: int) -> None:
        if self._cycle.shaft == shaft:
            raise RefusalError(WRONG_STATE, "shaft")
        if self._held.shaft == shaft:
            self._held.forget()
            event = "acknowledged" if self._cycle.feeder.in_gauge is None else "acknowledged_here"
            if self._cycle.allows(event):
                self._cycle.handle(event)

    def _resend(self, shaft: int, blocks: list) -> None:
        if self._held.shaft is None or self._held.shaft != shaft:
            raise RefusalError(UNKNOWN_SHAFT, "shaft")
        if not all(0 <= block < self._held.blocks for block in blocks):
            raise RefusalError(OUT_OF_RANGE, "blocks")
        for block in blocks:
            self._held.want(block)
        self._held.end_due = self._held.end_due or self._cycle.shaft is None


def _runtime(board) -> str:
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    return "{} {} {}{}".format(sys.implementation.name, version, sys.platform, board.RUNTIME_NOTE)
