"""What the store is given and gives back: a run of readings, where it came from, and what was made of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from midspan.decision.basis import Basis
from midspan.decision.decision import Decision

if TYPE_CHECKING:
    from midspan.store.stored_result import AnyResult


class Origin(StrEnum):
    """What a measurement knew of those that the store had of its shaft."""

    MEASURED = "measured"  # all of them: it was stored as it was measured
    IMPORTED = "imported"  # none: it came from an archive, or a gauge had kept it for another host


@dataclass(frozen=True, slots=True)
class RunReference:
    """Where the raw readings of a shaft are kept."""

    archive: str
    byte_offset: int
    shaft: int
    label: str
    started_ms: int


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What was made of a run: its result, the verdict on it, when, and by what rules (None where none are known)."""

    result: AnyResult
    decision: Decision
    made_ms: int
    basis: Basis | None = None


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One evaluation of a shaft as it was stored; the reasons of an Unmeasured are those of its verdict.

    `run_id` numbers the measurements in the order they were stored; `basis` is None for verdicts of old.
    """

    id: int
    batch: int
    run: RunReference
    result: AnyResult
    decision: Decision
    made_ms: int
    run_id: int
    origin: Origin = Origin.MEASURED
    basis: Basis | None = None
