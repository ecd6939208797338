"""Values that go into the store and come out of it: where readings are, a result with its verdict, a stored result."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from midspan.decision.basis import Basis
from midspan.decision.decision import Decision

if TYPE_CHECKING:
    from midspan.store.stored_result import AnyResult


class Origin(StrEnum):
    """How a measurement came into the database, which decides what it supersedes."""

    MEASURED = "measured"  # stored as it was measured: supersedes all earlier measurements of the shaft
    IMPORTED = "imported"  # from an archive, or kept by a gauge for another computer: supersedes no measured ones


@dataclass(frozen=True, slots=True)
class RunReference:
    """Where the raw readings of one measurement are.

    Parameters
    ----------
    archive : str
        Path of the archive as it was when the shaft was measured.
    byte_offset : int
        Where the block of the measurement begins in the archive.
    shaft : int
        Number of the shaft.
    label : str
        Label of the shaft, may be empty.
    started_ms : int
        Start of the measurement, UTC in ms since 1970.
    """

    archive: str
    byte_offset: int
    shaft: int
    label: str
    started_ms: int


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Result of a measurement with the verdict on it.

    Parameters
    ----------
    result : AnyResult
        Quantities with their uncertainties, or the reasons why there are none.
    decision : Decision
        Verdict.
    made_ms : int
        When the evaluation was made, UTC in ms since 1970.
    basis : Basis | None
        Rules behind the verdict, None if they are unknown.
    """

    result: AnyResult
    decision: Decision
    made_ms: int
    basis: Basis | None = None


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One evaluation of a shaft as it was stored.

    Parameters
    ----------
    id : int
        Number of the result.
    batch : int
        Number of its batch.
    run : RunReference
        Where the readings are.
    result : AnyResult
        Result; for a run without a result, the reasons of the verdict.
    decision : Decision
        Verdict.
    made_ms : int
        When the evaluation was made, UTC in ms since 1970.
    run_id : int
        Number of the measurement; measurements are numbered in the order they were stored.
    origin : Origin
        How the measurement came into the database.
    basis : Basis | None
        Rules behind the verdict, None for old verdicts that kept none.
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
