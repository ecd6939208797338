"""Every table of the store as it looks now: results and verdicts, the journal of nights, matched sets, stop requests.

All of them only ever grow. A result that is made again under another calibration or evaluation is a new row beside the
old one, a shaft that goes on through the gauge leaves a row for each step, and a set that was taken apart or a shaft
that was lost a row that says so. Triggers in the database itself refuse to change or delete a row, and a shaft in two
sets, whatever program tries. The tables are made and changed by the migrations (`upgrade`); a test holds both equal.
"""

from __future__ import annotations

from typing import ClassVar

from sqlalchemy import ForeignKey, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from midspan.store.kept_values import (
    Concerns,
    Content,
    KindWord,
    Number,
    OriginWord,
    OutcomeWord,
    ResultKindWord,
    Sections,
    Sentences,
    StageWord,
    Text,
    Watched,
    Whole,
)


class Table(DeclarativeBase):
    """Base of all tables; what is read from them is what these types allow, or raises `kept_values.Damaged`."""

    type_annotation_map: ClassVar = {int: Whole, float: Number, str: Text}


class BatchRow(Table):
    """Shafts measured one after another; `started_ms` is UTC in milliseconds since 1970."""

    __tablename__ = "batches"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    started_ms: Mapped[int]


class RunRow(Table):
    """Where a shaft's raw readings are: the block at a byte offset of an archive.

    `origin` is "measured" for a run that was stored as it was measured, with all that stood here in view, "imported"
    for one that came later from an archive or from a gauge that had kept it for another host.
    """

    __tablename__ = "runs"
    __table_args__ = (UniqueConstraint("archive", "byte_offset", "shaft", "started_ms"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batches.id"), index=True)
    archive: Mapped[str]
    byte_offset: Mapped[int]
    shaft: Mapped[int] = mapped_column(index=True)
    label: Mapped[str] = mapped_column(index=True)
    started_ms: Mapped[int]
    origin: Mapped[OriginWord] = mapped_column(server_default="measured")
    batch: Mapped[BatchRow] = relationship()


class SupersessionRow(Table):
    """A measurement of a shaft took the place of an earlier one, of which it knew."""

    __tablename__ = "supersessions"
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), primary_key=True)
    superseded_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), primary_key=True, index=True)


class ResultRow(Table):
    """One evaluation of a run. Quantities are null when the run gave no result or no finite number.

    Units are in the names; each u_... is a standard uncertainty. `kind` says what the run was measured with, `full` is
    the whole result as JSON, null when there is none: both are read and written by `stored_result`.
    """

    __tablename__ = "results"
    id: Mapped[int] = mapped_column(primary_key=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), index=True)
    made_ms: Mapped[int]
    calibration: Mapped[str | None]
    evaluation: Mapped[str | None]
    spine_thou: Mapped[float | None]
    u_spine_thou: Mapped[float | None]
    spread_thou: Mapped[float | None]
    u_spread_thou: Mapped[float | None]
    spread_floor_thou: Mapped[float | None]
    four_reading_thou: Mapped[float | None]
    u_four_reading_thou: Mapped[float | None]
    stiff_side_deg: Mapped[float | None]
    u_stiff_side_deg: Mapped[float | None]
    runout_mm: Mapped[float | None]
    u_runout_mm: Mapped[float | None]
    hysteresis_pct: Mapped[float | None]
    u_hysteresis_pct: Mapped[float | None]
    older_lb: Mapped[float | None]
    u_older_lb: Mapped[float | None]
    full: Mapped[str | None]
    kind: Mapped[ResultKindWord] = mapped_column(server_default="unmeasured")
    run: Mapped[RunRow] = relationship()
    decision: Mapped[DecisionRow] = relationship(back_populates="result")


class BasisRow(Table):
    """What verdicts were made by besides the result: bands, crack limit, role of the shaft; `content` is JSON."""

    __tablename__ = "bases"
    id: Mapped[int] = mapped_column(primary_key=True)
    content: Mapped[Content] = mapped_column(unique=True)


class DecisionRow(Table):
    """The verdict on a result; `reasons` is a JSON list of sentences, `concerns` one of pairs (kind, sentence).

    `basis_id` is null for verdicts of old of which nobody kept what made them.
    """

    __tablename__ = "decisions"
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id"), primary_key=True)
    outcome: Mapped[OutcomeWord]
    bin: Mapped[str | None]
    reasons: Mapped[Sentences]
    concerns: Mapped[Concerns] = mapped_column(server_default="[]")
    basis_id: Mapped[int | None] = mapped_column(ForeignKey("bases.id"))
    basis: Mapped[BasisRow | None] = relationship()
    result: Mapped[ResultRow] = relationship(back_populates="decision")


class VoucherRow(Table):
    """A person stands for a shaft: what was found of it up to a result counts no more against this measurement."""

    __tablename__ = "vouchers"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"))
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id"))
    at_ms: Mapped[int]
    person: Mapped[str]
    words: Mapped[str]


