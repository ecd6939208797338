"""Speak with a gauge on an open line: one call for each thing a person asks of it."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Sequence
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
from midspan.wire.records import Fault, FaultCode, Feed, Identify, Program, Release, Source, State, Step

LOG = logging.getLogger(__name__)

OnEvent = Callable[[SessionEvent], None]
EARLIER_FAULT = "its fault is older than this connection. Find out what stopped it, then clear the fault."
MOST_RESTS = 5  # times that a gauge may come to rest and move again before it is given up
T = TypeVar("T", bound=SessionEvent)


def begun() -> Succession:
    """Return the memory of a host that has heard nothing of a gauge yet; its own frames begin at a random number.

    Returns
    -------
    Succession
        For a new session.
    """
    return Succession(sent=randrange(SEQUENCES))


def ignore(_: SessionEvent) -> None:
    """Do nothing with an event.

    Parameters
    ----------
    _ : SessionEvent
        What happened on the line.
    """


class Gauge:
    """One gauge on an open line.

    Every call blocks until the gauge has finished. The messages of all errors name the line.

    Parameters
    ----------
    link : Link
        Open line; `open_gauge` opens the line of a port and makes the gauge.
    clock : Callable[[], float]
        Monotonic seconds, for time limits.
    wall_clock : Callable[[], float]
        Seconds since 1970, for the time stamp of a run.
    session : Session | None
        Session to use; None for a new one.

    Examples
    --------
    >>> from itertools import count
    >>> class SilentLine:
    ...     name = "bench"
    ...     def read(self): return b""
    ...     def write(self, data): pass
    >>> Gauge(SilentLine(), clock=count().__next__).identify()
    Traceback (most recent call last):
    midspan.base.errors.LinkError: bench: no answer: is the gauge on this port, powered and running?
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
        self._fault: Fault | None = None

    def identify(self, on_event: OnEvent = ignore) -> Identify:
        """Ask the gauge for its name, limits, state and held readings, whatever it is doing.

        Parameters
        ----------
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        Identify
            Answer of the gauge; it may still be moving.

        Raises
        ------
        LinkError
            The line broke or nothing answers.
        ProtocolError
            What answers is not a gauge of this version.
        """
        self.session.greet(self._clock())
        return self._until(Identified, on_event).identify

    def settled(self, on_event: OnEvent = ignore) -> Identify:
        """Ask the gauge for its name, limits, state and held readings once it is at rest.

        At rest means IDLE (at home), LOADED (a shaft on the rollers), HOLDING (readings not yet acknowledged), FAULTED,
        or STANDING (the head stands where a program left it).

        Parameters
        ----------
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        Identify
            Answer of the gauge at rest.

        Raises
        ------
        LinkError
            The line broke, nothing answers, or the gauge keeps moving again though this host gave no order.
        ProtocolError
            What answers is not a gauge of this version.
        """
        for _ in range(MOST_RESTS):
            found = self.identify(on_event)
            if found.state in AT_REST:
                return found
            self._wait_until_settled(on_event)
        raise LinkError(
            f"{self._link.name}: the gauge keeps moving: is another program controlling it?", code="restless"
        )

    def run(
        self, shaft: int, label: str, steps: Sequence[Step], stand: bool = False, on_event: OnEvent = ignore
    ) -> RawRun:
        """Run a program of steps and return its readings.

        A program that was cut short returns its run too: `complete` is False and `cause` says why. The gauge keeps the
        readings until `acknowledge`.

        Parameters
        ----------
        shaft : int
            Number of the run, 0 to 1073741823: that of the shaft. The gauge does not check if it was used before; a
            store takes a number measured before as the same shaft.
        label : str
            Name of the shaft for people; may be empty.
        steps : Sequence[Step]
            What to do, 1 to 32 steps; `cycle_steps` makes those of a measurement.
        stand : bool
            True if the head stays afterwards where the last step left it, so that a next program goes on from there
            with the same zero; a person may take any time between two programs. `end_bench` ends it. False if the head
            goes home afterwards; one that stands from before then goes home first.
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        RawRun
            Counts and positions of all readings.

        Raises
        ------
        DeviceFault
            The gauge has stopped because of a fault.
        ProtocolError
            The gauge refused, or still holds another shaft: `fetch` or `acknowledge` it first.
        LinkError
            The line broke or the gauge stopped answering.
        """
        if self._with_nothing_held(on_event).state is State.STANDING and not stand:
            self._go_home(on_event)
        self.session.run(Program(shaft, stand, tuple(steps)), label, self._now_ms(), self._clock())
        return self._until(Finished, on_event).run

    def feed(self, shaft: int, source: Source, on_event: OnEvent = ignore) -> Identify:
        """Bring a shaft onto the rollers and return what the gauge says once it is at rest.

        With a shaft in the gauge the state is LOADED; `fault` names what went wrong, None if nothing did.

        Parameters
        ----------
        shaft : int
            Number of the shaft, 0 to 2147483647; give each shaft its own.
        source : Source
            Where it comes from; `Source.SEATED` for a shaft that lies on the rollers already.
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        Identify
            Answer of the gauge at rest.

        Raises
        ------
        DeviceFault
            The gauge has stopped because of a fault, the lid is open or the emergency stop is pressed.
        ProtocolError
            The gauge refused, has no feeder, or still holds a shaft's readings.
        LinkError
            The line broke or the gauge stopped answering.
        """
        self._with_nothing_held(on_event)
        self.session.handle(Feed(shaft, source), self._clock())
        return self._at_rest_after_order(on_event)

    def release(self, shaft: int, place: int, on_event: OnEvent = ignore) -> Identify:
        """Let the shaft on the rollers go and return what the gauge says once it is at rest.

        The shaft has gone only if the feeder's `last_release` names it as done.

        Parameters
        ----------
        shaft : int
            Number of the shaft on the rollers.
        place : int
            Number of the place it goes to.
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        Identify
            Answer of the gauge at rest.

        Raises
        ------
        DeviceFault
            The gauge has stopped because of a fault, the lid is open or the emergency stop is pressed.
        ProtocolError
            The gauge refused, has no feeder, or still holds a shaft's readings.
        LinkError
            The line broke or the gauge stopped answering.
        """
        self._with_nothing_held(on_event)
        self.session.handle(Release(shaft, place), self._clock())
        return self._at_rest_after_order(on_event)

    def end_bench(self, on_event: OnEvent = ignore) -> None:
        """Bring the head home after programs that let it stand; do nothing if it does not stand.

        Parameters
        ----------
        on_event : OnEvent
            Called with every event of the line.
        """
        if self.settled(on_event).state is State.STANDING:
            self._go_home(on_event)

    def fetch(self, shaft: int, label: str, on_event: OnEvent = ignore) -> RawRun:
        """Return the readings of a shaft that the gauge holds from before.

        Parameters
        ----------
        shaft : int
            Number of that shaft: `held_shaft` of `identify`.
        label : str
            Name of the shaft for people; may be empty.
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        RawRun
            Counts and positions of all readings, with the time of this call: the gauge knows no date.
        """
        self.settled(on_event)
        self.session.fetch(shaft, label, self._now_ms(), self._clock())
        return self._until(Finished, on_event).run

    def acknowledge(self, shaft: int, on_event: OnEvent = ignore) -> None:
        """Allow the gauge to forget a shaft whose readings are safely on disk.

        Parameters
        ----------
        shaft : int
            Number of that shaft.
        on_event : OnEvent
            Called with every event of the line.
        """
        if self.session.state is not SessionState.FINISHED:
            self.settled(on_event)
        self.session.stored(shaft, self._clock())
        self._until(Done, on_event)

    def stop(self, on_event: OnEvent = ignore) -> RawRun | None:
        """Retract the head and give up the program under way.

        A head that stands where a program left it goes home.

        Parameters
        ----------
        on_event : OnEvent
            Called with every event of the line.

        Returns
        -------
        RawRun | None
            Readings so far; None if this host had nothing under way.
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
        """Home the press after a person has removed the cause of a fault.

        Parameters
        ----------
        on_event : OnEvent
            Called with every event of the line.

        Raises
        ------
        DeviceFault
            The gauge faults again.
        LinkError
            The line broke or the gauge stopped answering.
        """
        self.settled(on_event)
        self._go_home(on_event)

    def _go_home(self, on_event: OnEvent) -> None:
        """Home the press; raise DeviceFault if the gauge faults."""
        self.session.clear_fault(self._clock())
        self._raise_if_faulted(self._at_rest_after_order(on_event))

    def _at_rest_after_order(self, on_event: OnEvent) -> Identify:
        """Wait until an order is accepted and the gauge is at rest, and return its answer.

        It is greeted at once, because it may have come to rest before its reply was read.
        """
        self._until(Done, on_event)
        return self.settled(on_event)

    def _with_nothing_held(self, on_event: OnEvent) -> Identify:
        """Return the answer of a gauge at rest, without fault and without readings; raise an error if it is not so."""
        found = self.settled(on_event)
        self._raise_if_faulted(found)
        if found.held_shaft is not None:
            raise ProtocolError(
                f"{self._link.name}: the gauge still holds the readings of shaft {found.held_shaft}: get them with "
                "Gauge.fetch, store them, then call Gauge.acknowledge; `midspan measure` does all three",
                code="holds_readings",
            )
        return found

    def _raise_if_faulted(self, found: Identify) -> None:
        """Raise DeviceFault, with the cause in words, if the gauge is FAULTED."""
        if found.state is State.FAULTED:
            why = EARLIER_FAULT if found.fault is None else describe(found.fault, self._detail_of(found.fault))
            raise DeviceFault(f"{self._link.name}: the gauge has stopped: {why}")

    def _detail_of(self, code: FaultCode) -> int | None:
        """Return the detail of the last fault that came if it has this code, else None."""
        return self._fault.detail if self._fault is not None and self._fault.code is code else None

    def _now_ms(self) -> int:
        """Return the time stamp of a run, ms since 1970."""
        return round(self._wall_clock() * 1000)

    def _wait_until_settled(self, on_event: OnEvent) -> None:
        """Exchange bytes until the gauge is at rest."""
        while self.session.state is SessionState.SETTLING:
            self._raise_failure(self._exchange(on_event))

    def _until(self, wanted: type[T], on_event: OnEvent) -> T:
        """Exchange bytes until an event of a type comes, and return it; raise the error of a failure."""
        while True:
            events = self._exchange(on_event)
            for event in events:
                if isinstance(event, wanted):
                    return event
            self._raise_failure(events)

    def _exchange(self, on_event: OnEvent) -> list[SessionEvent]:
        """Send what waits, take what came, show every event to the watcher and return all events."""
        self._link.write(self.session.outgoing())
        events = self.session.receive(self._link.read(), self._clock()) + self.session.tick(self._clock())
        for event in events:
            if isinstance(event, Faulted):
                self._fault = event.fault
            self._note(event)
            on_event(event)
        return events

    def _note(self, event: SessionEvent) -> None:
        """Log what helps in trouble; a block of readings is not worth a line."""
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
        """Raise the error of the first failure among events, if there is one, with the line's name."""
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
        Gauge that has not been queried yet; `Gauge.identify` shows if it answers.

    Raises
    ------
    LinkError
        The port is missing or another program has it.
    """
    with open_line(port) as line:
        yield Gauge(line)
