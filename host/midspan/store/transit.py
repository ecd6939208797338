"""Values of the journal: a physical shaft on its way through the gauge, events, checks.

>>> measuring = WayStep(TransitStage.MEASURING, 3, archive_bytes=900)
>>> steps = (WayStep(TransitStage.IN_GAUGE, 2), measuring, WayStep(TransitStage.JUDGED, 20, result=5))
>>> transit = Transit(shaft=4, night=1, source="HOPPER", standard=None, ordered_ms=1, steps=steps)
>>> transit.stage.name, transit.is_open, transit.result, transit.measured
('JUDGED', True, 5, 1)
"""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from midspan.decision.decision import Decision


class TransitStage(StrEnum):
    """Stage of a shaft in the gauge; the last four are final."""

    ORDERED = "ordered"  # written before the gauge is ordered to feed it
    IN_GAUGE = "in the gauge"  # words: reason why it cannot be measured, if any
    # Written before the program is ordered, and again before the gauge's readings go to another place of the archive
    # than expected. archive_bytes: where its readings will begin; words: the marker of that archive.
    MEASURING = "measuring"
    JUDGED = "judged"  # result: number of the stored result; words: fault code for which its cycle was cut short
    LEAVING = "leaving"  # written before RELEASE; place: destination
    IN_BIN = "in its place"  # place; passed: shafts that the chute counted, 2 when a second shaft fell with it
    NO_SHAFT = "none came"  # the feed brought no shaft
    UNCERTAIN = "not known where"  # place: to count again; words: reason
    TAKEN_OUT = "taken out"  # no longer in the gauge, without an order to release it; in an attended run: lifted


ENDS = frozenset({TransitStage.IN_BIN, TransitStage.NO_SHAFT, TransitStage.UNCERTAIN, TransitStage.TAKEN_OUT})


class RunEventKind(StrEnum):
    """Subject of an event of a sorting run."""

    BEGUN = "begun"
    RESUMED = "went on"
    SETTING = "setting"  # a setting changes from here on, see night_settings
    FAULT = "fault"
    ALARM = "alarm"  # the watch on the gauge's health raised it
    CHECK = "check"  # a check standard was out of control
    FULL = "full"  # a place is full by count
    EMPTIED = "emptied"
    NOTICE = "notice"
    CLOCK = "clock"
    ENDED = "ended"  # nothing is left to do
    STOPPED = "stopped"  # the run can go on


@dataclass(frozen=True, slots=True)
class WayStep:
    """Stage that a shaft reached, and when.

    Parameters
    ----------
    stage : TransitStage
        The stage; its comments say which of the other fields it fills.
    at_ms : int
        Time, UTC in ms since 1970.
    place : int | None
        Number of the place in the gauge.
    passed : int | None
        Number of shafts that the chute counted.
    archive_bytes : int | None
        Length of the archive before its readings, bytes.
    result : int | None
        Number of the stored result.
    words : str | None
        Text that belongs to the stage.
    watched : Mapping[str, float | None] | None
        Health of the gauge during the measurement, the fields of gauge_health.RunSigns.
    """

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
    """A physical shaft and its steps.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    night : int
        Number of the sorting run that ordered it.
    source : str
        Where it came from, a name of the gauge's protocol.
    standard : str | None
        Name of the check standard that it is, None for a shaft of the stock.
    ordered_ms : int
        When it was ordered, UTC in ms since 1970.
    steps : tuple[WayStep, ...]
        Steps, oldest first.
    """

    shaft: int
    night: int
    source: str
    standard: str | None
    ordered_ms: int
    steps: tuple[WayStep, ...] = ()

    @property
    def stage(self) -> TransitStage:
        """Stage of the last step, ORDERED before the first."""
        return self.steps[-1].stage if self.steps else TransitStage.ORDERED

    @property
    def is_open(self) -> bool:
        """True until the shaft has reached a final stage."""
        return self.stage not in ENDS

    @property
    def place(self) -> int | None:
        """Place where the shaft was last sent, None before that."""
        return next((step.place for step in reversed(self.steps) if step.place is not None), None)

    @property
    def result(self) -> int | None:
        """Number of its newest stored result, None before that."""
        return next((step.result for step in reversed(self.steps) if step.result is not None), None)

    @property
    def unfit(self) -> str | None:
        """Reason from the feeding why the shaft cannot be measured, None if it can."""
        return next((step.words for step in reversed(self.steps) if step.stage is TransitStage.IN_GAUGE), None)

    @property
    def measured(self) -> int:
        """Number of its measurements that were judged."""
        return sum(step.stage is TransitStage.JUDGED for step in self.steps)

    @property
    def since_measuring(self) -> tuple[WayStep, ...]:
        """Steps from the newest MEASURING on, an empty tuple if it was never measured."""
        starts = (i for i, step in enumerate(self.steps) if step.stage is TransitStage.MEASURING)
        return self.steps[max(starts, default=len(self.steps)) :]

    @property
    def passed(self) -> int:
        """Number of shafts that the chute counted for it, 0 also if unknown."""
        return (self.steps[-1].passed or 0) if self.steps else 0