class CalibrationRow(Table):
    """A calibration that results name, as it was when they were made; `content` is JSON."""

    __tablename__ = "calibrations"
    id: Mapped[str] = mapped_column(primary_key=True)
    content: Mapped[Sections]


class NightRow(Table):
    """One run of sorting on one gauge; `plan` is the plan as JSON, `begun_ms` UTC in milliseconds since 1970."""

    __tablename__ = "nights"
    id: Mapped[int] = mapped_column(primary_key=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batches.id"))
    gauge: Mapped[str] = mapped_column(index=True)
    plan: Mapped[Content]
    begun_ms: Mapped[int]


class TransitRow(Table):
    """One physical shaft on its way through the gauge. `id` is the shaft's number, never used for another one.

    `standard` is the name of the check standard that it is, null for a shaft of the stock.
    """

    __tablename__ = "passages"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    source: Mapped[str]
    standard: Mapped[str | None]
    ordered_ms: Mapped[int]


class StepRow(Table):
    """What a shaft came to, in order; which columns hold something depends on the stage (transit.TransitStage)."""

    __tablename__ = "steps"
    id: Mapped[int] = mapped_column(primary_key=True)
    passage_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), index=True)
    at_ms: Mapped[int]
    stage: Mapped[StageWord]
    place: Mapped[int | None]
    passed: Mapped[int | None]
    archive_bytes: Mapped[int | None]
    result_id: Mapped[int | None] = mapped_column(ForeignKey("results.id"))
    words: Mapped[str | None]
    watched: Mapped[Watched | None]


class EventRow(Table):
    """What is worth telling of a night: faults, notices, its end; `shaft` may be one known to the gauge alone."""

    __tablename__ = "happenings"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    at_ms: Mapped[int]
    kind: Mapped[KindWord]
    code: Mapped[str | None]
    shaft: Mapped[int | None]
    place: Mapped[int | None]
    words: Mapped[str]


class CheckRow(Table):
    """A check standard was measured: what it read against what it is; both u_... are standard uncertainties."""

    __tablename__ = "checks"
    id: Mapped[int] = mapped_column(primary_key=True)
    passage_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), index=True)
    standard: Mapped[str] = mapped_column(index=True)
    at_ms: Mapped[int]
    spine_thou: Mapped[float | None]
    u_spine_thou: Mapped[float | None]
    assigned_thou: Mapped[float]
    u_assigned_thou: Mapped[float]
    good: Mapped[bool]
    reasons: Mapped[Sentences]
    calibration: Mapped[str | None]


class SuspectRow(Table):
    """A shaft that is not to be trusted until it is measured again, with the check standard's that says so.

    `run_id` is the measurement in doubt; null in the rare case that an older version noted none.
    """

    __tablename__ = "suspects"
    passage_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), primary_key=True)
    check_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), primary_key=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("runs.id"))


# Columns that hold a field of the result under the same name.
NAMED_COLUMNS = frozenset(column.name for column in ResultRow.__table__.columns) - {
    "id", "run_id", "made_ms", "full", "kind"
}  # fmt: skip


class WeightRow(Table):
    """A shaft was weighed; the newest row holds. `u_weight_g` is the standard uncertainty of the scale's last digit."""

    __tablename__ = "weights"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    weight_g: Mapped[float]
    u_weight_g: Mapped[float]


class MarkRow(Table):
    """A person took a shaft out of the stock, or gave it back (`spent` false); the newest row holds."""

    __tablename__ = "marks"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    spent: Mapped[bool]
    words: Mapped[str]


class IdentityRow(Table):
    """A person said whether two numbers are of one shaft; `same` is null where that was taken back.

    The newest row about a pair holds (identity).
    """

    __tablename__ = "identities"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    other: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    same: Mapped[bool | None]
    person: Mapped[str]
    words: Mapped[str]


class SetRow(Table):
    """A matched set; `limits` is what was asked of it as JSON, `like_id` the set that it was made to match."""

    __tablename__ = "sets"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    made_ms: Mapped[int]
    limits: Mapped[Content]
    like_id: Mapped[int | None] = mapped_column(ForeignKey("sets.id"))


class MemberRow(Table):
    """A shaft joined a set; `result_id` is the result by which it was chosen."""

    __tablename__ = "members"
    id: Mapped[int] = mapped_column(primary_key=True)
    set_id: Mapped[int] = mapped_column(ForeignKey("sets.id"), index=True)
    shaft: Mapped[int] = mapped_column(index=True)
    joined_ms: Mapped[int]
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id"))


class LeavingRow(Table):
    """A member left its set, and why."""

    __tablename__ = "leavings"
    member_id: Mapped[int] = mapped_column(ForeignKey("members.id"), primary_key=True)
    at_ms: Mapped[int]
    words: Mapped[str]


class StopRequestRow(Table):
    """Somebody wished that a night ends after the shaft in hand; `at_ms` is UTC in milliseconds since 1970."""

    __tablename__ = "wishes"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    at_ms: Mapped[int]
