"""The host's end of the conversation as a table: state and signal give the next state and an effect.

A signal is an order of the caller, the meaning of a record that came, or the passing of time. A pair that is not in the
table changes nothing: an order raises an error, a record is reported as out of place.

`classify` finds the signal of a record from the record and what is known. It changes nothing; what a signal changes is
its effect, which session.py carries out.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from enum import Enum, auto
from typing import TypeVar

from midspan.archive.raw_run import RawRun
from midspan.base.errors import MidspanError, ProtocolError
from midspan.link import session_errors
from midspan.link.block_assembler import Blocks
from midspan.link.framed_stream import Unproven
from midspan.wire.codec import Said, boot_in
from midspan.wire.records import EndOfShaft, Event, Fault, Identify, Readings, Record, Refusal, Reply, State

Subject = Record | Blocks | RawRun | MidspanError | None
SubjectT = TypeVar("SubjectT", Identify, Readings, Event, Fault, Reply, Blocks, RawRun, MidspanError)


class SessionState(Enum):
    """Where the host is in the conversation."""

    APART = "no greeting has been answered, or the conversation broke"
    GREETING = "Greet sent"
    SETTLING = "greeted; the device still moves and will come to rest"
    READY = "greeted; nothing is under way"
    ORDERING = "Program sent"
    MEASURING = "readings of the program come in"
    FETCHING = "Resend sent; missing blocks come in"
    FINISHED = "the shaft is whole and handed over, not yet stored"
    FORGETTING = "Acknowledge sent"
    HANDLING = "Feed, Release or CLEAR_FAULT sent"


class SessionSignal(Enum):
    """Everything that can happen, in four groups: orders, Identify and other records, blocks and ends, time."""

    GREET = auto()
    RUN = auto()
    FETCH = auto()
    STORED = auto()
    STOP = auto()
    HANDLE = auto()
    CLEAR_FAULT = auto()

    FOREIGN = auto()  # Identify of another major version or fingerprint
    UNPROVEN = auto()  # a frame of a start never heard of, or too far ahead
    RESET = auto()  # any record with another boot number than the last Identify: its start is proven
    HOLDS_OURS = auto()  # Identify: at rest and holding the shaft under way
    AT_REST = auto()  # Identify: IDLE, LOADED, HOLDING, FAULTED or STANDING
    MOVING = auto()  # Identify: any other state
    RESTED = auto()  # Event to one of these
    CHANGED = auto()  # Event to any other state
    FAULT = auto()
    ACCEPTED = auto()  # Reply to the request that is open
    REFUSED = auto()
    UNGREETED = auto()  # Reply to anything: refused because the device forgot the greeting
    STRAY = auto()  # Reply to no open request, or a block or end of another shaft
    NONSENSE = auto()  # a sound frame whose content is not a record for a host

    BLOCK = auto()
    DUPLICATE = auto()
    WHOLE = auto()  # EndOfShaft, and every block has come
    GAPS = auto()  # EndOfShaft, and blocks are missing
    CONTRADICTION = auto()  # a block or EndOfShaft that contradicts what came before

    SILENCE = auto()  # nothing came for the time of an answer
    GIVE_UP = auto()  # nothing came, or nothing progressed, for far too long
    UNOBTAINABLE = auto()  # repeated requests brought none of the missing blocks


class SessionEffect(Enum):
    """Actions of a transition besides going to the next state."""

    GREET = auto()  # forget who was there, and send the greeting
    ASK = auto()  # send the caller's request
    REPEAT = auto()  # send the open request again
    PROBE = auto()  # ask who speaks
    FETCH = auto()  # ask for missing blocks or the end; signal UNOBTAINABLE after too many attempts
    FETCH_GAPS = auto()  # keep the end, then fetch
    KEEP_BLOCK = auto()
    COUNT_DUPLICATE = auto()
    FINISH = auto()  # hand the run over
    CLOSE_REQUEST = auto()  # it is answered
    NOTE_IDENTIFY = auto()
    IGNORE = auto()  # but name it if the conversation is given up
    REPORT_IDENTIFY = auto()
    REPORT_EVENT = auto()
    REPORT_FAULT = auto()
    REPORT_DONE = auto()  # the open request is accepted
    FAIL = auto()
    FAIL_REFUSED = auto()
    FAIL_RESET = auto()
    FAIL_LOST = auto()


@dataclass(frozen=True, slots=True)
class Signal:
    """What happened, with what came.

    Parameters
    ----------
    kind : SessionSignal
        What happened.
    subject : Subject
        What came with it: a record, the blocks with their end, the run, or the error; None if nothing did.
    """

    kind: SessionSignal
    subject: Subject = None

    def brought(self, kind: type[SubjectT]) -> SubjectT:
        """Return what came with the signal; the table pairs each signal with effects that expect this type.

        Parameters
        ----------
        kind : type[SubjectT]
            Type that the effect expects.

        Returns
        -------
        SubjectT
            The subject.
        """
        assert isinstance(self.subject, kind)
        return self.subject


_S, _G, _E = SessionState, SessionSignal, SessionEffect
_COLLECTING = (_S.MEASURING, _S.FETCHING)

# Holds in every state unless the table below says otherwise.
_COMMON: dict[SessionSignal, tuple[SessionState | None, SessionEffect]] = {
    _G.GREET: (_S.GREETING, _E.GREET),  # opens the conversation anew; the device still holds what was under way
    _G.FOREIGN: (_S.APART, _E.FAIL),
    _G.UNPROVEN: (None, _E.PROBE),  # a gauge that was reset can prove it, a repeated old frame cannot
    _G.RESET: (_S.APART, _E.FAIL_RESET),
    _G.UNGREETED: (_S.APART, _E.FAIL_RESET),
    _G.NONSENSE: (_S.APART, _E.FAIL),
    _G.GIVE_UP: (_S.APART, _E.FAIL),
    _G.RESTED: (None, _E.REPORT_EVENT),
    _G.CHANGED: (None, _E.REPORT_EVENT),
    _G.FAULT: (None, _E.REPORT_FAULT),
    _G.AT_REST: (None, _E.NOTE_IDENTIFY),
    _G.HOLDS_OURS: (None, _E.NOTE_IDENTIFY),
    _G.MOVING: (None, _E.NOTE_IDENTIFY),
}

TABLE: dict[tuple[SessionState, SessionSignal], tuple[SessionState, SessionEffect]] = {
    (state, signal): (following or state, effect)
    for state in SessionState
    for signal, (following, effect) in _COMMON.items()
}
TABLE.update(
    {
        (_S.APART, _G.UNPROVEN): (_S.APART, _E.IGNORE),
        (_S.APART, _G.NONSENSE): (_S.APART, _E.IGNORE),  # what is said before a greeting may be foreign
        (_S.GREETING, _G.NONSENSE): (_S.GREETING, _E.IGNORE),
        (_S.APART, _G.UNGREETED): (_S.APART, _E.IGNORE),
        (_S.GREETING, _G.UNGREETED): (_S.GREETING, _E.IGNORE),  # the answer to something older than the greeting
        (_S.GREETING, _G.AT_REST): (_S.READY, _E.REPORT_IDENTIFY),
        (_S.GREETING, _G.MOVING): (_S.SETTLING, _E.REPORT_IDENTIFY),
        (_S.GREETING, _G.SILENCE): (_S.GREETING, _E.REPEAT),
        (_S.SETTLING, _G.STOP): (_S.SETTLING, _E.ASK),
        (_S.SETTLING, _G.ACCEPTED): (_S.SETTLING, _E.CLOSE_REQUEST),
        (_S.SETTLING, _G.REFUSED): (_S.SETTLING, _E.FAIL_REFUSED),
        (_S.SETTLING, _G.AT_REST): (_S.READY, _E.REPORT_IDENTIFY),
        (_S.SETTLING, _G.RESTED): (_S.READY, _E.REPORT_EVENT),
        (_S.SETTLING, _G.SILENCE): (_S.SETTLING, _E.PROBE),
        (_S.READY, _G.RUN): (_S.ORDERING, _E.ASK),
        (_S.ORDERING, _G.ACCEPTED): (_S.MEASURING, _E.CLOSE_REQUEST),
        (_S.ORDERING, _G.REFUSED): (_S.READY, _E.FAIL_REFUSED),
        (_S.ORDERING, _G.STOP): (_S.MEASURING, _E.ASK),
        (_S.ORDERING, _G.BLOCK): (_S.MEASURING, _E.KEEP_BLOCK),
        (_S.ORDERING, _G.WHOLE): (_S.FINISHED, _E.FINISH),
        (_S.ORDERING, _G.GAPS): (_S.FETCHING, _E.FETCH_GAPS),
        (_S.ORDERING, _G.SILENCE): (_S.ORDERING, _E.REPEAT),
        (_S.MEASURING, _G.STOP): (_S.MEASURING, _E.ASK),
        (_S.MEASURING, _G.AT_REST): (_S.READY, _E.FAIL_LOST),
        (_S.MEASURING, _G.HOLDS_OURS): (_S.FETCHING, _E.FETCH),
        (_S.MEASURING, _G.SILENCE): (_S.MEASURING, _E.PROBE),
        (_S.MEASURING, _G.REFUSED): (_S.MEASURING, _E.FAIL_REFUSED),
        (_S.FETCHING, _G.REFUSED): (_S.READY, _E.FAIL_REFUSED),
        (_S.FETCHING, _G.SILENCE): (_S.FETCHING, _E.FETCH),
        (_S.FETCHING, _G.UNOBTAINABLE): (_S.READY, _E.FAIL),
        **{(state, _G.ACCEPTED): (state, _E.CLOSE_REQUEST) for state in _COLLECTING},
        **{(state, _G.BLOCK): (state, _E.KEEP_BLOCK) for state in _COLLECTING},
        **{(state, _G.WHOLE): (_S.FINISHED, _E.FINISH) for state in _COLLECTING},
        **{(state, _G.GAPS): (_S.FETCHING, _E.FETCH_GAPS) for state in _COLLECTING},
        **{(state, _G.DUPLICATE): (state, _E.COUNT_DUPLICATE) for state in _COLLECTING},
        **{(state, _G.CONTRADICTION): (_S.READY, _E.FAIL) for state in (_S.ORDERING, *_COLLECTING)},
        (_S.READY, _G.FETCH): (_S.FETCHING, _E.FETCH),
        (_S.READY, _G.STORED): (_S.FORGETTING, _E.ASK),
        (_S.FINISHED, _G.STORED): (_S.FORGETTING, _E.ASK),
        (_S.FORGETTING, _G.ACCEPTED): (_S.READY, _E.REPORT_DONE),
        (_S.FORGETTING, _G.REFUSED): (_S.READY, _E.FAIL_REFUSED),
        (_S.FORGETTING, _G.SILENCE): (_S.FORGETTING, _E.REPEAT),
        (_S.READY, _G.HANDLE): (_S.HANDLING, _E.ASK),
        (_S.READY, _G.CLEAR_FAULT): (_S.HANDLING, _E.ASK),
        (_S.HANDLING, _G.ACCEPTED): (_S.SETTLING, _E.REPORT_DONE),
        (_S.HANDLING, _G.REFUSED): (_S.READY, _E.FAIL_REFUSED),
        (_S.HANDLING, _G.SILENCE): (_S.HANDLING, _E.REPEAT),
    }
)


AT_REST = (State.IDLE, State.LOADED, State.HOLDING, State.FAULTED, State.STANDING)


def classify(
    said: Said | Unproven, known: Identify | None, blocks: Blocks | None, open_requests: Container[int]
) -> Signal:
    """Return the signal of what came, with what its effect needs; nothing is changed.

    Parameters
    ----------
    said : Said | Unproven
        What a frame says.
    known : Identify | None
        Last Identify of the gauge, None before the first.
    blocks : Blocks | None
        Blocks of the shaft under way, None if there is no shaft.
    open_requests : Container[int]
        Sequence numbers whose reply is awaited.

    Returns
    -------
    Signal
        A signal that TABLE has, or that is out of place in the present state.

    Examples
    --------
    >>> classify(Reply(boot=1, to_sequence=3, refusal=None, field=""), None, None, {3}).kind.name
    'ACCEPTED'
    >>> classify(Reply(boot=1, to_sequence=2, refusal=None, field=""), None, None, {3}).kind.name
    'STRAY'
    """
    match said:
        case Unproven():
            return Signal(SessionSignal.UNPROVEN)
        case ProtocolError():
            return Signal(SessionSignal.NONSENSE, said)
        case (major, minor, schema):
            return Signal(SessionSignal.FOREIGN, session_errors.foreign(major, minor, schema))
        case _ if known is not None and boot_in(said) not in (None, known.boot):
            return Signal(SessionSignal.RESET)
        case Identify():
            return Signal(_of_identify(said, blocks), said)
        case Readings(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_block(said, blocks)
        case EndOfShaft(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_end(said, blocks)
        case Reply(refusal=Refusal.WRONG_PROTOCOL):  # whatever it answers, the gauge has forgotten the greeting
            return Signal(SessionSignal.UNGREETED, said)
        case Reply(to_sequence=sequence) if sequence in open_requests:
            return Signal(SessionSignal.ACCEPTED if said.refusal is None else SessionSignal.REFUSED, said)
        case Readings() | EndOfShaft() | Reply():
            return Signal(SessionSignal.STRAY, said)
        case Event():
            return Signal(SessionSignal.RESTED if said.state in AT_REST else SessionSignal.CHANGED, said)
        case Fault():
            return Signal(SessionSignal.FAULT, said)
    name = type(said).__name__
    error = ProtocolError(f"the gauge sent a {name}, which only a host sends: reset the gauge", code="wrong_way")
    return Signal(SessionSignal.NONSENSE, error)


def _of_identify(record: Identify, blocks: Blocks | None) -> SessionSignal:
    """Return the signal of an Identify of the start that is known."""
    if record.state not in AT_REST:
        return SessionSignal.MOVING
    if blocks is not None and record.state is not State.IDLE and record.held_shaft == blocks.shaft:
        return SessionSignal.HOLDS_OURS
    return SessionSignal.AT_REST


def _of_block(block: Readings, blocks: Blocks) -> Signal:
    """Return the signal of a block of the shaft under way."""
    try:
        return Signal(SessionSignal.BLOCK if blocks.is_new(block) else SessionSignal.DUPLICATE, block)
    except ProtocolError as error:
        return Signal(SessionSignal.CONTRADICTION, error)


def _of_end(end: EndOfShaft, blocks: Blocks) -> Signal:
    """Return the signal of the end of the shaft under way."""
    try:
        ended = blocks.ended(end)
        if ended.missing(1):
            return Signal(SessionSignal.GAPS, ended)
        return Signal(SessionSignal.WHOLE, ended.joined())
    except ProtocolError as error:
        return Signal(SessionSignal.CONTRADICTION, error)
