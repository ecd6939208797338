"""Tables of the store in their newest form: results and verdicts, journal of sorting runs, matched sets, stop requests.

Tables only grow. A result that is evaluated again is a new row beside the old, each step of a shaft through the gauge
is a row, and so is a set that was taken apart or a shaft that was lost. Triggers in the database refuse to change or
delete rows, or to put a shaft in two sets, whatever program tries. Migrations create and change the tables
(`upgrade`); a test compares both. Some tables keep the names they were first released with: passages (transits),
happenings (events) and wishes (stop requests).
"""

from __future__ import annotations

from typing import ClassVar

from sqlalchemy import ForeignKey, ScalarSelect, UniqueConstraint, func, select, text
from sqlalchemy.orm import DeclarativeBase, Mapped, column_property, mapped_column, relationship

from midspan.store.detail_kinds import DetailKind
from midspan.store.kept_values import (
    Concerns,
    Content,
    DetailWord,
    KindWord,
    Number,
    OriginWord,
    OutcomeWord,
    ResultKindWord,
    Sections,
    Sentences,
    SetDetailWord,
    StageWord,
    Text,
    Watched,
    Whole,
)


class Table(DeclarativeBase):
    """Base of all tables; its column types raise `kept_values.Damaged` for values this program cannot have written."""

    type_annotation_map: ClassVar = {int: Whole, float: Number, str: Text}


class BatchRow(Table):
    """Shafts measured one after another; `started_ms` is UTC in ms since 1970."""

    __tablename__ = "batches"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    started_ms: Mapped[int]


class DetailRow(Table):
    """What a person said of a shaft; `value` is null if it was taken back. The newest row of a kind counts."""

    __tablename__ = "details"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    kind: Mapped[DetailWord]
    value: Mapped[str | None]
    person: Mapped[str]


def _said_label(shaft: Mapped[int]) -> ScalarSelect[str]:
    """Return the expression for the label that a person gave a shaft last; null if there is none."""
    said = select(DetailRow.value).where(DetailRow.shaft == shaft, DetailRow.kind == DetailKind.LABEL.value)
    return said.order_by(DetailRow.id.desc()).limit(1).scalar_subquery()


class RunRow(Table):
    """A measurement and where its raw readings are: the block at a byte offset of an archive.

    `origin` is "measured" if it was stored as it was measured, "imported" if it came later from an archive, or from a
    gauge that had kept it for another computer. `own_label` is the label that it was measured under; `label` is what
    the shaft is called now: what a person said last of it, else its own label.
    """

    __tablename__ = "runs"
    __table_args__ = (UniqueConstraint("archive", "byte_offset", "shaft", "started_ms"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batches.id"), index=True)
    archive: Mapped[str]
    byte_offset: Mapped[int]
    shaft: Mapped[int] = mapped_column(index=True)
    own_label: Mapped[str] = mapped_column("label", index=True)
    started_ms: Mapped[int]
    origin: Mapped[OriginWord] = mapped_column(server_default="measured")
    batch: Mapped[BatchRow] = relationship()
    label: Mapped[str] = column_property(func.coalesce(_said_label(shaft), own_label, type_=Text()))


class SupersessionRow(Table):
    """A measurement of a shaft superseded an earlier measurement."""

    __tablename__ = "supersessions"
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), primary_key=True)
    superseded_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), primary_key=True, index=True)


class ResultRow(Table):
    """Evaluation of a run; quantities are null if the run gave no result or no finite number.

    Units are in the names; each u_... is a standard uncertainty. `kind` says which instrument measured, `full` is the
    whole result as JSON, null without a result: `stored_result` reads and writes both.
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
    """Rules behind verdicts: bands, crack limit, role of the shaft; `content` is JSON."""

    __tablename__ = "bases"
    id: Mapped[int] = mapped_column(primary_key=True)
    content: Mapped[Content] = mapped_column(unique=True)


class DecisionRow(Table):
    """Verdict on a result; `reasons` is a JSON list of sentences, `concerns` a JSON list of pairs (kind, sentence).

    `basis_id` is null for verdicts from before bases were stored.
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
    """A person vouches for a shaft: concerns up to a result no longer count against this measurement."""

    __tablename__ = "vouchers"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"))
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id"))
    at_ms: Mapped[int]
    person: Mapped[str]
    words: Mapped[str]


