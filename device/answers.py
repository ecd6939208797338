"""Requests of the host: each is checked against state, limits and guards before it is carried out.

A request whose reply was lost comes again: what is under way or done already is accepted and not done twice. An
optional part adds its requests to `obey` and its report to Identify.
"""

import sys

import records
from codec import RecordError, Unpacker
from frames import HEAD
from inputs import GUARDS, LID
from load_cell import COUNT_MAX, COUNT_MIN
from micropython import const
from program import SHAFT_MAX, RefusalError, Step, check
from records import FAULTED, FINGERPRINT, HOMING, IDLE, OUT_OF_RANGE, PROTOCOL_MAJOR, STANDING, WRONG_STATE

FIRMWARE = "1.0.0"
SILENCE_MS = const(3000)


class Answers:
    """Receiver of requests, which it carries out or refuses; `greeted` is True if the host speaks this protocol."""

    def __init__(self, gauge, outbox) -> None:
        self.greeted = False
        self.longest_turn_us = 0  # of the loop, while something moved
        self.report = lambda: None  # of the feeder, in Identify
        self._board, self._gauge, self._held = gauge.board, gauge, gauge.held
        self._outbox = outbox
        self.obey: dict = {
            records.PROGRAM: self._program, records.COMMAND: self._command,
            records.ACKNOWLEDGE: self._acknowledge, records.RESEND: self._resend,
        }  # fmt: skip

    def hear(self, sequence: int, frame: bytearray, end: int) -> None:
        """Answer the request in frame[HEAD:end]; nothing but Greet and the sign of life go without a Reply."""
        refusal, field = None, ""
        try:
            request = Unpacker(frame, HEAD, end)
            branch, values = request.branch, request.values()
            if branch == records.GREET:
                self._greet(*values)
                return
            if not self.greeted or branch not in self.obey:
                feeders = self.greeted and branch in (records.FEED, records.RELEASE)
                raise RefusalError(records.NO_FEEDER if feeders else records.WRONG_PROTOCOL, "")
            self.obey[branch](*values)
            if branch == records.COMMAND and values[0] == records.KEEP_ALIVE:
                return
        except RefusalError as error:
            refusal, field = error.args
        except RecordError:
            refusal = records.WRONG_PROTOCOL
        self._outbox.record(records.REPLY, (self._board.boot, sequence, refusal, field))

    def _greet(self, major: int, _minor: int, fingerprint: bytes) -> None:
        self.greeted = major == PROTOCOL_MAJOR and fingerprint == FINGERPRINT
        board, held, gauge = self._board, self._held, self._gauge
        version = ".".join([str(part) for part in sys.implementation.version[:3]])
        sensor = board.sensor
        runtime = "{} {} {}{}".format(sys.implementation.name, version, sys.platform, board.RUNTIME_NOTE)
        self._outbox.record(records.IDENTIFY, (
            PROTOCOL_MAJOR, records.PROTOCOL_MINOR, FINGERPRINT, board.NAME, FIRMWARE, runtime, board.boot,
            gauge.state, held.shaft, held.blocks, board.ticks_us(), board.INTERVAL_US, COUNT_MIN, COUNT_MAX,
            board.COUNT_LIMIT, board.PRESS_LIMIT, board.PRESS_SPEED_MAX, board.DOWN_SPEED_MAX,
            board.PRESS_ACCELERATION, board.ROTATE_SPEED_MAX, board.ROTATE_ACCELERATION, SILENCE_MS, board.READINGS,
            board.GUARDS, gauge.fault, board.temperature_centi(), board.free_bytes, self.longest_turn_us,
            self.report(), sensor is not None, sensor and sensor.centi()))  # fmt: skip

    def _command(self, order: int) -> None:
        gauge = self._gauge
        if order == records.STOP and gauge.offer("STOPPED_BY_HOST", gauge.press.position()):
            return
        if order == records.CLEAR_FAULT or (order == records.STOP and gauge.state == STANDING):
            if gauge.allows("clear") and gauge.fault != records.CONFIGURATION:
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
        stands, home = gauge.state == STANDING, gauge.at_home()
        check(taken, self._board, home or not stands, stands and gauge.run.zero is not None)
        if not (home or stands):  # the switch broke, or a hand turned the screw
            gauge.handle("HOME_NOT_FOUND", gauge.press.position())
            raise RefusalError(WRONG_STATE, "")
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
            raise RefusalError(records.NOT_SAFE, "lid" if unsafe == LID else "stop")

    def _acknowledge(self, shaft: int) -> None:
        gauge = self._gauge
        if gauge.shaft == shaft:
            raise RefusalError(WRONG_STATE, "shaft")
        if self._held.shaft == shaft:
            self._held.forget()
            gauge.offer("acknowledged" if gauge.in_gauge is None else "acknowledged_here")

    def _resend(self, shaft: int, blocks: list) -> None:
        held = self._held
        if held.shaft is None or held.shaft != shaft:
            raise RefusalError(records.UNKNOWN_SHAFT, "shaft")
        if not all(0 <= block < held.blocks for block in blocks):
            raise RefusalError(OUT_OF_RANGE, "blocks")
        for block in blocks:
            held.want(block)
        held.end_due = held.end_due or self._gauge.shaft is None
