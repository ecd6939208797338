"""One physical shaft on its way through the gauge, and what else a journal tells: values only.

>>> measuring = Step(TransitStage.MEASURING, 3, archive_bytes=900)
>>> steps = (Step(TransitStage.IN_GAUGE, 2), measuring, Step(TransitStage.JUDGED, 20, result=5))
>>> transit = Transit(shaft=4, night=1, source="HOPPER", standard=None, ordered_ms=1, steps=steps)
>>> transit.stage.name, transit.is_open, transit.result, transit.measured
('JUDGED', True, 5, 1)
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from midspan.decision.decision import Decision


class TransitStage(StrEnum):
    """How far a shaft has come. The last four are ends."""

    ORDERED = "ordered"  # before the gauge is told to feed it
    IN_GAUGE = "in the gauge"  # words: why it cannot be measured, if so
    # Before MEASURE, and before what the gauge holds is kept elsewhere than was thought. archive_bytes: where in the
    # archive its readings will stand; words: the marker of that archive.
    MEASURING = "measuring"
    JUDGED = "judged"  # result: number of the stored result; words: fault code for which its cycle was cut short
    LEAVING = "leaving"  # before RELEASE; place: where to
    IN_BIN = "in its place"  # place; passed: shafts that the chute saw, 2 when a second one came along
    NO_SHAFT = "none came"  # the feed brought nothing
    UNCERTAIN = "not known where"  # place: to recount; words: why
    TAKEN_OUT = "taken out"  # it was not in the gauge any more, and nobody had ordered it to leave


ENDS = frozenset({TransitStage.IN_BIN, TransitStage.NO_SHAFT, TransitStage.UNCERTAIN, TransitStage.TAKEN_OUT})


class RunEventKind(StrEnum):
    """What an event of a run is about."""

    BEGUN = "begun"
    RESUMED = "went on"
    SETTING = "setting"  # is another from here on: night_settings says what goes with it
    FAULT = "fault"
    ALARM = "alarm"  # about the gauge, from watch
    CHECK = "check"  # a check standard was out of control
    FULL = "full"  # a place is full by count
    EMPTIED = "emptied"
    NOTICE = "notice"
    CLOCK = "clock"
    ENDED = "ended"  # nothing is left to do
    STOPPED = "stopped"  # the run can go on


@dataclass(frozen=True, slots=True)
class Step:
    """What a shaft has come to at a time; `watched` are the gauge_health.RunSigns of a measured one."""

    stage: TransitStage
    at_ms: int
    place: int | None = None
    passed: int | None = None
    archive_bytes: int | None = None
    result: int | None = None
    words: str | None = None
    watched: Mapping[str, float | None] | None = None


@dataclass(frozen=True, slots=True)
class Transit:
    """A physical shaft and its steps; `standard` is the check standard that it is, None for one of the stock."""

    shaft: int
    night: int
    source: str
    standard: str | None
    ordered_ms: int
    steps: tuple[Step, ...] = ()

    @property
    def stage(self) -> TransitStage:
        """What it has come to."""
        return self.steps[-1].stage if self.steps else TransitStage.ORDERED

    @property
    def is_open(self) -> bool:
        """True until it has come to an end."""
        return self.stage not in ENDS

    @property
    def place(self) -> int | None:
        """Where it was sent last, None before."""
        return next((one.place for one in reversed(self.steps) if one.place is not None), None)

    @property
    def result(self) -> int | None:
        """Number of its newest stored result."""
        return next((one.result for one in reversed(self.steps) if one.result is not None), None)

    @property
    def unfit(self) -> str | None:
        """Why it cannot be measured, as its feeding said; None when it can."""
        return next((one.words for one in reversed(self.steps) if one.stage is TransitStage.IN_GAUGE), None)

    @property
    def measured(self) -> int:
        """How many of its measurements were judged."""
        return sum(one.stage is TransitStage.JUDGED for one in self.steps)

    @property
    def since_measuring(self) -> tuple[Step, ...]:
        """The steps from its newest MEASURE on; none when it was never measured."""
        at = max(
            (i for i, one in enumerate(self.steps) if one.stage is TransitStage.MEASURING), default=len(self.steps)
        )
        return self.steps[at:]

    @property
    def passed(self) -> int:
        """How many shafts the chute saw for it; 0 also when nobody knows."""
        return (self.steps[-1].passed or 0) if self.steps else 0


@dataclass(frozen=True, slots=True)
class RunEvent:
    """Something worth telling of a night; `code` is a fault's, `shaft` and `place` those it concerns."""

    kind: RunEventKind
    words: str
    at_ms: int
    code: str | None = None
    shaft: int | None = None
    place: int | None = None


@dataclass(frozen=True, slots=True)
class NightOnRecord:
    """One run of sorting."""

    id: int
    batch: int
    gauge: str
    plan: Mapping[str, Any]
    begun_ms: int


@dataclass(frozen=True, slots=True)
class JudgedResult:
    """What a shaft was judged by that night, whatever was made of its readings later; thou, u at k = 1."""

    spine_thou: float | None
    u_spine_thou: float | None
    decision: Decision
    calibration: str | None


@dataclass(frozen=True, slots=True)
class StandardCheck:
    """A check standard that was measured; values in thou, None where it could not be measured."""

    standard: str
    at_ms: int
    spine_thou: float | None
    u_spine_thou: float | None
    assigned_thou: float
    u_assigned_thou: float
    good: bool
    reasons: tuple[str, ...] = ()
    calibration: str | None = None
    shaft: int | None = None

    def columns(self) -> dict[str, object]:
        """Values for the table of checks, its shaft apart."""
        values = asdict(self)
        del values["shaft"]
        return {**values, "reasons": json.dumps(self.reasons)}

    @classmethod
    def of(cls, row: Any) -> StandardCheck:
        """The check in a row of the table."""
        return cls(
            row.standard, row.at_ms, row.spine_thou, row.u_spine_thou, row.assigned_thou, row.u_assigned_thou, row.good,
            tuple(json.loads(row.reasons)), row.calibration, row.passage_id,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunFindings:
    """What a night found in a run besides its verdict.

    `cause` is the fault code for which the cycle was cut short, `watched` what gauge_health.observe gave; `check` is
    that of a standard, and `suspects` the shafts which it makes doubtful.
    """

    cause: str | None = None
    watched: Mapping[str, float | None] | None = None
    check: StandardCheck | None = None
    suspects: Collection[int] = ()
    events: Sequence[RunEvent] = ()


NOTHING_FOUND = RunFindings()