@dataclass(frozen=True, slots=True)
class RunEvent:
    """Event of a sorting run.

    Parameters
    ----------
    kind : RunEventKind
        Subject.
    words : str
        Text for people.
    at_ms : int
        Time, UTC in ms since 1970.
    code : str | None
        Code of a fault.
    shaft : int | None
        Number of the shaft concerned.
    place : int | None
        Number of the place concerned.
    """

    kind: RunEventKind
    words: str
    at_ms: int
    code: str | None = None
    shaft: int | None = None
    place: int | None = None


@dataclass(frozen=True, slots=True)
class NightOnRecord:
    """A sorting run as it is stored.

    Parameters
    ----------
    id : int
        Number of the run.
    batch : int
        Number of the batch with its results.
    gauge : str
        Name of the gauge.
    plan : Mapping[str, Any]
        Plan as it was when the run began.
    begun_ms : int
        Start, UTC in ms since 1970.
    """

    id: int
    batch: int
    gauge: str
    plan: Mapping[str, Any]
    begun_ms: int


@dataclass(frozen=True, slots=True)
class JudgedResult:
    """Result by which a shaft was judged in a sorting run, unaffected by later evaluations of its readings.

    Parameters
    ----------
    spine_thou : float | None
        Static spine, thou; None without a result.
    u_spine_thou : float | None
        Its standard uncertainty (k = 1), thou; None without a result.
    decision : Decision
        Verdict.
    calibration : str | None
        Id of the calibration.
    dof_spine : float | None
        Degrees of freedom of `u_spine_thou`, None where infinite or unknown.
    older_lb : float | None
        Spine in pounds (26 in, 2 lb); None without a result.
    u_older_lb : float | None
        Its standard uncertainty, lb.
    """

    spine_thou: float | None
    u_spine_thou: float | None
    decision: Decision
    calibration: str | None
    dof_spine: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None


@dataclass(frozen=True, slots=True)
class StandardCheck:
    """Measurement of a check standard against its assigned value.

    Parameters
    ----------
    standard : str
        Name of the check standard.
    at_ms : int
        Time, UTC in ms since 1970.
    spine_thou : float | None
        Measured spine, thou; None if it could not be measured.
    u_spine_thou : float | None
        Its standard uncertainty, thou; None if it could not be measured.
    assigned_thou : float
        Assigned spine, thou.
    u_assigned_thou : float
        Its standard uncertainty, thou.
    good : bool
        True if both agree.
    reasons : tuple[str, ...]
        Reasons for a bad check, empty for a good one.
    calibration : str | None
        Id of the calibration.
    shaft : int | None
        Number under which the standard was fed, None before it is stored.
    shift_thou : float
        Measured spine under the reference condition less `spine_thou`, thou; not a number if it cannot be converted.
    """

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
    shift_thou: float = 0.0

    @property
    def reference_thou(self) -> float | None:
        """Measured spine under the reference condition, thou; None if it was not measured or cannot be converted."""
        if self.spine_thou is None or not math.isfinite(self.shift_thou):
            return None
        return self.spine_thou + self.shift_thou

    def columns(self) -> dict[str, object]:
        """Return the values for the table of checks, without the shaft.

        Returns
        -------
        dict[str, object]
            Values by column; the reasons as JSON.
        """
        values = asdict(self)
        del values["shaft"], values["shift_thou"]
        return {**values, "reasons": json.dumps(self.reasons)}

    @classmethod
    def of(cls, row: Any, shift_thou: float = 0.0) -> StandardCheck:
        """Return the check in a row of the table.

        Parameters
        ----------
        row : Any
            A `tables.CheckRow`.
        shift_thou : float
            Its `shift_thou`.

        Returns
        -------
        StandardCheck
            The check.
        """
        return cls(
            row.standard, row.at_ms, row.spine_thou, row.u_spine_thou, row.assigned_thou, row.u_assigned_thou, row.good,
            tuple(json.loads(row.reasons)), row.calibration, row.passage_id, shift_thou,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunFindings:
    """Findings of a measurement besides its verdict.

    Parameters
    ----------
    cause : str | None
        Code of the fault that cut the cycle short, None if it was complete.
    watched : Mapping[str, float | None] | None
        Health of the gauge as returned by gauge_health.observe.
    check : StandardCheck | None
        Check, if the shaft was a check standard.
    suspects : Collection[int]
        Numbers of the shafts that the check makes doubtful.
    events : Sequence[RunEvent]
        Events to record in the same transaction.
    """

    cause: str | None = None
    watched: Mapping[str, float | None] | None = None
    check: StandardCheck | None = None
    suspects: Collection[int] = ()
    events: Sequence[RunEvent] = ()


NOTHING_FOUND = RunFindings()
