"""A gauge on a line: waits for what a session brings, one call for each thing a person asks of it."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import randrange
from typing import TypeVar

from midspan.archive.raw_run import RawRun
from midspan.base.errors import DeviceFault, LinkError, ProtocolError
from midspan.link.open_line import open_line
from midspan.link.serial_port import Link
from midspan.link.session import Session
from midspan.link.session_events import Done, Failed, Faulted, Finished, Identified, SessionEvent, StateChanged
from midspan.link.session_states import AT_REST, SessionState
from midspan.link.stale_frames import Succession
from midspan.wire.fault_texts import describe
from midspan.wire.framing import SEQUENCES
from midspan.wire.records import BenchStep, CyclePlan, Fault, FaultCode, Feed, Identify, Release, Source, State

LOG = logging.getLogger(__name__)

OnEvent = Callable[[SessionEvent], None]
FAULT_FROM_BEFORE = "a fault came before this host did. Look what stopped it, then clear the fault."
RESTS_MOST = 5  # times that a gauge may come to rest and move again before it is given up
T = TypeVar("T", bound=SessionEvent)


def begun() -> Succession:
    """What a host that begins knows of a gauge, nothing, and a number for its own first frame."""
    return Succession(sent=randrange(SEQUENCES))


def ignore(_: SessionEvent) -> None:
    """Nobody watches."""


class Gauge:
    """One gauge on an open line.

    `clock` gives monotonic seconds, `wall_clock` seconds since 1970 for the time stamp of a run. Errors name
    the line: LinkError when it breaks or falls silent, ProtocolError when the other end is no gauge of this
    version or refuses, DeviceFault when the gauge stands still because of a fault.

    >>> from itertools import count
    >>> class Nobody:
    ...     name = "bench"
    ...     def read(self): return b""
    ...     def write(self, data): pass
    >>> Gauge(Nobody(), clock=count().__next__).identify()
    Traceback (most recent call last):
    midspan.base.errors.LinkError: bench: nothing answers there: is the gauge on this port, powered and running?
    """

    def __init__(
        self,
        link: Link,
        clock: Callable[[], float] = time.monotonic,
        wall_clock: Callable[[], float] = time.time,
        session: Session | None = None,
    ) -> None:
        self.session = session or Session(succession=begun())
        self._link, self._clock, self._wall_clock = link, clock, wall_clock
        self._planned: tuple[int, CyclePlan] | None = None  # under which boot number, and which plan
        self._fault: Fault | None = None

    def identify(self, on_event: OnEvent = ignore) -> Identify:
        """Greet the gauge and hear who it is and what it holds, whatever it is doing."""
        self.session.greet(self._clock())
        return self._until(Identified, on_event).identify

    def settled(self, on_event: OnEvent = ignore) -> Identify:
        """The same once the gauge has come to rest: IDLE, LOADED, HOLDING, FAULTED or STANDING.

        Raises LinkError when it has come to rest and moves again, over and over, though this host ordered nothing.
        """
        for _ in range(RESTS_MOST):
            found = self.identify(on_event)
            if found.state in AT_REST:
                return found
            self._wait_until_settled(on_event)
        raise LinkError(f"{self._link.name}: the gauge does not stay at rest: does another program give it orders?")

    def measure(self, shaft: int, label: str, plan: CyclePlan, on_event: OnEvent = ignore) -> RawRun:
        """Measure the shaft in the gauge. A cycle cut short gives its run too: complete is False, cause says why.

        The gauge keeps the readings until `acknowledge`. Raises DeviceFault when it stands still because of a
        fault, ProtocolError when it still holds another shaft (`fetch` it or `acknowledge` it first).
        """
        self._ready_for_a_shaft(plan, on_event)
        self.session.measure(shaft, label, self._now_ms(), self._clock())
        return self._until(Finished, on_event).run

    def feed(self, shaft: int, source: Source, on_event: OnEvent = ignore) -> Identify:
        """Bring a shaft onto the rollers under a number never used before; what the gauge says once it is at rest.

        SEATED takes what lies there already. With a shaft in the gauge the state is LOADED; `fault` says what was not
        as it should be. Raises what `measure` raises, and DeviceFault when the lid is open or the stop is pressed.
        """
        self._with_nothing_held(on_event)
        self.session.handle(Feed(shaft, source), self._clock())
        return self._at_rest_after_order(on_event)

    def release(self, shaft: int, place: int, on_event: OnEvent = ignore) -> Identify:
        """Let the shaft on the rollers go to a place; what the gauge says once it is at rest.

        Only when `last_release` names this shaft as done has it gone. Raises what `feed` raises.
        """
        self._with_nothing_held(on_event)
        self.session.handle(Release(shaft, place), self._clock())
        return self._at_rest_after_order(on_event)

    def bench_step(self, step: BenchStep, label: str = "", on_event: OnEvent = ignore) -> RawRun:
        """Take one step of a calibration: a run of the one phase BENCH, after which the head stays where it is.

        The first step after IDLE must be at home (press_steps 0): its mean is the zero of the gauge's force limit.
        `acknowledge` each step once it is on disk, and `end_bench` after the last. Between steps a person may take
        any time. Like `measure` it gives the run of a step cut short, and raises what `measure` raises.
        """
        self._with_nothing_held(on_event)
        self.session.bench_step(step, label, self._now_ms(), self._clock())
        return self._until(Finished, on_event).run

    def end_bench(self, on_event: OnEvent = ignore) -> None:
        """Bring the head home after bench steps; nothing happens when none were taken."""
        if self.settled(on_event).state is State.STANDING:
            self._go_home(on_event)

    def fetch(self, shaft: int, label: str, on_event: OnEvent = ignore) -> RawRun:
        """Get a shaft that the gauge holds from before (`held_shaft` of `identify`)."""
        self.settled(on_event)
        self.session.fetch(shaft, label, self._now_ms(), self._clock())
        return self._until(Finished, on_event).run

    def acknowledge(self, shaft: int, on_event: OnEvent = ignore) -> None:
        """The shaft is safely on disk: the gauge may forget it."""
        if self.session.state is not SessionState.FINISHED:
            self.settled(on_event)
        self.session.stored(shaft, self._clock())
        self._until(Done, on_event)

    def stop(self, on_event: OnEvent = ignore) -> RawRun | None:
        """Retract and give up the shaft or step under way; its run so far, or None when this host had none under way.

        A head that stands where a bench step left it goes home.
        """
        if self.session.state in (SessionState.ORDERING, SessionState.MEASURING):
            self.session.stop(self._clock())
            return self._until(Finished, on_event).run
        self.identify(on_event)
        if self.session.state is SessionState.SETTLING:
            self.session.stop(self._clock())
            self._wait_until_settled(on_event)
        self.end_bench(on_event)
        return None

    def clear_fault(self, on_event: OnEvent = ignore) -> None:
        """Home the press after a fault has been mended; raises DeviceFault when the gauge faults again."""
        self.settled(on_event)
        self._go_home(on_event)

    def _go_home(self, on_event: OnEvent) -> None:
        self.session.clear_fault(self._clock())
        self._raise_if_faulted(self._at_rest_after_order(on_event))

    def _at_rest_after_order(self, on_event: OnEvent) -> Identify:
        """Greets at once: the gauge may have come to rest before its reply was read."""
        self._until(Done, on_event)
        return self.settled(on_event)

    def _ready_for_a_shaft(self, plan: CyclePlan, on_event: OnEvent) -> None:
        found = self._with_nothing_held(on_event)
        if found.state is State.STANDING:
            self._go_home(on_event)
        if self._planned != (found.boot, plan):
            self.session.plan(plan, self._clock())
            self._until(Done, on_event)
            self._planned = (found.boot, plan)

    def _with_nothing_held(self, on_event: OnEvent) -> Identify:
        found = self.settled(on_event)
        self._raise_if_faulted(found)
        if found.held_shaft is not None:
            raise ProtocolError(
                f"{self._link.name}: the gauge still holds shaft {found.held_shaft}: fetch and store it first"
            )
        return found

    def _raise_if_faulted(self, found: Identify) -> None:
        if found.state is State.FAULTED:
            why = FAULT_FROM_BEFORE if found.fault is None else describe(found.fault, self._detail_of(found.fault))
            raise DeviceFault(f"{self._link.name}: the gauge stands still: {why}")

    def _detail_of(self, code: FaultCode) -> int | None:
        return self._fault.detail if self._fault is not None and self._fault.code is code else None

    def _now_ms(self) -> int:
        return round(self._wall_clock() * 1000)

    def _wait_until_settled(self, on_event: OnEvent) -> None:
        while self.session.state is SessionState.SETTLING:
            self._raise_failure(self._exchange(on_event))

    def _until(self, wanted: type[T], on_event: OnEvent) -> T:
        while True:
            events = self._exchange(on_event)
            for event in events:
                if isinstance(event, wanted):
                    return event
            self._raise_failure(events)

    def _exchange(self, on_event: OnEvent) -> list[SessionEvent]:
        """Send what waits, take what came, and show every event to the one who watches."""
        self._link.write(self.session.outgoing())
        events = self.session.receive(self._link.read(), self._clock()) + self.session.tick(self._clock())
        for event in events:
            if isinstance(event, Faulted):
                self._fault = event.fault
            self._note(event)
            on_event(event)
        return events

    def _note(self, event: SessionEvent) -> None:
        """Log what matters in trouble; a block of readings is not worth a line."""
        line = self.session.line
        match event:
            case Identified(found):
                LOG.debug("%s of boot %d is %s, holds shaft %s", found.gauge, found.boot, found.state, found.held_shaft)
            case StateChanged(change):
                LOG.debug("%s after %s, shaft %s", change.state, change.previous, change.shaft)
            case Faulted(fault):
                LOG.warning("fault %s in %s, detail %d, shaft %s", fault.code, fault.state, fault.detail, fault.shaft)
            case Failed(error):
                LOG.warning("given up: %s", error)
            case Finished(run):
                LOG.info("shaft %d came, cause %s", run.shaft, run.cause)
                LOG.debug("frames %d, damaged %d, lost %d, old %d", line.frames, line.damaged, line.lost, line.old)

    def _raise_failure(self, events: list[SessionEvent]) -> None:
        for event in events:
            if isinstance(event, Failed):
                raise event.error.at(self._link.name)


@contextmanager
def open_gauge(port: str) -> Iterator[Gauge]:
    """Open the line of a gauge and yield the gauge on it; the line is closed when the block exits.

    Parameters
    ----------
    port : str
        Name of the serial port, or ``usb:SERIAL`` for the board with this serial number.

    Yields
    ------
    Gauge
        Gauge that nothing was asked yet; `Gauge.identify` says whether one is there.

    Raises
    ------
    LinkError
        The port is missing or another program has it.
    """
    with open_line(port) as line:
        yield Gauge(line)
