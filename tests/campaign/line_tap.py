"""A tap at the device's end of the cable: it springs at chosen instants, and remembers which releases were told."""

from __future__ import annotations

import threading
from collections.abc import Callable

from midspan.wire.codec import unpack
from midspan.wire.framing import Deframer, Frame
from midspan.wire.records import Event, Identify, State

from campaign.cable import Pass

IDENTIFY, EVENT = b"\0", b"\6"  # first bytes of records: their numbers in the union, zig-zag
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
        self._state = State.IDLE
        self._passed, self._deframer = passed, Deframer()

    def arm(self, state: State, spring: Callable[[], None]) -> None:
        """Do something as soon as the device enters a state, once."""
        self.sprung.clear()
        self._state, self._spring = state, spring

    def disarm(self) -> None:
        """Do it no more."""
        self._spring = None

    def __call__(self, data: bytes) -> bytes:
        for frame in self._deframer.feed(data):
            if isinstance(frame, Frame) and frame.body[:1] in (IDENTIFY, EVENT):
                self._hear(unpack(frame.body))
        return self._passed(data)

    def _hear(self, record: object) -> None:
        if isinstance(record, Identify) and record.last_release is not None and record.last_release.done:
            last = record.last_release
            self.released.add((last.shaft, last.place, last.passed))
        spring = self._spring
        if isinstance(record, Event) and spring is not None and record.state is self._state:
            spring()
            self._spring = None
            self.sprung.set()
