"""Errors of the conversation with a gauge: what is wrong, where, what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from midspan.base.errors import DeviceFault, LinkError, MidspanError, ProtocolError
from midspan.link.block_assembler import Blocks
from midspan.link.framed_stream import FramedStream
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Command, FaultCode, Record, Refusal, Reply, State
from midspan.wire.schema import fingerprint, version_text

if TYPE_CHECKING:
    from midspan.link.session_states import SessionState

REFUSAL_WORDS = {
    Refusal.WRONG_PROTOCOL: "it has not been greeted with its own version",
    Refusal.WRONG_STATE: "it cannot do this in its present state",
    Refusal.OUT_OF_RANGE: "a value is out of its range",
    Refusal.UNKNOWN_SHAFT: "it does not hold this shaft",
    Refusal.BUFFER_TOO_SMALL: "its memory is too small for this many readings",
    Refusal.NOT_SAFE: "the lid is open or the emergency stop is pressed",
    Refusal.NO_FEEDER: "it has no feeder",
}
# By the field that the refusal names: the words, and the fault that it would be if something moved.
UNSAFE = {
    "lid": ("the lid is open: shut it", FaultCode.LID_OPEN),
    "stop": ("the emergency stop is pressed: find out why, then release it", FaultCode.EMERGENCY_STOP),
}


def foreign(major: int, minor: int, schema: bytes) -> ProtocolError:
    """Return the error for a gauge of another version or another schema.

    Parameters
    ----------
    major : int
        Major version of its protocol.
    minor : int
        Minor version of its protocol.
    schema : bytes
        Fingerprint of its schema.

    Returns
    -------
    ProtocolError
        Names both versions and what to do.

    Examples
    --------
    >>> error = foreign(1, 3, bytes(8))
    >>> error.code, str(error).startswith("the gauge speaks protocol 1.3 (schema 0000000000000000), ")
    ('other_version', True)
    """
    theirs = version_text(major, minor, schema)
    ours = version_text(PROTOCOL_MAJOR, PROTOCOL_MINOR, fingerprint())
    advice = "`midspan board install` puts this host's version on the board"
    if major > PROTOCOL_MAJOR:
        advice = "install the newer midspan on this computer, or go back with `midspan board install`"
    return ProtocolError(f"the gauge speaks protocol {theirs}, this host {ours}: {advice}", code="other_version")


def refused(request: Record, reply: Reply) -> MidspanError:
    """Return the error for a refusal.

    Parameters
    ----------
    request : Record
        What the gauge refused.
    reply : Reply
        Its refusal.

    Returns
    -------
    MidspanError
        DeviceFault if a person must make the gauge safe first, else ProtocolError with the refusal's name as code.

    Examples
    --------
    >>> from midspan.wire.records import Acknowledge
    >>> error = refused(Acknowledge(shaft=3), Reply(1, 7, Refusal.UNKNOWN_SHAFT, "shaft"))
    >>> error.code, str(error)
    ('UNKNOWN_SHAFT', 'the gauge refused Acknowledge: it does not hold this shaft (UNKNOWN_SHAFT, field shaft)')
    """
    assert reply.refusal is not None
    if reply.refusal is Refusal.NOT_SAFE:
        words, code = UNSAFE.get(reply.field, (REFUSAL_WORDS[Refusal.NOT_SAFE], None))
        words = f"the gauge does not move for {_request_name(request)}: {words}"
        return DeviceFault(words, code="" if code is None else code.name)
    place = f", field {reply.field}" if reply.field else ""
    reason = f"{REFUSAL_WORDS[reply.refusal]} ({reply.refusal.name}{place})"
    return ProtocolError(f"the gauge refused {_request_name(request)}: {reason}", code=reply.refusal.name)


def _request_name(request: Record) -> str:
    """Return the name by which people know a request."""
    return request.order.name if isinstance(request, Command) else type(request).__name__


def reset(blocks: Blocks | None) -> LinkError:
    """Return the error for a gauge that started again and forgot the conversation.

    Parameters
    ----------
    blocks : Blocks | None
        Shaft that was under way, None if there was no shaft.

    Returns
    -------
    LinkError
        Code "reset".
    """
    shaft = "" if blocks is None else f"; readings of shaft {blocks.shaft} that it had not sent are lost"
    return LinkError(f"the gauge was reset{shaft}: check its power supply, then measure again", code="reset")


def lost(blocks: Blocks | None, state: State) -> LinkError:
    """Return the error for a gauge at rest that does not hold the shaft that was under way.

    Parameters
    ----------
    blocks : Blocks | None
        Shaft that was under way, None if it is not known.
    state : State
        State of the gauge.

    Returns
    -------
    LinkError
        Code "lost".
    """
    shaft = "the shaft" if blocks is None else f"shaft {blocks.shaft}"
    return LinkError(f"the gauge is {state.name} and has no readings of {shaft}: measure it again", code="lost")


def unobtainable(blocks: Blocks, rounds: int) -> LinkError:
    """Return the error for blocks that do not come however often they are asked for; the gauge still holds them.

    Parameters
    ----------
    blocks : Blocks
        Shaft under way.
    rounds : int
        Number of requests.

    Returns
    -------
    LinkError
        Code "unobtainable".
    """
    missing = ", ".join(map(str, blocks.missing(5))) or "the end"
    return LinkError(
        f"shaft {blocks.shaft} is incomplete, block {missing} did not come after {rounds} requests: "
        "check the cable, then fetch the shaft again",
        code="unobtainable",
    )


def given_up(state: SessionState, line: FramedStream, ignored: object, *, speaks: bool) -> MidspanError:
    """Return the error for a conversation without frames, or without progress, for too long.

    Parameters
    ----------
    state : SessionState
        State of the session.
    line : FramedStream
        Counts of what came.
    ignored : object
        What came last and made no sense; an error among it is returned, because it is the likely reason.
    speaks : bool
        True if something came not long ago.

    Returns
    -------
    MidspanError
        LinkError with a code for each cause, or the error in `ignored`.
    """
    if isinstance(ignored, ProtocolError):
        return ignored
    if speaks:
        return LinkError(
            f"the gauge answers but makes no progress ({state.value}): is another program controlling it? "
            "It keeps its readings until fetched",
            code="no_progress",
        )
    if again := line.succession.doubtful:
        return LinkError(
            f"the gauge sent nothing new ({state.value}), only {again} frames of before: "
            "check cable and adapter, and that no other program is on the line",
            code="only_old",
        )
    if line.frames:
        return LinkError(
            f"the gauge stopped answering ({state.value}): check cable and power supply; "
            "it keeps its readings until fetched",
            code="silent",
        )
    if line.bytes_in:
        return LinkError(
            f"{line.bytes_in} bytes came, none of them in the gauge's protocol: is another instrument on this port?",
            code="no_gauge",
        )
    return LinkError("no answer: is the gauge on this port, powered and running?", code="no_answer")
