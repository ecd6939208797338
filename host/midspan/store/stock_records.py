"""What a store knows of shafts as stock: the measurements that stand, and what speaks for or against each shaft."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Select, String, and_, case, cast, func, select
from sqlalchemy.orm import aliased

from midspan.decision.decision import ConcernKind, Outcome
from midspan.measurement.result_form import ResultKind
from midspan.store.database import Store
from midspan.store.evaluation import Origin
from midspan.store.measurements import standing_results
from midspan.store.records import Records
from midspan.store.stored_result import MeasuredResult, read_measured
from midspan.store.tables import (
    BasisRow,
    DecisionRow,
    LeavingRow,
    MarkRow,
    MemberRow,
    ResultRow,
    RunRow,
    StepRow,
    SuspectRow,
    TransitRow,
    VoucherRow,
    WeightRow,
)
from midspan.store.transit import TransitStage

LOST = frozenset({TransitStage.UNCERTAIN.value, TransitStage.TAKEN_OUT.value})
# Of the curve the mean and twice a turn, of the surface once a turn: by these shafts are told apart.
PARTS = ("curve_thou[0]", "curve_thou[3]", "curve_thou[4]", "surface_mm[1]", "surface_mm[2]")


@dataclass(slots=True)
class StandingMeasurement:
    """A measurement that no other supersedes, by its newest result; `u_spine_thou` at k = 1."""

    shaft: int
    label: str
    batch: int
    origin: Origin
    run: int
    result: int
    spine_thou: float | None
    u_spine_thou: float | None
    spread_thou: float | None
    runout_mm: float | None
    outcome: Outcome
    bin: str | None


@dataclass(slots=True)
class ComparableResult:
    """What a result says of the shaft that tells it from others.

    `gauge` is None and `parts` are empty where it says too little; else there is a part for each of PARTS. `standard`
    is the check standard that the shaft is, None for one of the stock.
    """

    shaft: int
    batch: int
    origin: Origin
    standard: str | None
    calibration: str | None
    evaluation: str | None
    gauge: str | None
    parts: tuple[float, ...]


class StockRecords(Records):
    """What is asked of shafts as stock, within one transaction."""

    def standing(self) -> list[StandingMeasurement]:
        """Return the measurements that stand, shaft by shaft; several of one shaft where none knew of the others."""
        columns = (
            RunRow.shaft, RunRow.label, RunRow.batch_id, RunRow.origin, ResultRow.run_id, ResultRow.id,
            ResultRow.spine_thou, ResultRow.u_spine_thou, ResultRow.spread_thou, ResultRow.runout_mm,
            DecisionRow.outcome, DecisionRow.bin,
        )  # fmt: skip
        query = select(*columns).join(ResultRow, ResultRow.run_id == RunRow.id)
        query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
        return [
            StandingMeasurement(
                shaft, label, batch, _ORIGINS[origin], run, result, spine, u_spine, spread, runout, _OUTCOMES[outcome],
                bin_name,
            )
            for shaft, label, batch, origin, run, result, spine, u_spine, spread, runout, outcome, bin_name
            in self._session.execute(query.order_by(RunRow.shaft))
        ]  # fmt: skip

    def comparable(self) -> list[ComparableResult]:
        """Return what tells shafts apart, of every result but those of a gauge at fault, oldest first."""
        return [
            ComparableResult(shaft, batch, _ORIGINS[origin], standard, calibration, evaluation, *_parts(text))
            for shaft, batch, origin, standard, calibration, evaluation, text in self._session.execute(_comparable())
        ]

    def standards(self) -> frozenset[int]:
        """Return the numbers of check standards: fed as such by a night, or judged as such, by whatever database."""
        fed = self._session.scalars(select(TransitRow.id).where(TransitRow.standard.is_not(None)))
        as_such = select(BasisRow.id).where(func.json_extract(BasisRow.content, "$.standard").is_not(None))
        judged = select(RunRow.shaft).join(ResultRow, ResultRow.run_id == RunRow.id)
        judged = judged.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(
            DecisionRow.basis_id.in_(as_such)
        )
        return frozenset(fed) | frozenset(self._session.scalars(judged.distinct()))

    def in_sets(self) -> frozenset[int]:
        """Return the numbers of the shafts that are in a set."""
        left = select(LeavingRow.member_id)
        return frozenset(self._session.scalars(select(MemberRow.shaft).where(MemberRow.id.not_in(left))))

    def spent(self) -> dict[int, bool]:
        """Return by the number of each marked shaft whether it was taken out of the stock, or given back since."""
        rows = self._session.execute(select(MarkRow.shaft, MarkRow.spent).order_by(MarkRow.id))
        return {row.shaft: row.spent for row in rows}

    def weights_g(self) -> list[tuple[int, float]]:
        """Return numbers of shafts with their weights in g, oldest first."""
        rows = self._session.execute(select(WeightRow.shaft, WeightRow.weight_g).order_by(WeightRow.id))
        return [(row.shaft, row.weight_g) for row in rows]

    def cracked(self) -> dict[int, int]:
        """Return which shafts a measurement that stands suspects of a crack, with the number of the newest such run."""
        query = select(RunRow.shaft, ResultRow.run_id).join(ResultRow, ResultRow.run_id == RunRow.id)
        query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
        query = query.where(DecisionRow.concerns.contains(f'"{ConcernKind.CRACK.value}"'))
        return {row.shaft: row.run_id for row in self._session.execute(query.order_by(ResultRow.run_id))}

    def vouched(self) -> dict[int, int]:
        """Return for which run of each shaft somebody vouched, the newest."""
        query = select(VoucherRow.shaft, func.max(VoucherRow.run_id).label("run_id")).group_by(VoucherRow.shaft)
        return {row.shaft: row.run_id for row in self._session.execute(query)}

    def suspect(self) -> frozenset[int]:
        """Return the runs that a check speaks against, unless a person vouched for them after that check."""
        checked = select(func.max(StepRow.result_id)).where(StepRow.passage_id == SuspectRow.check_id).scalar_subquery()
        vouched = select(func.max(VoucherRow.result_id)).where(VoucherRow.run_id == SuspectRow.run_id).scalar_subquery()
        query = select(SuspectRow.run_id).where(func.coalesce(checked, 0) > func.coalesce(vouched, -1))
        return frozenset(run for run in self._session.scalars(query) if run is not None)

    def lost(self) -> frozenset[int]:
        """Return the runs of shafts whose way ended where nobody knows; one that was measured since was found."""
        last, other, judged = aliased(StepRow), aliased(StepRow), aliased(StepRow)
        later = and_(other.passage_id == last.passage_id, other.id > last.id)
        ended = select(last.passage_id).outerjoin(other, later).where(other.id.is_(None), last.stage.in_(LOST))
        query = select(ResultRow.run_id).join(judged, judged.result_id == ResultRow.id)
        return frozenset(self._session.scalars(query.where(judged.passage_id.in_(ended))))


def results_by_number(store: Store, results: Collection[int]) -> dict[int, MeasuredResult]:
    """Return whole results by their number."""
    query = select(ResultRow.id, ResultRow.kind, ResultRow.full).where(ResultRow.id.in_(results))
    with store.transaction() as session:
        return {row.id: read_measured(ResultKind(row.kind), row.full) for row in session.execute(query)}


_ORIGINS = {origin.value: origin for origin in Origin}
_OUTCOMES = {outcome.value: outcome for outcome in Outcome}


def _comparable() -> Select[int, int, str, str, str | None, str | None, str]:
    paths = [f"$.{part}" for part in ("gauge", *PARTS)]
    # A list of them as JSON; what is damaged tells nothing of its shaft, and must not keep the others from being read.
    whole = case((func.json_valid(ResultRow.full), ResultRow.full), else_="{}")
    parts = cast(func.json_extract(whole, *paths), String)
    # A check standard was fed as such by a night, or judged as such elsewhere.
    standard = func.coalesce(TransitRow.standard, func.json_extract(BasisRow.content, "$.standard"))
    query = select(
        RunRow.shaft, RunRow.batch_id, RunRow.origin, standard, ResultRow.calibration, ResultRow.evaluation, parts
    ).join(RunRow, ResultRow.run_id == RunRow.id)
    query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id)
    query = query.outerjoin(BasisRow, BasisRow.id == DecisionRow.basis_id)
    query = query.outerjoin(TransitRow, TransitRow.id == RunRow.shaft)
    sick = DecisionRow.outcome == Outcome.INSTRUMENT_FAULT.value
    return query.where(ResultRow.full.is_not(None), ResultRow.spine_thou > 0, ~sick).order_by(ResultRow.id)


def _parts(text: str) -> tuple[str | None, tuple[float, ...]]:
    """Return gauge and parts of a list of JSON, None and nothing where one of them is none."""
    gauge, *parts = json.loads(text)
    if not isinstance(gauge, str) or not all(isinstance(part, int | float) for part in parts) or not parts[0] > 0:
        return None, ()
    return gauge, tuple(parts)
