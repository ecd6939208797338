"""The host's end of the conversation as one table: stage and signal give the next stage and what to do.

A signal is an order of the caller, what a record of the device means here, or the passing of time. A pair
that is not in the table changes nothing: an order raises, a record is reported as out of place.

What the gauge said means at this moment of the conversation: that and its context in, signal out.
"""

from __future__ import annotations

from collections.abc import Container
from enum import Enum, auto
from typing import Any

from midspan.base.errors import ProtocolError
from midspan.link import session_errors
from midspan.link.block_assembler import Blocks
from midspan.link.framed_stream import Unproven
from midspan.wire.codec import Said
from midspan.wire.records import EndOfShaft, Event, Fault, Identify, Readings, Refusal, Reply, State


class SessionState(Enum):
    """Where the host stands in the conversation."""

    APART = "no greeting has been answered, or the conversation broke"
    GREETING = "Greet sent"
    SETTLING = "greeted; the device still moves and will come to rest"
    READY = "greeted; nothing is under way"
    PLANNING = "CyclePlan sent"
    ORDERING = "MEASURE or BenchStep sent"
    MEASURING = "readings of the shaft or bench step come in"
    FETCHING = "Resend sent; missing blocks come in"
    FINISHED = "the shaft is whole and handed over, not yet stored"
    FORGETTING = "Acknowledge sent"
    HANDLING = "Feed, Release or CLEAR_FAULT sent"


class SessionSignal(Enum):
    """What can happen, in four groups: orders, Identify and other records, shaft totals, time."""

    GREET = auto()
    PLAN = auto()
    MEASURE = auto()
    FETCH = auto()
    STORED = auto()
    STOP = auto()
    HANDLE = auto()
    CLEAR_FAULT = auto()

    FOREIGN = auto()  # Identify of another major version or fingerprint
    UNPROVEN = auto()  # Identify with a boot number never heard before, not yet proven
    RESET = auto()  # Identify with another boot number than before
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
    NONSENSE = auto()  # a sound frame whose content is no record for a host

    BLOCK = auto()
    DUPLICATE = auto()
    WHOLE = auto()  # EndOfShaft, and every block is there
    GAPS = auto()  # EndOfShaft, and blocks are missing
    CONTRADICTION = auto()  # a block or EndOfShaft that contradicts what came before

    SILENCE = auto()  # nothing came for the time of an answer
    GIVE_UP = auto()  # nothing came, or nothing went on, for far too long
    UNOBTAINABLE = auto()  # requests without end brought no missing block


_S, _G = SessionState, SessionSignal
_COLLECTING = (_S.MEASURING, _S.FETCHING)

# What holds in every stage unless the table below says otherwise.
_COMMON: dict[SessionSignal, tuple[SessionState | None, str]] = {
    _G.GREET: (_S.GREETING, "greet"),  # opens the conversation anew; the device still holds what was under way
    _G.FOREIGN: (_S.APART, "fail"),
    _G.UNPROVEN: (None, "probe"),  # a gauge that was reset can prove it, what is only said again can not
    _G.RESET: (_S.APART, "fail_reset"),
    _G.UNGREETED: (_S.APART, "fail_reset"),
    _G.NONSENSE: (_S.APART, "fail"),
    _G.GIVE_UP: (_S.APART, "fail"),
    _G.RESTED: (None, "report_event"),
    _G.CHANGED: (None, "report_event"),
    _G.FAULT: (None, "report_fault"),
    _G.AT_REST: (None, "note_identify"),
    _G.HOLDS_OURS: (None, "note_identify"),
    _G.MOVING: (None, "note_identify"),
}

