"""Record the events of a night besides its shafts: resets, faults, jumps of the clock, notices that failed."""

from __future__ import annotations

import logging
from collections.abc import Sequence

from midspan.base.clock import Clocks
from midspan.base.errors import StoreError
from midspan.sorting.notices import Kind, Notices
from midspan.sorting.recorder import NightRecorder
from midspan.store.transit import RunEvent, RunEventKind
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, HostFault, Identify

LOG = logging.getLogger(__name__)

JUMP_S = 60.0  # a clock under gentle correction never gains as much on the monotonic count


class EventRecorder:
    """Compare each answer of the gauge with the one before, and keep events until the store accepts them.

    `resets` counts resets since it was set to 0, `newest` is the newest fault since it was set to None, `line_error` is
    the message of the line's failure since the last answer.

    Parameters
    ----------
    recorder : NightRecorder
        Recorder of the night.
    notices : Notices
        Notices to people.
    clocks : Clocks
        Clocks, so that tests need not wait.
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
        self._off = False  # the newest run was at a wrong temperature
        self._offset_s = self._clock_offset_s()

    def look(self, found: Identify) -> None:
        """Note resets, faults and clock jumps that an answer of the gauge shows.

        Parameters
        ----------
        found : Identify
            The answer.
        """
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
        """Note a fault once, when it appears; an empty hopper is none."""
        seen = None
        if found.fault is not None and found.fault is not FaultCode.HOPPER_EMPTY:
            shaft = None if found.feeder is None else found.feeder.in_gauge
            seen = found.boot, found.fault, shaft
            if seen != self._fault:
                self.newest = found.fault
                self.note(RunEventKind.FAULT, describe(found.fault), found.fault.name, shaft)
        self._fault = seen

    def _note_clock(self) -> None:
        """Note that the clock moved against the monotonic count."""
        before_s, self._offset_s = self._offset_s, self._clock_offset_s()
        jump_s = self._offset_s - before_s
        if abs(jump_s) > JUMP_S:
            self.note(RunEventKind.CLOCK, f"the computer's clock jumped by {jump_s:+.0f} s", "CLOCK_JUMP")

    def _clock_offset_s(self) -> float:
        """Return the clock's time less the monotonic count, s."""
        return self._clocks.now_ms() / 1000 - self._clocks.count_s()

    def full(self, places: tuple[int, ...], words: str) -> None:
        """Note that places are full, once for each, and call a person.

        Parameters
        ----------
        places : tuple[int, ...]
            Their numbers.
        words : str
            What to do, for people.
        """
        if not set(places) <= self._full:
            self._full |= set(places)
            self.note(RunEventKind.FULL, words, place=places[0])
            self._notices.tell(Kind.NEEDS_PERSON, words)

    def judged(self) -> None:
        """Call a person if the newest run is the first at a wrong temperature, or its check the first failed one.

        After a failed check only if the plan goes on all the same.
        """
        latest, plan = self._recorder.latest, self._recorder.setup.plan
        self._call_for_temperature(() if latest is None else latest.events)
        check = None if latest is None else latest.check
        if check is None or check.good or plan.checks.bad_check == "stop":
            return
        earlier = [past for past in self._recorder.checks[:-1] if past.standard == check.standard]
        if not earlier or earlier[-1].good:
            words = f"check standard {check.standard} was out of control: {'; '.join(check.reasons)}"
            self._notices.tell(Kind.NEEDS_PERSON, f"{words}. The run goes on as planned; its shafts are suspect")

    def _call_for_temperature(self, events: Sequence[RunEvent]) -> None:
        """Call a person when the temperature goes wrong, and again only after it was right in between."""
        words = [event.words for event in events if event.code == HostFault.TEMPERATURE_OFF]
        if words and not self._off:
            self._notices.tell(
                Kind.NEEDS_PERSON,
                f"{words[0]}. The run goes on as planned; outside the calibration's range shafts are doubtful",
            )
        self._off = bool(words)

    def emptied(self, place: int) -> None:
        """Note that a person emptied a place.

        Parameters
        ----------
        place : int
            Its number.
        """
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
        """Note an event, now or as soon as the store can be written again.

        Parameters
        ----------
        kind : RunEventKind
            Kind of the event.
        words : str
            Sentence for people.
        code : str | None
            Code of the fault or setting, None for no code.
        shaft : int | None
            Number of the shaft it is about, None for no shaft.
        place : int | None
            Number of the place it is about, None for no place.
        """
        LOG.info("noted %s, code %s, shaft %s, place %s: %s", kind, code, shaft, place, words)
        self._pending.append(RunEvent(kind, words, self._clocks.now_ms(), code, shaft, place))
        try:
            self._recorder.tell(*self._pending)
        except StoreError as error:
            LOG.warning("%d notes wait for the store: %s", len(self._pending), error)
            return
        self._pending.clear()
