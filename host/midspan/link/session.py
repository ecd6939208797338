"""The host's side of the conversation: bytes and time in, bytes and events out; no port, clock or thread.

session_states.TABLE has the order of things. Give `receive` what came and `tick` the time, and send `outgoing()`.
"""

from __future__ import annotations

import logging
from typing import assert_never

from midspan.archive.raw_run import RawRun
from midspan.base.errors import MidspanError, ProtocolError
from midspan.base.log_file import Ours
from midspan.link import session_errors
from midspan.link import session_events as out
from midspan.link.block_assembler import Blocks
from midspan.link.framed_stream import FramedStream, Unproven
from midspan.link.session_events import SessionEvent
from midspan.link.session_states import TABLE, SessionEffect, SessionSignal, SessionState, Signal, Subject, classify
from midspan.link.stale_frames import Succession
from midspan.link.timeouts import Patience
from midspan.wire.codec import Said, greeting
from midspan.wire.records import (
    Acknowledge,
    Command,
    Event,
    Fault,
    Feed,
    Identify,
    Order,
    Program,
    Readings,
    Record,
    Release,
    Reply,
    Resend,
)  # fmt: skip

LOG = logging.getLogger(__name__)

Named = tuple[int, str, int]  # a shaft's number, its label, and when it was ordered
EXPECTING_NOTHING = (SessionState.APART, SessionState.READY, SessionState.FINISHED)
LARGEST_RESEND = 64


