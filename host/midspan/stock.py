"""The stock: every measured shaft by its newest result, and those that are left out of sets with the reason.

A shaft is what has one number. Its newest measurement counts, and of that the newest result, so that readings made
again under a better calibration count and old ones do not come back. Only what was accepted is stock: a shaft whose
hysteresis hints at a crack must not get into anybody's dozen.
"""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sqlalchemy import and_, func, select
from sqlalchemy.orm import Session, aliased

from midspan.decision import Outcome
from midspan.errors import StoreError
from midspan.passage import Stage
from midspan.set_limits import Array, Limits
from midspan.set_tables import LeavingRow, MarkRow, MemberRow, WeightRow
from midspan.store import Store, StoredResult
from midspan.tables import CheckRow, DecisionRow, PassageRow, ResultRow, RunRow, StepRow, SuspectRow
from midspan.units import GRAM_PER_GRAIN, MM_PER_THOU

LOST = frozenset({Stage.UNCERTAIN.value, Stage.TAKEN_OUT.value})
OUTCOMES = {
    Outcome.DOUBTFUL.value: "doubtful, or not judged by any bands: measure it again",
    Outcome.REJECTED.value: "rejected",
    Outcome.INSTRUMENT_FAULT.value: "measured while the gauge was at fault: measure it again",
}
STANDARD, IN_A_SET, SPENT = "a check standard", "in a set already", "marked as spent"
UNMEASURED, SUSPECT = "not measured", "suspect since a check standard was out: measure it again"
UNKNOWN = "nobody knows where it went"


@dataclass(frozen=True, slots=True)
class StockShaft:
    """A shaft as sets see it; each in its unit, None where it was not measured. `u_spine_thou` at k = 1."""

    shaft: int
    label: str
    result: int
    bin: str | None
    spine_thou: float
    u_spine_thou: float
    spread_thou: float | None
    runout_thou: float | None
    weight_gr: float | None

    @property
    def name(self) -> str:
        """Number and label."""
        return f"{self.shaft} {self.label}".strip()


@dataclass(frozen=True)
class Stock:
    """Shafts by their number, and by reason the numbers of those left out."""

    shafts: tuple[StockShaft, ...]
    left_out: Mapping[str, tuple[int, ...]]

    def fit_for(self, limits: Limits) -> tuple[tuple[StockShaft, ...], Array, dict[str, tuple[int, ...]]]:
        """Shafts that have all that limits ask of, with these values [shafts, quantities], and those left out now."""
        left_out = {reason: list(numbers) for reason, numbers in self.left_out.items()}
        kept = []
        for one in self.shafts:
            missing = next((name for name in limits.names if getattr(one, name) is None), None)
            if missing is None:
                kept.append(one)
            else:
                what = "not weighed" if missing == "weight_gr" else f"its {missing.partition('_')[0]} was not measured"
                left_out.setdefault(what, []).append(one.shaft)
        return tuple(kept), values_of(kept, limits), {reason: tuple(those) for reason, those in left_out.items()}


def values_of(shafts: Collection[StockShaft], limits: Limits) -> Array:
    """Values of shafts that have them all [shafts, quantities], in the order and units of limits.names."""
    rows = [[getattr(one, name) for name in limits.names] for one in shafts]
    return np.array(rows, float).reshape(len(rows), len(limits.names))


def read_stock(store: Store, *, batches: Collection[int] = (), bins: Collection[str] = ()) -> Stock:
    """The stock of a store, or that part of it that some batches and bins hold."""
    left_out: dict[str, list[int]] = {}
    kept = []
    with store.transaction() as session:
        rows = session.execute(_newest(batches)).all()
        why = _reasons(session)
        weights = _newest_of(session, WeightRow, WeightRow.weight_g)
        for row in rows:
            if bins and row.bin not in bins:
                continue
            one = _shaft(row, weights.get(row.shaft))
            reason = why.of(row) or (UNMEASURED if one is None else None)
            if reason is not None:
                left_out.setdefault(reason, []).append(row.shaft)
            elif one is not None:
                kept.append(one)
    return Stock(tuple(kept), {reason: tuple(those) for reason, those in left_out.items()})


def each_once(store: Store, results: Iterable[StoredResult]) -> list[StoredResult]:
    """Of each shaft its newest result, and none of a check standard: a heap of readings is not a stock of shafts."""
    with store.transaction() as session:
        standards = _standards(session)
    in_time = sorted(results, key=lambda one: (one.run.started_ms, one.id))
    return list({one.run.shaft: one for one in in_time if one.run.shaft not in standards}.values())


