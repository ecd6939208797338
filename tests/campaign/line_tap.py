"""A tap at the device's end of the cable: it springs at chosen instants, and remembers which releases were told."""

from __future__ import annotations

import threading
from collections.abc import Callable

from midspan.wire.codec import unpack
from midspan.wire.framing import Deframer, Frame
from midspan.wire.records import Event, Identify, Phase, Readings, State

from campaign.cable import Pass

IDENTIFY, READINGS, EVENT = b"\0", b"\2", b"\6"  # first bytes of records: their numbers in the union, zig-zag
Release = tuple[int, int, int]  # shaft, place, how many passed


class LineTap:
    """Hears what the device says before anything spoils it, and passes it on.

    `released` are the releases that the device ever told as done. Some states are over in milliseconds: `arm` has
    something done the moment that one begins.
    """

    def __init__(self, passed: Pass) -> None:
        self.released: set[Release] = set()
        self.sprung = threading.Event()
        self._spring: Callable[[], None] | None = None
        self._instant: State | Phase = State.IDLE
        self._passed, self._deframer = passed, Deframer()

    def arm(self, instant: State | Phase, spring: Callable[[], None]) -> None:
        """Do something as soon as the device enters a state or sends a block of a phase, once."""
        self.sprung.clear()
        self._instant, self._spring = instant, spring

    def disarm(self) -> None:
        """Do it no more."""
        self._spring = None

    def __call__(self, data: bytes) -> bytes:
        for frame in self._deframer.feed(data):
            if isinstance(frame, Frame) and frame.body[:1] in (IDENTIFY, READINGS, EVENT):
                self._hear(unpack(frame.body))
        return self._passed(data)

    def _hear(self, record: object) -> None:
        last = record.feeder.last_release if isinstance(record, Identify) and record.feeder is not None else None
        if last is not None and last.done:
            self.released.add((last.shaft, last.place, last.passed))
        spring = self._spring
        if spring is not None and self._is_now(record):
            spring()
            self._spring = None
            self.sprung.set()

    def _is_now(self, record: object) -> bool:
        """Return True if a record tells of the instant that is waited for."""
        if isinstance(record, Readings):
            return Phase(record.phase) is self._instant
        return isinstance(record, Event) and record.state is self._instant
