"""What a night notes besides its shafts: resets, faults, jumps of the clock, notices that failed."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from midspan.errors import StoreError
from midspan.faults import describe
from midspan.keeper import Keeper
from midspan.notices import Kind, Notices
from midspan.passage import Happening, HappeningKind
from midspan.records import FaultCode, Identify
from midspan.time_of_day import now_ms

JUMP_S = 60.0  # a clock that is corrected gently never gains as much on the computer's own count


@dataclass(frozen=True)
class Clocks:
    """Time of the day in milliseconds since 1970, a count of seconds that nobody sets, and a way to wait."""

    now_ms: Callable[[], int] = now_ms
    count_s: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep


class Lookout:
    """Compares each answer of the gauge with the one before, and keeps what is to be noted until the store takes it.

    `resets` counts those since it was set to 0, `newest` is the newest fault since it was set to None; `line_error` is
    what became of the line since the last answer.
    """

    def __init__(self, keeper: Keeper, notices: Notices, clocks: Clocks) -> None:
        self._keeper, self._notices, self._clocks = keeper, notices, clocks
        self.resets = 0
        self.newest: FaultCode | None = None
        self.line_error = ""
        self._pending: list[Happening] = []
        self._boot: int | None = None
        self._fault: object = None
        self._full: set[int] = set()
        self._offset_s = self._clock_offset_s()

    def look(self, found: Identify) -> None:
        """Note what this answer tells besides: a reset, a fault, a clock that jumped."""
        if self._boot is not None and found.boot != self._boot:
            self.note(HappeningKind.FAULT, "the gauge was reset: look at its supply", "GAUGE_RESET")
            self.resets += 1
        elif self.line_error and self._boot is not None:
            self.note(HappeningKind.FAULT, f"{self.line_error}; it is there again", "PORT_LOST")
        self._boot, self.line_error = found.boot, ""
        self._note_fault(found)
        self._note_clock()
        for words in self._notices.take_failures():
            self.note(HappeningKind.NOTICE, words)

    def _note_fault(self, found: Identify) -> None:
        seen = None
        if found.fault is not None and found.fault is not FaultCode.HOPPER_EMPTY:
            seen = found.boot, found.fault, found.in_gauge
            if seen != self._fault:
                self.newest = found.fault
                self.note(HappeningKind.FAULT, describe(found.fault), found.fault.name, found.in_gauge)
        self._fault = seen

    def _note_clock(self) -> None:
        before_s, self._offset_s = self._offset_s, self._clock_offset_s()
        jump_s = self._offset_s - before_s
        if abs(jump_s) > JUMP_S:
            self.note(HappeningKind.CLOCK, f"the computer's clock jumped by {jump_s:+.0f} s", "CLOCK_JUMP")

    def _clock_offset_s(self) -> float:
        return self._clocks.now_ms() / 1000 - self._clocks.count_s()

    def full(self, places: tuple[int, ...], words: str) -> None:
        """Note, once for each, places that are full by count, and call a person."""
        if not set(places) <= self._full:
            self._full |= set(places)
            self.note(HappeningKind.FULL, words, place=places[0])
            self._notices.tell(Kind.NEEDS_PERSON, words)

    def judged(self) -> None:
        """Call a person when the check standard just judged is the first bad one and the night goes on all the same."""
        latest, plan = self._keeper.latest, self._keeper.setup.plan
        check = None if latest is None else latest.check
        if check is None or check.good or plan.checks.bad_check == "stop":
            return
        earlier = [one for one in self._keeper.checks[:-1] if one.standard == check.standard]
        if not earlier or earlier[-1].good:
            words = f"check standard {check.standard} was out of control: {'; '.join(check.reasons)}"
            self._notices.tell(Kind.NEEDS_PERSON, f"{words}. The night goes on as planned; its shafts are suspect")

    def emptied(self, place: int) -> None:
        """A person emptied a place."""
        self._keeper.emptied(place)
        self._full.discard(place)

    def note(
        self,
        kind: HappeningKind,
        words: str,
        code: str | None = None,
        shaft: int | None = None,
        place: int | None = None,
    ) -> None:  # fmt: skip
        """Note a happening, now or as soon as the store can be written again."""
        self._pending.append(Happening(kind, words, self._clocks.now_ms(), code, shaft, place))
        try:
            self._keeper.tell(*self._pending)
        except StoreError:
            return
        self._pending.clear()
