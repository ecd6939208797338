"""Requests of the host: each is checked against state, limits and guards before it is carried out.

A request whose reply was lost comes again: what is under way or done already is accepted and not done twice. An
optional part adds its requests to `obey` and its report to Identify.
"""

import sys

from codec import RecordError, Unpacker
from frames import HEAD
from inputs import GUARDS, LID
from load_cell import COUNT_MAX, COUNT_MIN
from micropython import const
from program import SHAFT_MAX, RefusalError, Step, check
from records import (
    ACKNOWLEDGE, CLEAR_FAULT, COMMAND, CONFIGURATION, FAULTED, FEED, FINGERPRINT, GREET, HOMING, IDENTIFY, IDLE,
    KEEP_ALIVE, NO_FEEDER, NOT_SAFE, OUT_OF_RANGE, PROGRAM, PROTOCOL_MAJOR, PROTOCOL_MINOR, RELEASE, REPLY, RESEND,
    STANDING, STOP, STOPPED_BY_HOST, UNKNOWN_SHAFT, WRONG_PROTOCOL, WRONG_STATE,
)  # fmt: skip

FIRMWARE = "1.0.0"
SILENCE_MS = const(3000)


class Answers:
    """Receiver of requests, which it carries out or refuses; `greeted` is True if the host speaks this protocol."""

    def __init__(self, board, gauge, held, outbox) -> None:
        self.greeted = False
        self.longest_turn_us = 0  # of the loop, while something moved
        self.report = lambda: None  # of the feeder, in Identify
        self._board = board
        self._gauge = gauge
        self._held = held
        self._outbox = outbox
        self.obey: dict = {
            PROGRAM: self._program, COMMAND: self._command, ACKNOWLEDGE: self._acknowledge, RESEND: self._resend,
        }  # fmt: skip

    def hear(self, sequence: int, frame: bytearray, end: int) -> None:
        """Answer the request in frame[HEAD:end]."""
        refusal, field = None, ""
        try:
            request = Unpacker(frame, HEAD, end)
            if request.branch == GREET:
                self._greet(*request.values())
                return
            if not self.greeted:
                raise RefusalError(WRONG_PROTOCOL, "")
            if request.branch not in self.obey:
                raise RefusalError(NO_FEEDER if request.branch in (FEED, RELEASE) else WRONG_PROTOCOL, "")
            values = request.values()
            self.obey[request.branch](*values)
            if request.branch == COMMAND and values[0] == KEEP_ALIVE:
                return
        except RefusalError as error:
            refusal, field = error.args
        except RecordError:
            refusal = WRONG_PROTOCOL
        self._outbox.record(REPLY, (self._board.boot, sequence, refusal, field))

    def _greet(self, major: int, _minor: int, fingerprint: bytes) -> None:
        self.greeted = major == PROTOCOL_MAJOR and fingerprint == FINGERPRINT
        board, held, gauge = self._board, self._held, self._gauge
        self._outbox.record(IDENTIFY, (
            PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT, board.NAME, FIRMWARE, _runtime(board), board.boot,
            gauge.state, held.shaft, held.blocks, board.ticks_us(), board.INTERVAL_US, COUNT_MIN, COUNT_MAX,
            board.COUNT_LIMIT, board.PRESS_LIMIT, board.PRESS_SPEED_MAX, board.DOWN_SPEED_MAX,
            board.PRESS_ACCELERATION, board.ROTATE_SPEED_MAX, board.ROTATE_ACCELERATION, SILENCE_MS, board.READINGS,
            board.GUARDS, gauge.fault, board.temperature_centi(), board.free_bytes, self.longest_turn_us,
            self.report()))  # fmt: skip

    def _command(self, order: int) -> None:
        gauge = self._gauge
        if order == STOP and gauge.allows("STOPPED_BY_HOST"):
            gauge.fail(STOPPED_BY_HOST, gauge.press.position())
        elif order == CLEAR_FAULT or (order == STOP and gauge.state == STANDING):
            self._clear_fault()

    def _clear_fault(self) -> None:
        gauge = self._gauge
        if gauge.allows("clear") and gauge.fault != CONFIGURATION:
            self._check_guards()
            gauge.handle("clear")
        elif gauge.state not in (HOMING, IDLE):  # there it is done already
            raise RefusalError(WRONG_STATE, "")

    def _program(self, shaft: int, stand: bool, steps: list) -> None:
        self.check_number(shaft)
        gauge = self._gauge
        if self._held.shaft == shaft and gauge.state not in (HOMING, IDLE, FAULTED):
            return  # the host repeats a request because the reply was lost
        self.check_allowed("run")
        if gauge.in_gauge not in (None, shaft):
            raise RefusalError(WRONG_STATE, "shaft")
        taken = [Step(values) for values in steps]
        check(taken, self._board, gauge.at_home(), gauge.state == STANDING and gauge.run.zero is not None)
        gauge.begin(shaft, taken, stand)

    def check_number(self, shaft: int) -> None:
        """Raise RefusalError if a number is not one of a shaft."""
        if not 0 <= shaft <= SHAFT_MAX:
            raise RefusalError(OUT_OF_RANGE, "shaft")

    def check_allowed(self, event: str) -> None:
        """Raise RefusalError if readings are held, the state has no such event, or a guard is open."""
        if self._held.shaft is not None or not self._gauge.allows(event):
            raise RefusalError(WRONG_STATE, "")
        self._check_guards()

    def _check_guards(self) -> None:
        unsafe = self._board.inputs() & GUARDS
        if unsafe:
            raise RefusalError(NOT_SAFE, "lid" if unsafe == LID else "stop")

    def _acknowledge(self, shaft: int) -> None:
        gauge = self._gauge
        if gauge.shaft == shaft:
            raise RefusalError(WRONG_STATE, "shaft")
        if self._held.shaft == shaft:
            self._held.forget()
            event = "acknowledged" if gauge.in_gauge is None else "acknowledged_here"
            if gauge.allows(event):
                gauge.handle(event)

    def _resend(self, shaft: int, blocks: list) -> None:
        if self._held.shaft is None or self._held.shaft != shaft:
            raise RefusalError(UNKNOWN_SHAFT, "shaft")
        if not all(0 <= block < self._held.blocks for block in blocks):
            raise RefusalError(OUT_OF_RANGE, "blocks")
        for block in blocks:
            self._held.want(block)
        self._held.end_due = self._held.end_due or self._gauge.shaft is None


def _runtime(board) -> str:
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    return "{} {} {}{}".format(sys.implementation.name, version, sys.platform, board.RUNTIME_NOTE)
