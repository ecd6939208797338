"""What a session tells its caller."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.archive.raw_run import RawRun
from midspan.base.errors import MidspanError
from midspan.wire.records import Event, Fault, Identify, Readings, Record


@dataclass(frozen=True, slots=True)
class Identified:
    """The gauge answered a greeting; it may still be moving."""

    identify: Identify


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The gauge's cycle went on to another state."""

    event: Event


@dataclass(frozen=True, slots=True)
class BlockCame:
    """A block of readings that had not come before; `readings` counts those of its shaft so far."""

    block: Readings
    readings: int


@dataclass(frozen=True, slots=True)
class Faulted:
    """The gauge reported a fault and has taken its safe action."""

    fault: Fault


@dataclass(frozen=True, slots=True)
class Finished:
    """Every block of a shaft is here; the gauge keeps them until the session is told `stored`."""

    run: RawRun


@dataclass(frozen=True, slots=True)
class Done:
    """The gauge accepted a request: it has the plan, forgot the shaft, or begins to move."""

    request: Record


@dataclass(frozen=True, slots=True)
class OutOfPlace:
    """A record that has no meaning now, such as a late duplicate; nothing changed."""

    record: Record


@dataclass(frozen=True, slots=True)
class Failed:
    """What was under way came to nothing; `error` says why and what to do."""

    error: MidspanError


SessionEvent = Identified | StateChanged | BlockCame | Faulted | Finished | Done | OutOfPlace | Failed
