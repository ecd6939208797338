"""The stock: every measured shaft by its newest result, and those that are left out of sets with the reason.

A shaft may have several numbers (identity): it is there once, by the newest of them, and what speaks against it under
one number does under all. Of shafts that are likely one (twins) at most one is there. The measurement that no other
supersedes counts, and of that the newest result, so that readings made again under a better calibration count and old
ones do not come back (measurements). Where several stand side by side the worse counts, and two that contradict each
other are no stock. Only what was accepted is: a shaft whose hysteresis hints at a crack must not get into anybody's
dozen.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

import numpy as np
from sqlalchemy import and_, func, select
from sqlalchemy.orm import Session, aliased

from midspan.base.errors import StoreError
from midspan.base.units import GRAM_PER_GRAIN, MM_PER_THOU
from midspan.decision.decision import ConcernKind, Outcome
from midspan.decision.origin import Origin
from midspan.measurement.result_form import ResultKind
from midspan.sets.identity import Identities, Pair
from midspan.sets.limits import Array, Limits
from midspan.sets.twins import Twins, find_twins, known_identities
from midspan.store.database import WORST_FIRST, Store, StoredResult
from midspan.store.measurements import standing_results
from midspan.store.passage import TransitStage
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

LOST = frozenset({TransitStage.UNCERTAIN.value, TransitStage.TAKEN_OUT.value})
OUTCOMES = {
    Outcome.DOUBTFUL.value: "doubtful, or not judged by any bands: measure it again",
    Outcome.REJECTED.value: "rejected",
    Outcome.INSTRUMENT_FAULT.value: "measured while the gauge was at fault: measure it again",
}
STANDARD, IN_A_SET, SPENT = "a check standard", "in a set already", "marked as spent"
UNMEASURED, SUSPECT = "not measured", "suspect since a check standard was out: measure it again"
UNKNOWN = "nobody knows where it went"
CRACKED = "suspected of a crack"
SAME = "the same shaft as one with a newer number"
LIKELY = "likely the same shaft as another: see midspan sets twins"
LIKELY_CRACKED = "likely the same shaft as one that is suspected of a crack: see midspan sets twins"
TWICE = "it is in a set under another of its numbers too"
CONTRADICTED = "two measurements contradict each other: measure it again"
AGREE_SIGMAS = 3.0  # standard uncertainties by which two measurements of one shaft may differ


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
    """Shafts by their number, and by reason the numbers of those left out.

    `likely` are pairs of numbers of likely one shaft, as far as one of both was asked for; `unsure` are shafts of which
    nobody can tell whether they are there under another number too, by reason.
    """

    shafts: tuple[StockShaft, ...]
    left_out: Mapping[str, tuple[int, ...]]
    likely: tuple[Pair, ...] = ()
    unsure: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def fit_for(self, limits: Limits) -> tuple[tuple[StockShaft, ...], Array, dict[str, tuple[int, ...]]]:
        """Shafts that have all that limits ask of, with these values [shafts, quantities], and those left out now."""
        left_out = {reason: list(numbers) for reason, numbers in self.left_out.items()}
        kept = []
        for one in self.shafts:
            missing = next((quantity.name for quantity in limits.quantities if quantity.of(one) is None), None)
            if missing is None:
                kept.append(one)
            else:
                what = "not weighed" if missing == "weight_gr" else f"its {missing.partition('_')[0]} was not measured"
                left_out.setdefault(what, []).append(one.shaft)
        return tuple(kept), values_of(kept, limits), {reason: tuple(those) for reason, those in left_out.items()}


def values_of(shafts: Collection[StockShaft], limits: Limits) -> Array:
    """Values of shafts that have them all [shafts, quantities], in the order and units of limits.quantities."""
    rows = [[quantity.of(one) for quantity in limits.quantities] for one in shafts]
    return np.array(rows, float).reshape(len(rows), len(limits.quantities))


def read_stock(store: Store, *, batches: Collection[int] = (), bins: Collection[str] = ()) -> Stock:
    """The stock of a store, or that part of it that some batches and bins hold."""
    left_out: dict[str, list[int]] = {}
    kept = []
    with store.transaction() as session:
        why = _reasons(session)
        rows = _counting(session, why)
        newest = _newest_rows(rows, why.same)
        against = _against(rows, newest, why)
        asked = [row for row in rows if (not batches or row.batch_id in batches) and (not bins or row.bin in bins)]
        twins = find_twins(session, why.same)
        likely_gone = _likely_gone(asked, newest, twins, why)
        weights = _newest_weights(session, why.same)
        for row in asked:
            one, key = _shaft(row, weights.get(row.shaft)), why.same.key(row.shaft)
            reason = against.get(key)
            if reason != STANDARD and row is not newest[key]:
                reason = SAME
            reason = reason or (LIKELY if key in likely_gone else None)
            if reason is not None:
                left_out.setdefault(reason, []).append(row.shaft)
            elif one is not None:
                kept.append(one)
    return Stock(
        tuple(kept),
        {reason: tuple(those) for reason, those in left_out.items()},
        _among(twins.likely, {why.same.key(row.shaft) for row in asked}),
        # Within one batch each shaft has a number of its own.
        _in_part(twins.unsure, kept, why.same) if len({row.batch_id for row in asked}) > 1 else {},
    )


def _age(row: Any) -> tuple[bool, int]:
    """Sort key of measurements of different numbers: the newest last, what was measured here after the rest."""
    return row.origin == Origin.MEASURED, row.run_id


def _newest_rows(rows: Iterable[Any], same: Identities) -> dict[int, Any]:
    """Return the newest measurement of each shaft by its key."""
    return {same.key(row.shaft): row for row in sorted(rows, key=_age)}


def _against(rows: Iterable[Any], newest: Mapping[int, Any], why: _Reasons) -> dict[int, str]:
    """Return what the newest measurement, or one imported since, which knew nothing of it, says against each shaft."""
    keyed = [(why.same.key(row.shaft), row) for row in rows]
    reasons = [(key, why.of(row)) for key, row in keyed if row.run_id >= newest[key].run_id]
    return {key: reason for key, reason in reasons if reason is not None}


def _likely_gone(asked: Iterable[Any], newest: Mapping[int, Any], twins: Twins, why: _Reasons) -> set[int]:
    """Return keys of shafts that likely stand here under a newer number, or are gone under another one."""
    here = {why.same.key(row.shaft) for row in asked}
    found = set()
    for pair in twins.likely:
        older, newer = sorted(pair, key=lambda key: _age(newest[key]))
        cracked = why.maybe_cracked(*pair)
        # Nobody knows where the older one went, but it was there when the newer one was measured.
        if cracked or newer in here or why.is_taken(newer) or newest[newer].run_id in why.lost:
            found.add(older)
        if cracked or why.is_taken(older):
            found.add(newer)
    return found


def _among(pairs: Iterable[Pair], keys: Collection[int]) -> tuple[Pair, ...]:
    return tuple(pair for pair in pairs if not set(pair).isdisjoint(keys))


def _in_part(
    unsure: Mapping[str, tuple[int, ...]], part: Iterable[StockShaft], same: Identities
) -> dict[str, tuple[int, ...]]:
    keys = {same.key(one.shaft) for one in part}
    found = {reason: tuple(number for number in those if number in keys) for reason, those in unsure.items()}
    return {reason: those for reason, those in found.items() if those}


def each_once(store: Store, results: Iterable[StoredResult]) -> list[StoredResult]:
    """Of each shaft the newest of these results, none of a check standard: a heap of readings is no stock of shafts.

    Of measurements that knew nothing of each other the one that was made here counts.
    """
    with store.transaction() as session:
        standards, same = _standards(session), known_identities(session)
    stock = [one for one in results if one.run.shaft not in standards]
    stock.sort(key=lambda one: (one.origin is Origin.MEASURED, one.run_id, one.id))
    return list({same.key(one.run.shaft): one for one in stock}.values())


def shafts_of(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Shafts by number as they were measured last, whatever speaks against taking them; StoreError when one was not."""
    found = shafts_measured(store, numbers)
    missing = [number for number in numbers if number not in found]
    if missing:
        raise StoreError(f"{store.place}: shaft {missing[0]} has no result; measure it first")
    return found