class Session:
    """One conversation with one gauge.

    Orders raise ProtocolError if the state does not allow them; all other outcomes are returned as events. `state`,
    `identify`, `line` and the counts are for reading.

    Parameters
    ----------
    answer_s : float
        Time after which a request without answer is repeated, s.
    dead_s : float
        Time without any frame after which the conversation ends, s.
    patience_s : float
        Time without progress after which the conversation ends, s.
    rounds : int
        How often missing blocks are asked for without any of them coming.
    succession : Succession | None
        What came from this gauge in earlier conversations; None for a gauge never heard.

    Examples
    --------
    >>> session = Session()
    >>> session.greet(now_s=0.0)
    >>> session.state.name, session.outgoing()[:1], session.outgoing()
    ('GREETING', b'\\x00', b'')
    >>> session.tick(now_s=1.0), len(session.outgoing()) > 0  # no answer: it greets again
    ([], True)
    """

    def __init__(
        self, answer_s: float = 1.0, dead_s: float = 5.0, patience_s: float = 120.0, rounds: int = 5,
        succession: Succession | None = None,
    ) -> None:  # fmt: skip
        self.state = SessionState.APART
        self.identify: Identify | None = None
        self.line = FramedStream(succession)
        self.duplicates = self.out_of_place = self.repeats = self._fetches = 0
        self._patience, self._rounds = Patience(answer_s, dead_s, patience_s), rounds
        self._request: Record | None = None
        self._asked: set[int] = set()  # sequence numbers of the open request and its repeats
        self._blocks: Blocks | None = None
        self._ignored: Subject = None  # what came last since the order and made no sense

    # Orders of the caller

    def greet(self, now_s: float) -> None:
        """Open the conversation, or open it anew: a shaft under way then counts as held by the gauge.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.GREET, greeting(), now_s)

    def run(self, program: Program, label: str, started_ms: int, now_s: float) -> None:
        """Order a program; its readings come and are stored under its number.

        Parameters
        ----------
        program : Program
            Number and steps.
        label : str
            Name of the shaft for people; may be empty.
        started_ms : int
            Time stamp of the run, ms since 1970.
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.RUN, program, now_s, (program.shaft, label, started_ms))

    def fetch(self, shaft: int, label: str, started_ms: int, now_s: float) -> None:
        """Ask for a shaft that the gauge holds from before this session.

        Parameters
        ----------
        shaft : int
            Number of the shaft.
        label : str
            Name of the shaft for people; may be empty.
        started_ms : int
            Time stamp of the run, ms since 1970.
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.FETCH, None, now_s, (shaft, label, started_ms))

    def stored(self, shaft: int, now_s: float) -> None:
        """Let the gauge forget a shaft that is safely on disk.

        Parameters
        ----------
        shaft : int
            Number of the shaft.
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.STORED, Acknowledge(shaft), now_s)

    def stop(self, now_s: float) -> None:
        """Order the head to retract now; the readings so far still come.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.STOP, Command(Order.STOP), now_s)

    def handle(self, order: Feed | Release, now_s: float) -> None:
        """Order a shaft onto the rollers, or off them.

        Parameters
        ----------
        order : Feed | Release
            Shaft and where it comes from or goes to.
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.HANDLE, order, now_s)

    def clear_fault(self, now_s: float) -> None:
        """Order the press home and the gauge to IDLE.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.
        """
        self._order(SessionSignal.CLEAR_FAULT, Command(Order.CLEAR_FAULT), now_s)

    def _order(self, signal: SessionSignal, request: Record | None, now_s: float, named: Named | None = None) -> None:
        """Carry out an order of the caller; raise ProtocolError if the state does not allow it."""
        if (self.state, signal) not in TABLE:
            raise ProtocolError(
                f"{signal.name} is not allowed in session state {self.state.name} ({self.state.value})",
                code="out_of_order",
            )
        if named is not None:
            assert self.identify is not None  # the table allows a shaft only after a greeting
            self._blocks, self._fetches = Blocks(*named, self.identify), 0
        self._patience.ordered(now_s)
        self._ignored = None
        self._on_signal(Signal(signal, request), now_s)

    # Bytes and time

    def outgoing(self) -> bytes:
        """Return the bytes to send now and forget them.

        Returns
        -------
        bytes
            Empty if nothing waits.
        """
        return self.line.outgoing()

    def receive(self, data: bytes, now_s: float) -> list[SessionEvent]:
        """Return the events of bytes that came; what is damaged or lost is asked for again.

        Parameters
        ----------
        data : bytes
            What came, cut anywhere.
        now_s : float
            Time on the caller's clock, s.

        Returns
        -------
        list[SessionEvent]
            In order; empty if nothing happened.
        """
        news = self.line.receive(data)
        events = [event for said in news for event in self._on_said(said, now_s)]
        if news and not self.line.waiting and self.state not in (SessionState.APART, SessionState.GREETING):
            self.line.send(Command(Order.KEEP_ALIVE))
        return events

    def tick(self, now_s: float) -> list[SessionEvent]:
        """Return the events of the time passing; call it at least ten times a second.

        Parameters
        ----------
        now_s : float
            Time on the caller's clock, s.

        Returns
        -------
        list[SessionEvent]
            In order; empty if nothing happened.
        """
        if self.state in EXPECTING_NOTHING:
            return []
        if self._patience.is_over(now_s):
            why = session_errors.given_up(self.state, self.line, self._ignored, speaks=self._patience.hears(now_s))
            return self._on_signal(Signal(SessionSignal.GIVE_UP, why), now_s)
        if not self._patience.asks_again(now_s, self.identify):
            return []
        if self.line.doubts():  # a gauge that was reset must not get a request meant for its state before
            return self._probe(now_s)
        return self._on_signal(Signal(SessionSignal.SILENCE), now_s)

    def _on_said(self, said: Said | Unproven, now_s: float) -> list[SessionEvent]:
        """Return the events of one record; a record that the table does not allow now changes nothing."""
        self._patience.heard(said, now_s)
        signal = classify(said, self.identify, self._blocks, self._asked)
        if (self.state, signal.kind) in TABLE:
            return self._on_signal(signal, now_s)
        assert isinstance(said, Record)  # the table has everything else in every state
        self.out_of_place += 1
        return [out.OutOfPlace(said)]

    def _on_signal(self, signal: Signal, now_s: float) -> list[SessionEvent]:
        """Go to the next state of the table and return the events of its effect."""
        before = self.state
        self.state, effect = TABLE[before, signal.kind]
        if self.state is not before or signal.kind is SessionSignal.BLOCK:
            self._patience.went_on_s = now_s
        return self._carry_out(effect, signal, now_s)

    def _carry_out(self, effect: SessionEffect, signal: Signal, now_s: float) -> list[SessionEvent]:
        """Carry out an effect and return its events."""
        match effect:
            case SessionEffect.GREET:
                self.identify = self._blocks = None
                return self._ask(signal.subject, now_s)
            case SessionEffect.ASK:
                return self._ask(signal.subject, now_s)
            case SessionEffect.REPEAT:
                return self._repeat(now_s)
            case SessionEffect.PROBE:
                return self._probe(now_s)
            case SessionEffect.FETCH:
                return self._fetch(now_s)
            case SessionEffect.FETCH_GAPS:
                self._blocks = signal.brought(Blocks)
                return self._fetch(now_s)
            case SessionEffect.KEEP_BLOCK:
                return self._keep_block(signal.brought(Readings))
            case SessionEffect.COUNT_DUPLICATE:
                self.duplicates += 1
                return []
            case SessionEffect.FINISH:
                return [out.Finished(signal.brought(RawRun))]
            case SessionEffect.CLOSE_REQUEST:
                self._asked.clear()
                return []
            case SessionEffect.NOTE_IDENTIFY:
                self.identify = signal.brought(Identify)
                return []
            case SessionEffect.IGNORE:
                self._ignored = signal.subject
                return []
            case SessionEffect.REPORT_IDENTIFY:
                self.identify = signal.brought(Identify)
                return [out.Identified(self.identify)]
            case SessionEffect.REPORT_EVENT:
                return self._report_event(signal.brought(Event), now_s)
            case SessionEffect.REPORT_FAULT:
                return [out.Faulted(signal.brought(Fault))]
            case SessionEffect.REPORT_DONE:
                return self._report_done()
            case SessionEffect.FAIL:
                return self._fail(signal.brought(MidspanError))
            case SessionEffect.FAIL_REFUSED:
                return self._fail_refused(signal.brought(Reply))
            case SessionEffect.FAIL_RESET:
                return self._fail(session_errors.reset(self._blocks))
            case SessionEffect.FAIL_LOST:
                return self._fail_lost(signal.brought(Identify))
            case _:
                assert_never(effect)

    def _ask(self, request: Subject, now_s: float) -> list[SessionEvent]:
        """Send a request and wait for its reply."""
        assert isinstance(request, Record)  # only orders of the caller and fetches are asked
        self._request, self._asked = request, {self.line.send(request)}
        self._patience.sent_s = now_s
        return []

    def _repeat(self, now_s: float) -> list[SessionEvent]:
        """Send the open request again; a reply to either copy counts."""
        assert self._request is not None  # the table repeats only after asking
        self.repeats += 1
        LOG.info("no answer to %s: asked again", Ours(type(self._request).__name__))
        self._patience.sent_s = now_s
        self._asked.add(self.line.send(self._request))
        return []

    def _probe(self, now_s: float) -> list[SessionEvent]:
        """Ask the gauge who speaks, without closing the open request."""
        LOG.info("asked for identity: no answer, or one of before or of another start of the gauge")
        self.line.ask_who_speaks()
        self._patience.sent_s = now_s
        return []

    def _fetch(self, now_s: float) -> list[SessionEvent]:
        """Ask for missing blocks, or give up after too many requests without any of them."""
        assert self._blocks is not None  # the table fetches only what was ordered
        self._fetches += 1
        if self._fetches > self._rounds:
            why = session_errors.unobtainable(self._blocks, self._rounds)
            return self._on_signal(Signal(SessionSignal.UNOBTAINABLE, why), now_s)
        wanted = self._blocks.missing(LARGEST_RESEND)
        LOG.info("shaft %d: asked for %d blocks", self._blocks.shaft, len(wanted))
        return self._ask(Resend(self._blocks.shaft, wanted), now_s)

    def _keep_block(self, block: Readings) -> list[SessionEvent]:
        """Keep a new block and report it."""
        assert self._blocks is not None  # only a block of the shaft under way is a BLOCK
        self._blocks.add(block)
        self._fetches = 0
        return [out.BlockCame(block, self._blocks.readings)]

    def _report_event(self, event: Event, now_s: float) -> list[SessionEvent]:
        """Report a change of the gauge's state; a state not seen since the last order counts as progress."""
        self._patience.entered(event.state, now_s)
        return [out.StateChanged(event)]

    def _report_done(self) -> list[SessionEvent]:
        """Close the open request and report it as accepted."""
        self._asked.clear()
        assert self._request is not None  # a reply is matched to the open request
        return [out.Done(self._request)]

    def _fail(self, error: MidspanError) -> list[SessionEvent]:
        """Close the open request and report an error."""
        self._asked.clear()
        return [out.Failed(error)]

    def _fail_refused(self, reply: Reply) -> list[SessionEvent]:
        """Report the refusal of the open request."""
        assert self._request is not None  # a reply is matched to the open request
        return self._fail(session_errors.refused(self._request, reply))

    def _fail_lost(self, identify: Identify) -> list[SessionEvent]:
        """Report that the gauge no longer holds the shaft under way."""
        self.identify = identify
        return self._fail(session_errors.lost(self._blocks, identify.state))