TABLE: dict[tuple[SessionState, SessionSignal], tuple[SessionState, str]] = {
    (stage, signal): (following or stage, action)
    for stage in SessionState
    for signal, (following, action) in _COMMON.items()
}
TABLE.update(
    {
        (_S.APART, _G.UNPROVEN): (_S.APART, "ignore"),
        (_S.APART, _G.NONSENSE): (_S.APART, "ignore"),  # what is said before a greeting may be foreign
        (_S.GREETING, _G.NONSENSE): (_S.GREETING, "ignore"),
        (_S.APART, _G.UNGREETED): (_S.APART, "ignore"),
        (_S.GREETING, _G.UNGREETED): (_S.GREETING, "ignore"),  # the answer to something older than the greeting
        (_S.GREETING, _G.AT_REST): (_S.READY, "report_identify"),
        (_S.GREETING, _G.MOVING): (_S.SETTLING, "report_identify"),
        (_S.GREETING, _G.SILENCE): (_S.GREETING, "repeat"),
        (_S.SETTLING, _G.STOP): (_S.SETTLING, "ask"),
        (_S.SETTLING, _G.ACCEPTED): (_S.SETTLING, "close_request"),
        (_S.SETTLING, _G.REFUSED): (_S.SETTLING, "fail_refused"),
        (_S.SETTLING, _G.AT_REST): (_S.READY, "report_identify"),
        (_S.SETTLING, _G.RESTED): (_S.READY, "report_event"),
        (_S.SETTLING, _G.SILENCE): (_S.SETTLING, "probe"),
        (_S.READY, _G.PLAN): (_S.PLANNING, "ask"),
        (_S.PLANNING, _G.ACCEPTED): (_S.READY, "report_done"),
        (_S.PLANNING, _G.REFUSED): (_S.READY, "fail_refused"),
        (_S.PLANNING, _G.SILENCE): (_S.PLANNING, "repeat"),
        (_S.READY, _G.MEASURE): (_S.ORDERING, "ask"),
        (_S.ORDERING, _G.ACCEPTED): (_S.MEASURING, "close_request"),
        (_S.ORDERING, _G.REFUSED): (_S.READY, "fail_refused"),
        (_S.ORDERING, _G.STOP): (_S.MEASURING, "ask"),
        (_S.ORDERING, _G.BLOCK): (_S.MEASURING, "keep_block"),
        (_S.ORDERING, _G.WHOLE): (_S.FINISHED, "finish"),
        (_S.ORDERING, _G.GAPS): (_S.FETCHING, "fetch"),
        (_S.ORDERING, _G.SILENCE): (_S.ORDERING, "repeat"),
        (_S.MEASURING, _G.STOP): (_S.MEASURING, "ask"),
        (_S.MEASURING, _G.AT_REST): (_S.READY, "fail_lost"),
        (_S.MEASURING, _G.HOLDS_OURS): (_S.FETCHING, "fetch"),
        (_S.MEASURING, _G.SILENCE): (_S.MEASURING, "probe"),
        (_S.MEASURING, _G.REFUSED): (_S.MEASURING, "fail_refused"),
        (_S.FETCHING, _G.REFUSED): (_S.READY, "fail_refused"),
        (_S.FETCHING, _G.SILENCE): (_S.FETCHING, "fetch"),
        (_S.FETCHING, _G.UNOBTAINABLE): (_S.READY, "fail"),
        **{(stage, _G.ACCEPTED): (stage, "close_request") for stage in _COLLECTING},
        **{(stage, _G.BLOCK): (stage, "keep_block") for stage in _COLLECTING},
        **{(stage, _G.WHOLE): (_S.FINISHED, "finish") for stage in _COLLECTING},
        **{(stage, _G.GAPS): (_S.FETCHING, "fetch") for stage in _COLLECTING},
        **{(stage, _G.DUPLICATE): (stage, "count_duplicate") for stage in _COLLECTING},
        **{(stage, _G.CONTRADICTION): (_S.READY, "fail") for stage in (_S.ORDERING, *_COLLECTING)},
        (_S.READY, _G.FETCH): (_S.FETCHING, "fetch"),
        (_S.READY, _G.STORED): (_S.FORGETTING, "ask"),
        (_S.FINISHED, _G.STORED): (_S.FORGETTING, "ask"),
        (_S.FORGETTING, _G.ACCEPTED): (_S.READY, "report_done"),
        (_S.FORGETTING, _G.REFUSED): (_S.READY, "fail_refused"),
        (_S.FORGETTING, _G.SILENCE): (_S.FORGETTING, "repeat"),
        (_S.READY, _G.HANDLE): (_S.HANDLING, "ask"),
        (_S.READY, _G.CLEAR_FAULT): (_S.HANDLING, "ask"),
        (_S.HANDLING, _G.ACCEPTED): (_S.SETTLING, "report_done"),
        (_S.HANDLING, _G.REFUSED): (_S.READY, "fail_refused"),
        (_S.HANDLING, _G.SILENCE): (_S.HANDLING, "repeat"),
    }
)


