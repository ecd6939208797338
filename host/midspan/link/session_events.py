"""Events that a session reports to its caller."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.base.errors import MidspanError
from midspan.wire.records import Event, Fault, Identify, Readings, Record


@dataclass(frozen=True, slots=True)
class Identified:
    """The gauge answered a greeting; it may still be moving.

    Parameters
    ----------
    identify : Identify
        Its answer.
    """

    identify: Identify


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The gauge went on to another state.

    Parameters
    ----------
    event : Event
        Its record, with the states before and after.
    """

    event: Event


@dataclass(frozen=True, slots=True)
class BlockCame:
    """A block of readings came that had not come before.

    Parameters
    ----------
    block : Readings
        The block.
    readings : int
        Number of readings of its shaft that have come so far, this block included.
    """

    block: Readings
    readings: int


@dataclass(frozen=True, slots=True)
class Faulted:
    """The gauge reported a fault and has taken its safe action.

    Parameters
    ----------
    fault : Fault
        Its record.
    """

    fault: Fault


@dataclass(frozen=True, slots=True)
class Finished:
    """Every block of a shaft has come; the gauge keeps them until `Session.stored` is called.

    Parameters
    ----------
    run : RawRun
        All readings of the shaft.
    """

    run: RawRun


@dataclass(frozen=True, slots=True)
class Done:
    """The gauge accepted a request: it forgot the shaft, or begins to move.

    Parameters
    ----------
    request : Record
        The request.
    """

    request: Record


@dataclass(frozen=True, slots=True)
class OutOfPlace:
    """A record came that has no meaning now, such as a late duplicate; nothing changed.

    Parameters
    ----------
    record : Record
        The record.
    """

    record: Record


@dataclass(frozen=True, slots=True)
class Failed:
    """What was under way failed.

    Parameters
    ----------
    error : MidspanError
        What is wrong and what to do.
    """

    error: MidspanError


SessionEvent = Identified | StateChanged | BlockCame | Faulted | Finished | Done | OutOfPlace | Failed
