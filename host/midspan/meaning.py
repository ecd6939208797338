"""What the gauge said means at this moment of the conversation: that and its context in, signal out."""

from __future__ import annotations

from collections.abc import Container
from typing import Any

from midspan import failures
from midspan.blocks import Blocks
from midspan.errors import ProtocolError
from midspan.line import Unproven
from midspan.packing import Said
from midspan.records import EndOfShaft, Event, Fault, Identify, Readings, Refusal, Reply, State
from midspan.stages import Signal

AT_REST = (State.IDLE, State.LOADED, State.HOLDING, State.FAULTED, State.STANDING)


def meaning_of(
    said: Said | Unproven, known: Identify | None, blocks: Blocks | None, open_requests: Container[int]
) -> tuple[Signal, Any]:
    """The signal of stages.TABLE that this is, and what the action needs to know of it.

    `known` is the last Identify, `blocks` the shaft under way, `open_requests` the sequence numbers whose
    reply is awaited. A block or end of that shaft is kept in `blocks`.

    >>> meaning_of(Reply(to_sequence=3, refusal=None, field=""), None, None, {3})[0].name
    'ACCEPTED'
    >>> meaning_of(Reply(to_sequence=2, refusal=None, field=""), None, None, {3})[0].name
    'STRAY'
    """
    match said:
        case Unproven():
            return Signal.UNPROVEN, said
        case ProtocolError():
            return Signal.NONSENSE, said
        case (major, minor, schema):
            return Signal.FOREIGN, failures.foreign(major, minor, schema)
        case Identify():
            return _of_identify(said, known, blocks), said
        case Readings(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_block(said, blocks)
        case EndOfShaft(shaft=shaft) if blocks is not None and shaft == blocks.shaft:
            return _of_end(said, blocks)
        case Reply(refusal=Refusal.WRONG_PROTOCOL):  # whatever it answers: the gauge knows of no greeting any more
            return Signal.UNGREETED, said
        case Reply(to_sequence=sequence) if sequence in open_requests:
            return (Signal.ACCEPTED if said.refusal is None else Signal.REFUSED), said
        case Readings() | EndOfShaft() | Reply():
            return Signal.STRAY, said
        case Event():
            return (Signal.RESTED if said.state in AT_REST else Signal.CHANGED), said
        case Fault():
            return Signal.FAULT, said
    return Signal.NONSENSE, ProtocolError(f"the gauge sent a {type(said).__name__}, which only a host sends: reset it")


def _of_identify(record: Identify, known: Identify | None, blocks: Blocks | None) -> Signal:
    if known is not None and record.boot != known.boot:
        return Signal.RESET
    if record.state not in AT_REST:
        return Signal.MOVING
    if blocks is not None and record.state is not State.IDLE and record.held_shaft == blocks.shaft:
        return Signal.HOLDS_OURS
    return Signal.AT_REST


def _of_block(block: Readings, blocks: Blocks) -> tuple[Signal, Any]:
    try:
        return (Signal.BLOCK if blocks.add(block) else Signal.DUPLICATE), block
    except ProtocolError as error:
        return Signal.CONTRADICTION, error


def _of_end(end: EndOfShaft, blocks: Blocks) -> tuple[Signal, Any]:
    try:
        blocks.close(end)
        if blocks.missing(1):
            return Signal.GAPS, None
        return Signal.WHOLE, blocks.joined()
    except ProtocolError as error:
        return Signal.CONTRADICTION, error
