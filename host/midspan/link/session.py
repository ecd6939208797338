"""The host's side of the conversation: bytes and time in, bytes and events out; no port, clock or thread.

The order of things stands in session_states.TABLE. Give `receive` what came, `tick` the time, and send `outgoing()`.
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
    BenchStep,
    Command,
    CyclePlan,
    Event,
    Fault,
    Feed,
    Identify,
    Order,
    Readings,
    Record,
    Release,
    Reply,
    Resend,
)  # fmt: skip

LOG = logging.getLogger(__name__)

Named = tuple[int, str, int]  # a shaft's number and label, and when it was ordered
EXPECTING_NOTHING = (SessionState.APART, SessionState.READY, SessionState.FINISHED)
LARGEST_RESEND = 64


class Session:
    """One conversation with one gauge.

    `answer_s` is the time of an answer, after which a request is repeated; `dead_s` without any frame, or
    `patience_s` without anything going on, ends the conversation; `rounds` is how often missing blocks are
    asked for without one coming; `succession` is what came from this gauge in earlier conversations, if any.
    `state`, `identify`, `line` and the counts are for reading.

    Orders raise ProtocolError when the state does not allow them; everything else comes back as events.

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
        self._asked: set[int] = set()  # sequence numbers of the request that is open, one for each repeat
        self._blocks: Blocks | None = None
        self._ignored: Subject = None  # what came since the last order and changed nothing

    # Orders of the caller

    def greet(self, now_s: float) -> None:
        """Open the conversation, or open it anew: a shaft under way is then one that the gauge holds."""
        self._order(SessionSignal.GREET, greeting(), now_s)

    def plan(self, plan: CyclePlan, now_s: float) -> None:
        """Tell the gauge how the next shafts are to be measured."""
        self._order(SessionSignal.PLAN, plan, now_s)

    def measure(self, shaft: int, label: str, started_ms: int, now_s: float) -> None:
        """Order one cycle on the shaft in the gauge."""
        self._order(SessionSignal.MEASURE, Command(Order.MEASURE, shaft), now_s, (shaft, label, started_ms))

    def bench_step(self, step: BenchStep, label: str, started_ms: int, now_s: float) -> None:
        """Order one bench step; it comes and is stored as a shaft is."""
        self._order(SessionSignal.MEASURE, step, now_s, (step.shaft, label, started_ms))

    def fetch(self, shaft: int, label: str, started_ms: int, now_s: float) -> None:
        """Get a shaft that the gauge still holds, from before this session."""
        self._order(SessionSignal.FETCH, None, now_s, (shaft, label, started_ms))

    def stored(self, shaft: int, now_s: float) -> None:
        """The shaft is safely on disk: let the gauge forget it."""
        self._order(SessionSignal.STORED, Acknowledge(shaft), now_s)

    def stop(self, now_s: float) -> None:
        """Retract now and give the shaft up; its readings so far still come."""
        self._order(SessionSignal.STOP, Command(Order.STOP), now_s)

    def handle(self, order: Feed | Release, now_s: float) -> None:
        """Bring a shaft onto the rollers, or let it go."""
        self._order(SessionSignal.HANDLE, order, now_s)

    def clear_fault(self, now_s: float) -> None:
        """Home the press and return to idle."""
        self._order(SessionSignal.CLEAR_FAULT, Command(Order.CLEAR_FAULT), now_s)

    def _order(self, signal: SessionSignal, request: Record | None, now_s: float, named: Named | None = None) -> None:
        if (self.state, signal) not in TABLE:
            raise ProtocolError(f"{signal.name} has no place while {self.state.name} ({self.state.value})")
        if named is not None:
            assert self.identify is not None  # the table allows a shaft only after a greeting
            self._blocks, self._fetches = Blocks(*named, self.identify), 0
        self._patience.ordered(now_s)
        self._ignored = None
        self._on_signal(Signal(signal, request), now_s)

    # Bytes and time

    def outgoing(self) -> bytes:
        """Bytes to send now; they are handed out once."""
        return self.line.outgoing()

    def receive(self, data: bytes, now_s: float) -> list[SessionEvent]:
        """What the bytes that came at `now_s` mean; damaged and old frames are counted and mended by asking again."""
        news = self.line.receive(data)
        events = [event for said in news for event in self._on_said(said, now_s)]
        if news and not self.line.waiting and self.state not in (SessionState.APART, SessionState.GREETING):
            self.line.send(Command(Order.KEEP_ALIVE))
        return events

    def tick(self, now_s: float) -> list[SessionEvent]:
        """What the passing of time means; call it often, at least ten times a second."""
        if self.state in EXPECTING_NOTHING:
            return []
        if self._patience.is_over(now_s):
            why = session_errors.given_up(self.state, self.line, self._ignored, speaks=self._patience.hears(now_s))
            return self._on_signal(Signal(SessionSignal.GIVE_UP, why), now_s)
        if not self._patience.asks_again(now_s, self.identify):
            return []
        if self.line.doubts():  # a gauge that was reset is not to be asked what another was
            return self._probe(None, now_s)
        return self._on_signal(Signal(SessionSignal.SILENCE), now_s)

    def _on_said(self, said: Said | Unproven, now_s: float) -> list[SessionEvent]:
        self._patience.heard(said, now_s)
        signal = classify(said, self.identify, self._blocks, self._asked)
        if (self.state, signal.kind) in TABLE:
            return self._on_signal(signal, now_s)
        assert isinstance(said, Record)  # all else has its place in every state
        self.out_of_place += 1
        return [out.OutOfPlace(said)]

    def _on_signal(self, signal: Signal, now_s: float) -> list[SessionEvent]:
        before = self.state
        self.state, effect = TABLE[before, signal.kind]
        if self.state is not before or signal.kind is SessionSignal.BLOCK:
            self._patience.went_on_s = now_s
        return self._carry_out(effect, signal, now_s)

    def _carry_out(self, effect: SessionEffect, signal: Signal, now_s: float) -> list[SessionEvent]:
        match effect:
            case SessionEffect.GREET:
                self.identify = self._blocks = None
                return self._ask(signal.subject, now_s)
            case SessionEffect.ASK:
                return self._ask(signal.subject, now_s)
            case SessionEffect.REPEAT:
                return self._repeat(now_s)
            case SessionEffect.PROBE:
                return self._probe(signal.subject if isinstance(signal.subject, Unproven) else None, now_s)
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
        assert isinstance(request, Record)  # the table asks only what an order of the caller or a fetch brings
        self._request, self._asked = request, {self.line.send(request)}
        self._patience.sent_s = now_s
        return []

    def _repeat(self, now_s: float) -> list[SessionEvent]:
        assert self._request is not None  # the table repeats only after asking
        self.repeats += 1
        LOG.info("no answer to %s: asked again", Ours(type(self._request).__name__))
        self._patience.sent_s = now_s
        self._asked.add(self.line.send(self._request))
        return []

    def _probe(self, doubted: Unproven | None, now_s: float) -> list[SessionEvent]:
        LOG.info("asked who speaks: what came is old, or of another start of the gauge")
        self.line.greet(doubted)
        self._patience.sent_s = now_s
        return []

    def _fetch(self, now_s: float) -> list[SessionEvent]:
        assert self._blocks is not None  # the table fetches only what was ordered
        self._fetches += 1
        if self._fetches > self._rounds:
            why = session_errors.unobtainable(self._blocks, self._rounds)
            return self._on_signal(Signal(SessionSignal.UNOBTAINABLE, why), now_s)
        wanted = self._blocks.missing(LARGEST_RESEND)
        LOG.info("shaft %d: asked for %d blocks", self._blocks.shaft, len(wanted))
        return self._ask(Resend(self._blocks.shaft, wanted), now_s)

    def _keep_block(self, block: Readings) -> list[SessionEvent]:
        assert self._blocks is not None  # only a block of the shaft under way is a BLOCK
        self._blocks.add(block)
        self._fetches = 0
        return [out.BlockCame(block, self._blocks.readings)]

    def _report_event(self, event: Event, now_s: float) -> list[SessionEvent]:
        self._patience.entered(event.state, now_s)
        return [out.StateChanged(event)]

    def _report_done(self) -> list[SessionEvent]:
        self._asked.clear()
        assert self._request is not None  # a reply is matched to the open request
        return [out.Done(self._request)]

    def _fail(self, error: MidspanError) -> list[SessionEvent]:
        self._asked.clear()
        return [out.Failed(error)]

    def _fail_refused(self, reply: Reply) -> list[SessionEvent]:
        assert self._request is not None  # a reply is matched to the open request
        return self._fail(session_errors.refused(self._request, reply))

    def _fail_lost(self, identify: Identify) -> list[SessionEvent]:
        self.identify = identify
        return self._fail(session_errors.lost(self._blocks, identify.state))