AT_REST = (State.IDLE, State.LOADED, State.HOLDING, State.FAULTED, State.STANDING)


def classify(
    said: Said | Unproven, known: Identify | None, blocks: Blocks | None, open_requests: Container[int]
) -> tuple[SessionSignal, Any]:
    """The signal of stages.TABLE that this is, and what the action needs to know of it.

    `known` is the last Identify, `blocks` the shaft under way, `open_requests` the sequence numbers whose
    reply is awaited. A block or end of that shaft is kept in `blocks`.

    >>> classify(Reply(to_sequence=3, refusal=None, field=""), None, None, {3})[0].name
    'ACCEPTED'
    >>> classify(Reply(to_sequence=2, refusal=None, field=""), None, None, {3})[0].name
    'STRAY'
    """
    match said:
        case Unproven():
            return SessionSignal.UNPROVEN, said
        case ProtocolError():
            return SessionSignal.NONSENSE, said
        case (major, minor, schema):
            return SessionSignal.FOREIGN, session_errors.foreign(major, minor, schema)
        case Identify():
            return _of_identify(said, known, blocks), said
        case Readings(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_block(said, blocks)
        case EndOfShaft(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_end(said, blocks)
        case Reply(refusal=Refusal.WRONG_PROTOCOL):  # whatever it answers: the gauge knows of no greeting any more
            return SessionSignal.UNGREETED, said
        case Reply(to_sequence=sequence) if sequence in open_requests:
            return (SessionSignal.ACCEPTED if said.refusal is None else SessionSignal.REFUSED), said
        case Readings() | EndOfShaft() | Reply():
            return SessionSignal.STRAY, said
        case Event():
            return (SessionSignal.RESTED if said.state in AT_REST else SessionSignal.CHANGED), said
        case Fault():
            return SessionSignal.FAULT, said
    return SessionSignal.NONSENSE, ProtocolError(
        f"the gauge sent a {type(said).__name__}, which only a host sends: reset it"
    )


def _of_identify(record: Identify, known: Identify | None, blocks: Blocks | None) -> SessionSignal:
    if known is not None and record.boot != known.boot:
        return SessionSignal.RESET
    if record.state not in AT_REST:
        return SessionSignal.MOVING
    if blocks is not None and record.state is not State.IDLE and record.held_shaft == blocks.shaft:
        return SessionSignal.HOLDS_OURS
    return SessionSignal.AT_REST


def _of_block(block: Readings, blocks: Blocks) -> tuple[SessionSignal, Any]:
    try:
        return (SessionSignal.BLOCK if blocks.add(block) else SessionSignal.DUPLICATE), block
    except ProtocolError as error:
        return SessionSignal.CONTRADICTION, error


def _of_end(end: EndOfShaft, blocks: Blocks) -> tuple[SessionSignal, Any]:
    try:
        blocks.close(end)
        if blocks.missing(1):
            return SessionSignal.GAPS, None
        return SessionSignal.WHOLE, blocks.joined()
    except ProtocolError as error:
        return SessionSignal.CONTRADICTION, error
