"""What a night notes besides its shafts: resets, faults, jumps of the clock, notices that failed."""

from __future__ import annotations

import logging

from midspan.base.clock import Clocks
from midspan.base.errors import StoreError
from midspan.sorting.notices import Kind, Notices
from midspan.sorting.recorder import NightRecorder
from midspan.store.transit import RunEvent, RunEventKind
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, Identify

LOG = logging.getLogger(__name__)

JUMP_S = 60.0  # a clock that is corrected gently never gains as much on the computer's own count


class EventRecorder:
    """Compares each answer of the gauge with the one before, and keeps what is to be noted until the store takes it.

    `resets` counts those since it was set to 0, `newest` is the newest fault since it was set to None; `line_error` is
    what became of the line since the last answer.
    """

    def __init__(self, recorder: NightRecorder, notices: Notices, clocks: Clocks) -> None:
        self._recorder, self._notices, self._clocks = recorder, notices, clocks
        self.resets = 0
        self.newest: FaultCode | None = None
        self.line_error = ""
        self._pending: list[RunEvent] = []
        self._boot: int | None = None
        self._fault: object = None
        self._full: set[int] = set()
        self._offset_s = self._clock_offset_s()

    def look(self, found: Identify) -> None:
        """Note what this answer tells besides: a reset, a fault, a clock that jumped."""
        if self._boot is not None and found.boot != self._boot:
            self.note(RunEventKind.FAULT, "the gauge was reset: look at its supply", "GAUGE_RESET")
            self.resets += 1
        elif self.line_error and self._boot is not None:
            self.note(RunEventKind.FAULT, f"{self.line_error}; it is there again", "PORT_LOST")
        self._boot, self.line_error = found.boot, ""
        self._note_fault(found)
        self._note_clock()
        for words in self._notices.take_failures():
            self.note(RunEventKind.NOTICE, words)

    def _note_fault(self, found: Identify) -> None:
        seen = None
        if found.fault is not None and found.fault is not FaultCode.HOPPER_EMPTY:
            seen = found.boot, found.fault, found.in_gauge
            if seen != self._fault:
                self.newest = found.fault
                self.note(RunEventKind.FAULT, describe(found.fault), found.fault.name, found.in_gauge)
        self._fault = seen

    def _note_clock(self) -> None:
        before_s, self._offset_s = self._offset_s, self._clock_offset_s()
        jump_s = self._offset_s - before_s
        if abs(jump_s) > JUMP_S:
            self.note(RunEventKind.CLOCK, f"the computer's clock jumped by {jump_s:+.0f} s", "CLOCK_JUMP")

    def _clock_offset_s(self) -> float:
        return self._clocks.now_ms() / 1000 - self._clocks.count_s()

    def full(self, places: tuple[int, ...], words: str) -> None:
        """Note, once for each, places that are full by count, and call a person."""
        if not set(places) <= self._full:
            self._full |= set(places)
            self.note(RunEventKind.FULL, words, place=places[0])
            self._notices.tell(Kind.NEEDS_PERSON, words)

    def judged(self) -> None:
        """Call a person when the check standard just judged is the first bad one and the night goes on all the same."""
        latest, plan = self._recorder.latest, self._recorder.setup.plan
        check = None if latest is None else latest.check
        if check is None or check.good or plan.checks.bad_check == "stop":
            return
        earlier = [one for one in self._recorder.checks[:-1] if one.standard == check.standard]
        if not earlier or earlier[-1].good:
            words = f"check standard {check.standard} was out of control: {'; '.join(check.reasons)}"
            self._notices.tell(Kind.NEEDS_PERSON, f"{words}. The night goes on as planned; its shafts are suspect")

    def emptied(self, place: int) -> None:
        """A person emptied a place."""
        self._recorder.emptied(place)
        self._full.discard(place)

    def note(
        self,
        kind: RunEventKind,
        words: str,
        code: str | None = None,
        shaft: int | None = None,
        place: int | None = None,
    ) -> None:  # fmt: skip
        """Note an event, now or as soon as the store can be written again."""
        LOG.info("noted %s, code %s, shaft %s, place %s: %s", kind, code, shaft, place, words)
        self._pending.append(RunEvent(kind, words, self._clocks.now_ms(), code, shaft, place))
        try:
            self._recorder.tell(*self._pending)
        except StoreError as error:
            LOG.warning("%d notes wait for the store: %s", len(self._pending), error)
            return
        self._pending.clear()