class CalibrationRow(Table):
    """Calibration that results name, as it was when they were made; `content` is JSON."""

    __tablename__ = "calibrations"
    id: Mapped[str] = mapped_column(primary_key=True)
    content: Mapped[Sections]


class NightRow(Table):
    """A run on a gauge; `plan` is the plan as JSON, `begun_ms` UTC in ms since 1970.

    `attended` is true if a person laid the shafts in one by one; such a run is never resumed.
    """

    __tablename__ = "nights"
    id: Mapped[int] = mapped_column(primary_key=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batches.id"))
    gauge: Mapped[str] = mapped_column(index=True)
    plan: Mapped[Content]
    begun_ms: Mapped[int]
    attended: Mapped[bool] = mapped_column(server_default=text("0"))


class TransitRow(Table):
    """A physical shaft on its way through the gauge; `id` is the shaft's number and is never used again.

    `standard` is the name of the check standard that the shaft is, null for a shaft of the stock.
    """

    __tablename__ = "passages"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    source: Mapped[str]
    standard: Mapped[str | None]
    ordered_ms: Mapped[int]


class StepRow(Table):
    """Stage that a shaft reached, in order; the stage decides which columns are filled (`transit.TransitStage`)."""

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
    """Event of a sorting run: a fault, a notice, its end; `shaft` may be a number that only the gauge knows."""

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
    """Measurement of a check standard beside its assigned value; both u_... are standard uncertainties."""

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
    """Shaft not to be trusted until it is measured again, with the check standard's measurement that says so.

    `run_id` is the measurement in doubt; null in the rare case that an older version stored none.
    """

    __tablename__ = "suspects"
    passage_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), primary_key=True)
    check_id: Mapped[int] = mapped_column(ForeignKey("passages.id"), primary_key=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("runs.id"))


# Columns with the same name as a field of the result.
NAMED_COLUMNS = frozenset(column.name for column in ResultRow.__table__.columns) - {
    "id", "run_id", "made_ms", "full", "kind"
}  # fmt: skip


class WeightRow(Table):
    """Weight of a shaft; the newest row counts. `u_weight_g` is the standard uncertainty of the scale's last digit."""

    __tablename__ = "weights"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    weight_g: Mapped[float]
    u_weight_g: Mapped[float]


class MarkRow(Table):
    """Mark that a shaft was taken out of the stock or put back (`spent` false); the newest row counts."""

    __tablename__ = "marks"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    spent: Mapped[bool]
    words: Mapped[str]


class IdentityRow(Table):
    """Statement of a person whether two numbers are the same shaft; `same` is null if withdrawn.

    The newest row about a pair counts (see sets/identity).
    """

    __tablename__ = "identities"
    id: Mapped[int] = mapped_column(primary_key=True)
    shaft: Mapped[int] = mapped_column(index=True)
    other: Mapped[int] = mapped_column(index=True)
    at_ms: Mapped[int]
    same: Mapped[bool | None]
    person: Mapped[str]
    words: Mapped[str]


class VoidRow(Table):
    """A measurement does not count (`void`), or counts again; the newest row about it says which."""

    __tablename__ = "voids"
    id: Mapped[int] = mapped_column(primary_key=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("runs.id"), index=True)
    at_ms: Mapped[int]
    void: Mapped[bool]
    person: Mapped[str]
    words: Mapped[str]


class SetRow(Table):
    """Matched set; `limits` is what was asked for as JSON, `like_id` the set it was matched to."""

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
    """A member left its set, with the reason."""

    __tablename__ = "leavings"
    member_id: Mapped[int] = mapped_column(ForeignKey("members.id"), primary_key=True)
    at_ms: Mapped[int]
    words: Mapped[str]


class SetDetailRow(Table):
    """What a person said of a set; `value` is null if it was taken back. The newest row of a kind counts."""

    __tablename__ = "set_details"
    id: Mapped[int] = mapped_column(primary_key=True)
    set_id: Mapped[int] = mapped_column(ForeignKey("sets.id"), index=True)
    at_ms: Mapped[int]
    kind: Mapped[SetDetailWord]
    value: Mapped[str | None]
    person: Mapped[str]


class StopRequestRow(Table):
    """Request to end a sorting run after the shaft in hand; `at_ms` is UTC in ms since 1970."""

    __tablename__ = "wishes"
    id: Mapped[int] = mapped_column(primary_key=True)
    night_id: Mapped[int] = mapped_column(ForeignKey("nights.id"), index=True)
    at_ms: Mapped[int]