def shafts_measured(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Those of the shafts that have a result, by number."""
    with store.transaction() as session:
        why = _reasons(session)
        weights = _newest_weights(session, why.same)
        rows = _counting(session, why)
        found = {row.shaft: _shaft(row, weights.get(row.shaft)) for row in rows if row.shaft in numbers}
    return {number: one for number, one in found.items() if one is not None}


def spoken_against(store: Store, numbers: Collection[int]) -> dict[int, str]:
    """What speaks against shafts by now, by number: a shaft of a set may have been found cracked since it was taken."""
    with store.transaction() as session:
        why = _reasons(session)
        taken, why = why.taken, replace(why, taken=frozenset())
        rows = _counting(session, why)
        by_shaft = _against(rows, _newest_rows(rows, why.same), why)
        cracked = _likely_cracked(session, why) if why.cracked else frozenset()
    found = {}
    for number in numbers:
        twice = any(other in taken for other in why.same.numbers(number) if other != number)
        likely = LIKELY_CRACKED if why.same.key(number) in cracked else None
        reason = by_shaft.get(why.same.key(number)) or likely or (TWICE if twice else None)
        if reason is not None:
            found[number] = reason
    return found


def beside_verdict(store: Store, shaft: int) -> str | None:
    """What speaks against a shaft though its own verdict does not say it, None when nothing does."""
    reason = spoken_against(store, [shaft]).get(shaft)
    return None if reason == UNMEASURED or reason in OUTCOMES.values() else reason


def _likely_cracked(session: Session, why: _Reasons) -> frozenset[int]:
    """Return keys of shafts whose likely twins are suspected of a crack."""
    pairs = find_twins(session, why.same).likely
    return frozenset(key for pair in pairs if why.maybe_cracked(*pair) for key in pair)


def full_results(store: Store, shafts: Iterable[StockShaft]) -> dict[int, MeasuredResult]:
    """The results of shafts by their number, whole."""
    query = select(ResultRow.id, ResultRow.kind, ResultRow.full).where(ResultRow.id.in_([one.result for one in shafts]))
    with store.transaction() as session:
        return {row.id: read_measured(ResultKind(row.kind), row.full) for row in session.execute(query)}


def _counting(session: Session, why: _Reasons) -> list[Any]:
    """Return a row a shaft, by its number: the newest result of the measurement that counts, with its verdict."""
    columns = (
        RunRow.shaft, RunRow.label, RunRow.batch_id, RunRow.origin, ResultRow.run_id, ResultRow.id,
        ResultRow.spine_thou, ResultRow.u_spine_thou, ResultRow.spread_thou, ResultRow.runout_mm, DecisionRow.outcome,
        DecisionRow.bin,
    )  # fmt: skip
    query = select(*columns).join(ResultRow, ResultRow.run_id == RunRow.id)
    query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
    side_by_side: dict[int, list[Any]] = {}
    for row in session.execute(query.order_by(RunRow.shaft)):
        side_by_side.setdefault(row.shaft, []).append(row)
    why.contradicted.update(shaft for shaft, rows in side_by_side.items() if _contradict(rows))
    return [rows[0] if len(rows) == 1 else min(rows, key=why.worst_first) for rows in side_by_side.values()]


def _contradict(rows: Sequence[Any]) -> bool:
    """Return whether measurements of one shaft differ by more than their uncertainty, or lead into different bins."""
    measured = [row for row in rows if row.spine_thou is not None and row.u_spine_thou is not None]
    return any(
        one.bin != other.bin
        or abs(one.spine_thou - other.spine_thou) > AGREE_SIGMAS * math.hypot(one.u_spine_thou, other.u_spine_thou)
        for one, other in combinations(measured, 2)
    )


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
    """Why shafts are left out. `suspect` are measurements that a check speaks against, `lost` those of shafts of which
    nobody knows where they went, both by the number of the run. What is by the number of a shaft counts for all numbers
    that it has; `cracked` and `vouched` give the newest run that suspects a crack, and the one somebody vouched for.
    """

    same: Identities
    standards: frozenset[int]
    taken: frozenset[int]
    spent: Mapping[int, bool]
    suspect: frozenset[int]
    lost: frozenset[int]
    cracked: Mapping[int, int]
    vouched: Mapping[int, int]
    contradicted: set[int] = field(default_factory=set)

    def of(self, row: Any) -> str | None:
        """The first reason against a shaft, None when there is none."""
        numbers = self.same.numbers(row.shaft)
        found = (
            (not self.standards.isdisjoint(numbers), STANDARD),
            (not self.taken.isdisjoint(numbers), IN_A_SET),
            (self._is_spent(numbers), SPENT),
            (self.maybe_cracked(row.shaft), CRACKED),
            (row.spine_thou is None and row.outcome == Outcome.DOUBTFUL.value, UNMEASURED),
            (row.outcome in OUTCOMES, OUTCOMES.get(row.outcome)),
            (row.run_id in self.suspect, SUSPECT),
            (row.run_id in self.lost, UNKNOWN),
            (row.shaft in self.contradicted, CONTRADICTED),
            (row.spine_thou is None or not math.isfinite(row.spine_thou) or row.u_spine_thou is None, UNMEASURED),
        )
        return next((reason for so, reason in found if so), None)

    def is_taken(self, shaft: int) -> bool:
        """Whether a shaft is in a set or spent."""
        numbers = self.same.numbers(shaft)
        return not self.taken.isdisjoint(numbers) or self._is_spent(numbers)

    def maybe_cracked(self, *shafts: int) -> bool:
        """Whether what is one shaft, known or likely, may be cracked, and nobody vouched for it since."""
        numbers = [number for shaft in shafts for number in self.same.numbers(shaft)]
        vouched = max(self.vouched.get(number, -1) for number in numbers)
        return any(self.cracked.get(number, -1) > vouched for number in numbers)

    def _is_spent(self, numbers: Iterable[int]) -> bool:
        return any(self.spent.get(number, False) for number in numbers)

    def worst_first(self, row: Any) -> tuple[bool, int, bool, int]:
        """Sort key of measurements of one shaft that stand side by side: the one that counts comes first."""
        worst = WORST_FIRST.index(Outcome(row.outcome))
        return self.of(row) is None, worst, row.origin != Origin.MEASURED, -row.run_id


def _reasons(session: Session) -> _Reasons:
    left = select(LeavingRow.member_id)
    taken = session.scalars(select(MemberRow.shaft).where(MemberRow.id.not_in(left)))
    return _Reasons(
        known_identities(session), _standards(session), frozenset(taken), _newest_of(session, MarkRow, MarkRow.spent),
        _suspect(session), _lost(session), _cracked(session), _vouched(session),
    )  # fmt: skip


def _cracked(session: Session) -> dict[int, int]:
    """Return which shafts a measurement that no other supersedes suspects of a crack, with the number of its run."""
    query = select(RunRow.shaft, ResultRow.run_id).join(ResultRow, ResultRow.run_id == RunRow.id)
    query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
    query = query.where(DecisionRow.concerns.contains(f'"{ConcernKind.CRACK.value}"'))
    return {row.shaft: row.run_id for row in session.execute(query.order_by(ResultRow.run_id))}


def _vouched(session: Session) -> dict[int, int]:
    """Return for which run of each shaft somebody vouched, the newest."""
    query = select(VoucherRow.shaft, func.max(VoucherRow.run_id).label("run_id")).group_by(VoucherRow.shaft)
    return {row.shaft: row.run_id for row in session.execute(query)}


def _suspect(session: Session) -> frozenset[int]:
    """Return the measurements that a check speaks against, unless a person vouched for them after that check."""
    checked = select(func.max(StepRow.result_id)).where(StepRow.passage_id == SuspectRow.check_id).scalar_subquery()
    vouched = select(func.max(VoucherRow.result_id)).where(VoucherRow.run_id == SuspectRow.run_id).scalar_subquery()
    query = select(SuspectRow.run_id).where(func.coalesce(checked, 0) > func.coalesce(vouched, -1))
    return frozenset(run for run in session.scalars(query) if run is not None)


def _lost(session: Session) -> frozenset[int]:
    """Return the measurements of shafts whose way ended where nobody knows; one that was measured since was found."""
    last, other, judged = aliased(StepRow), aliased(StepRow), aliased(StepRow)
    later = and_(other.passage_id == last.passage_id, other.id > last.id)
    ended = select(last.passage_id).outerjoin(other, later).where(other.id.is_(None), last.stage.in_(LOST))
    query = select(ResultRow.run_id).join(judged, judged.result_id == ResultRow.id)
    return frozenset(session.scalars(query.where(judged.passage_id.in_(ended))))


def _standards(session: Session) -> frozenset[int]:
    """Return the numbers of check standards: fed as such by a night, or judged as such, by whatever database."""
    fed = session.scalars(select(TransitRow.id).where(TransitRow.standard.is_not(None)))
    as_such = select(BasisRow.id).where(func.json_extract(BasisRow.content, "$.standard").is_not(None))
    judged = select(RunRow.shaft).join(ResultRow, ResultRow.run_id == RunRow.id)
    judged = judged.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(DecisionRow.basis_id.in_(as_such))
    return frozenset(fed) | frozenset(session.scalars(judged.distinct()))


def _newest_of(session: Session, table: Any, column: Any) -> dict[int, Any]:
    """The newest value of a column for each shaft."""
    return {row[0]: row[1] for row in session.execute(select(table.shaft, column).order_by(table.id))}


def _newest_weights(session: Session, same: Identities) -> dict[int, float]:
    """The newest weight of each shaft in g, under all numbers that it has."""
    rows = session.execute(select(WeightRow.shaft, WeightRow.weight_g).order_by(WeightRow.id))
    return {number: row.weight_g for row in rows for number in same.numbers(row.shaft)}