def shafts_of(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Shafts by number as they were measured last, whatever speaks against taking them; StoreError when one was not."""
    found = shafts_measured(store, numbers)
    missing = [number for number in numbers if number not in found]
    if missing:
        raise StoreError(f"{store.path}: shaft {missing[0]} has no result; measure it first")
    return found


def shafts_measured(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Those of the shafts that have a result, by number."""
    with store.transaction() as session:
        weights = _newest_of(session, WeightRow, WeightRow.weight_g)
        rows = session.execute(_newest(())).all()
        found = {row.shaft: _shaft(row, weights.get(row.shaft)) for row in rows if row.shaft in numbers}
    return {number: one for number, one in found.items() if one is not None}


def spoken_against(store: Store, numbers: Collection[int]) -> dict[int, str]:
    """What speaks against shafts by now, by number: a shaft of a set may have been found cracked since it was taken."""
    with store.transaction() as session:
        why = replace(_reasons(session), taken=frozenset())
        rows = [row for row in session.execute(_newest(())) if row.shaft in numbers]
        found = {row.shaft: why.of(row) or (UNMEASURED if row.spine_thou is None else None) for row in rows}
    return {number: reason for number, reason in found.items() if reason is not None}


def full_results(store: Store, results: Collection[int]) -> dict[int, dict[str, Any]]:
    """Whole results by their number, as they were stored."""
    query = select(ResultRow.id, ResultRow.full).where(ResultRow.id.in_(results))
    with store.transaction() as session:
        return {row.id: json.loads(row.full) for row in session.execute(query) if row.full is not None}


def _newest(batches: Collection[int]) -> Any:
    """The newest result of the newest run of each shaft, with its verdict."""
    newest_first = RunRow.started_ms.desc(), RunRow.id.desc(), ResultRow.id.desc()
    age = func.row_number().over(partition_by=RunRow.shaft, order_by=newest_first).label("age")
    columns = (
        RunRow.shaft, RunRow.label, RunRow.started_ms, RunRow.batch_id, ResultRow.id, ResultRow.spine_thou,
        ResultRow.u_spine_thou, ResultRow.spread_thou, ResultRow.runout_mm,
    )  # fmt: skip
    one = select(*columns, age).join(ResultRow, ResultRow.run_id == RunRow.id).subquery()
    query = select(one, DecisionRow.outcome, DecisionRow.bin).join(DecisionRow, DecisionRow.result_id == one.c.id)
    query = query.where(one.c.age == 1).order_by(one.c.shaft)
    return query.where(one.c.batch_id.in_(batches)) if batches else query


def _shaft(row: Any, weight_g: float | None) -> StockShaft | None:
    """The shaft of a row; None when it has no spine."""
    if row.spine_thou is None or row.u_spine_thou is None or not math.isfinite(row.spine_thou):
        return None
    return StockShaft(
        row.shaft, row.label, row.id, row.bin, row.spine_thou, row.u_spine_thou, row.spread_thou,
        None if row.runout_mm is None else row.runout_mm / MM_PER_THOU,
        None if weight_g is None else weight_g / GRAM_PER_GRAIN,
    )  # fmt: skip


@dataclass(frozen=True)
class _Reasons:
    """Why shafts are left out; `suspect_ms` is when a check spoke against each of them last."""

    standards: frozenset[int]
    taken: frozenset[int]
    spent: Mapping[int, bool]
    suspect_ms: Mapping[int, int]
    stages: Mapping[int, str]

    def of(self, row: Any) -> str | None:
        """The first reason against a shaft, None when there is none."""
        found = (
            (row.shaft in self.standards, STANDARD),
            (row.shaft in self.taken, IN_A_SET),
            (self.spent.get(row.shaft, False), SPENT),
            (row.spine_thou is None and row.outcome == Outcome.DOUBTFUL.value, UNMEASURED),
            (row.outcome in OUTCOMES, OUTCOMES.get(row.outcome)),
            (row.started_ms <= self.suspect_ms.get(row.shaft, -1), SUSPECT),
            (self.stages.get(row.shaft) in LOST, UNKNOWN),
        )
        return next((reason for so, reason in found if so), None)


def _reasons(session: Session) -> _Reasons:
    left = select(LeavingRow.member_id)
    taken = session.scalars(select(MemberRow.shaft).where(MemberRow.id.not_in(left)))
    checks = select(SuspectRow.passage_id, func.max(CheckRow.at_ms)).join(
        CheckRow, CheckRow.passage_id == SuspectRow.check_id
    )
    suspects = _by_shaft(session, checks.group_by(SuspectRow.passage_id))
    last, other = aliased(StepRow), aliased(StepRow)
    later = and_(other.passage_id == last.passage_id, other.id > last.id)
    stages = _by_shaft(session, select(last.passage_id, last.stage).outerjoin(other, later).where(other.id.is_(None)))
    return _Reasons(
        _standards(session), frozenset(taken), _newest_of(session, MarkRow, MarkRow.spent), suspects,
        stages,
    )  # fmt: skip


def _standards(session: Session) -> frozenset[int]:
    return frozenset(session.scalars(select(PassageRow.id).where(PassageRow.standard.is_not(None))))


def _newest_of(session: Session, table: Any, column: Any) -> dict[int, Any]:
    """The newest value of a column for each shaft."""
    return _by_shaft(session, select(table.shaft, column).order_by(table.id))


def _by_shaft(session: Session, query: Any) -> dict[int, Any]:
    return {row[0]: row[1] for row in session.execute(query)}
