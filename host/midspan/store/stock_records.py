"""Read what a store knows of shafts as stock: standing measurements, and what speaks against a shaft."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from sqlalchemy import and_, func, select
from sqlalchemy.orm import aliased

from midspan.decision.decision import ConcernKind, Outcome
from midspan.decision.limit_test import NO_REPEAT
from midspan.measurement.definition import DEFINITION
from midspan.measurement.result_form import ResultKind
from midspan.store.comparable import ComparableResult, comparable_results
from midspan.store.database import Store
from midspan.store.detail_kinds import SetDetailKind
from midspan.store.evaluation import Origin
from midspan.store.measurements import counts_as_check, standing_results
from midspan.store.older_spines import json_of, kept_calibrations, stated_before, stated_spines
from midspan.store.records import Records
from midspan.store.reference_spine import Conversion, StatedSpine, conversions
from midspan.store.spine_freedom import FREEDOM, freedom_of
from midspan.store.stored_result import MeasuredResult, read_measured
from midspan.store.tables import (
    BasisRow,
    DecisionRow,
    LeavingRow,
    MarkRow,
    MemberRow,
    NightRow,
    ResultRow,
    RunRow,
    SetDetailRow,
    StepRow,
    SuspectRow,
    TransitRow,
    VoucherRow,
    WeightRow,
)
from midspan.store.transit import TransitStage

LOST = frozenset({TransitStage.UNCERTAIN.value, TransitStage.TAKEN_OUT.value})


@dataclass(slots=True)
class StandingMeasurement:
    """Newest result of a measurement that no other supersedes.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Label, may be empty.
    batch : int
        Number of the batch.
    origin : Origin
        How the measurement came into the database.
    run : int
        Number of the measurement.
    result : int
        Number of the result.
    spine_thou : float | None
        Static spine under the reference condition, thou; None without a result, not a number if it is stated for
        another condition and cannot be converted.
    u_spine_thou : float | None
        Its standard uncertainty (k = 1), thou; None without a result.
    spread_thou : float | None
        Spread of spine around the shaft, thou; None without a result.
    runout_mm : float | None
        Runout, mm; None if it was not measured.
    outcome : Outcome
        Outcome of the verdict.
    bin : str | None
        Bin by the verdict, None without a bin.
    definition : str
        Definition for which the spine is stored.
    dof_spine : float | None
        Degrees of freedom of `u_spine_thou`, None where infinite or unknown.
    older_lb : float | None
        Spine in pounds (26 in, 2 lb); None where it is not stored.
    u_older_lb : float | None
        Its standard uncertainty, lb.
    listed : bool
        True if it is no measurement but from a list made elsewhere.
    repeat_helps : bool
        False if the verdict is doubtful and says that measuring again would not help.
    """

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
    definition: str = DEFINITION
    dof_spine: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None
    listed: bool = False
    repeat_helps: bool = True

    def convert(self, definition: str, conversion: Conversion) -> None:
        """Bring a spine that another version stored under the reference condition, its pounds in proportion.

        Parameters
        ----------
        definition : str
            Definition for which the spine is stored.
        conversion : Conversion
            What brings it under the reference condition.
        """
        before, u_before, self.definition = self.spine_thou, self.u_spine_thou, definition
        if before is None:
            return
        self.spine_thou, u_spine = conversion.of(before, u_before or 0.0)
        if self.older_lb is not None:
            self.older_lb *= before / self.spine_thou
        if u_before is None:
            return
        self.u_spine_thou = u_spine
        if self.u_older_lb is not None and u_before > 0:
            self.u_older_lb *= u_spine / u_before


class StockRecords(Records):
    """Shafts as stock, within one transaction."""

    def standing(self) -> list[StandingMeasurement]:
        """Return the standing measurements in the order of the shafts.

        Returns
        -------
        list[StandingMeasurement]
            Measurements; several of a shaft if they did not know of each other.
        """
        columns = (
            RunRow.shaft, RunRow.label, RunRow.batch_id, RunRow.origin, ResultRow.run_id, ResultRow.id,
            ResultRow.spine_thou, ResultRow.u_spine_thou, ResultRow.spread_thou, ResultRow.runout_mm,
            DecisionRow.outcome, DecisionRow.bin, ResultRow.older_lb, ResultRow.u_older_lb, json_of(FREEDOM),
            ResultRow.kind, DecisionRow.reasons.contains(NO_REPEAT),
        )  # fmt: skip
        query = select(*columns).join(ResultRow, ResultRow.run_id == RunRow.id)
        query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
        stated = self._stated_before()
        kept = kept_calibrations(self._session) if stated else {}
        found = dict(zip(stated, conversions(list(stated.values()), kept), strict=True))
        rows = [
            StandingMeasurement(
                shaft, label, batch, _ORIGINS[origin], run, result, spine, u_spine, spread, runout, _OUTCOMES[outcome],
                bin_name, DEFINITION, freedom_of(freedom, u_spine), lb, u_lb,
                kind == ResultKind.LISTED.value, not no_repeat,
            )
            for shaft, label, batch, origin, run, result, spine, u_spine, spread, runout, outcome, bin_name, lb, u_lb,
                freedom, kind, no_repeat in self._session.execute(query.order_by(RunRow.shaft))
        ]  # fmt: skip
        for row in rows:
            if row.result in stated:
                row.convert(stated[row.result].stated_for, found[row.result])
        return rows

    def _stated_before(self) -> dict[int, StatedSpine]:
        """Return the standing spines that other versions of the evaluation stored, by the number of the result."""
        query = stated_before(ResultRow.id).join(RunRow, RunRow.id == ResultRow.run_id).where(*standing_results())
        return stated_spines(self._session, query)

    def comparable(self) -> list[ComparableResult]:
        """Return the comparable properties of every result, oldest first, without results of a gauge at fault.

        Returns
        -------
        list[ComparableResult]
            Results, empty if there are none.
        """
        return list(comparable_results(self._session))

    def standards(self) -> frozenset[int]:
        """Return the numbers of check standards: fed as check standards here, or judged as such in any database.

        Returns
        -------
        frozenset[int]
            Numbers of shafts.
        """
        fed = self._session.scalars(select(TransitRow.id).where(TransitRow.standard.is_not(None)))
        as_such = select(BasisRow.id).where(func.json_extract(BasisRow.content, "$.standard").is_not(None))
        judged = select(RunRow.shaft).join(ResultRow, ResultRow.run_id == RunRow.id)
        judged = judged.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(
            DecisionRow.basis_id.in_(as_such)
        )
        return frozenset(fed) | frozenset(self._session.scalars(judged.distinct()))

    def in_sets(self) -> frozenset[int]:
        """Return the numbers of the shafts that are in a set.

        Returns
        -------
        frozenset[int]
            Numbers of shafts.
        """
        return frozenset(self.present_in_sets())

    def present_in_sets(self) -> dict[int, int]:
        """Return the set of each shaft that is in one.

        Returns
        -------
        dict[int, int]
            Number of the set by number of the shaft.
        """
        left = select(LeavingRow.member_id)
        query = select(MemberRow.shaft, MemberRow.set_id).where(MemberRow.id.not_in(left))
        return {row.shaft: row.set_id for row in self._session.execute(query)}

    def said_of_sets(self, kind: SetDetailKind) -> dict[int, str]:
        """Return what people said last of sets.

        Parameters
        ----------
        kind : SetDetailKind
            What about.

        Returns
        -------
        dict[int, str]
            Value by number of the set; what was taken back is missing.
        """
        query = select(SetDetailRow.set_id, SetDetailRow.value).where(SetDetailRow.kind == kind.value)
        return last_said({row.set_id: row.value for row in self._session.execute(query.order_by(SetDetailRow.id))})

    def shipped(self) -> frozenset[int]:
        """Return the numbers of the shafts that are in a set that was shipped.

        Returns
        -------
        frozenset[int]
            Numbers of shafts.
        """
        gone = self.said_of_sets(SetDetailKind.SHIPPED)
        return frozenset(shaft for shaft, number in self.present_in_sets().items() if number in gone)

    def spent(self) -> dict[int, bool]:
        """Return the newest mark of each marked shaft.

        Returns
        -------
        dict[int, bool]
            By the number of the shaft, True if taken out of the stock, False if put back.
        """
        rows = self._session.execute(select(MarkRow.shaft, MarkRow.spent).order_by(MarkRow.id))
        return {row.shaft: row.spent for row in rows}

    def weights_g(self) -> list[tuple[int, float]]:
        """Return all weights, oldest first.

        Returns
        -------
        list[tuple[int, float]]
            Number of the shaft and its weight, g.
        """
        rows = self._session.execute(select(WeightRow.shaft, WeightRow.weight_g).order_by(WeightRow.id))
        return [(row.shaft, row.weight_g) for row in rows]

    def cracked(self) -> dict[int, int]:
        """Return the shafts that a standing measurement suspects of a crack.

        Returns
        -------
        dict[int, int]
            Number of the newest suspecting measurement, by the number of the shaft.
        """
        query = select(RunRow.shaft, ResultRow.run_id).join(ResultRow, ResultRow.run_id == RunRow.id)
        query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(*standing_results())
        query = query.where(DecisionRow.concerns.contains(f'"{ConcernKind.CRACK.value}"'))
        return {row.shaft: row.run_id for row in self._session.execute(query.order_by(ResultRow.run_id))}

    def vouched(self) -> dict[int, int]:
        """Return the newest measurement of each shaft that a person vouched for.

        Returns
        -------
        dict[int, int]
            Number of the measurement, by the number of the shaft.
        """
        query = select(VoucherRow.shaft, func.max(VoucherRow.run_id).label("run_id")).group_by(VoucherRow.shaft)
        return {row.shaft: row.run_id for row in self._session.execute(query)}

    def suspect(self) -> frozenset[int]:
        """Return the measurements made suspect by a check standard, unless a person vouched for them later.

        Returns
        -------
        frozenset[int]
            Numbers of measurements.
        """
        checked = select(func.max(StepRow.result_id)).where(StepRow.passage_id == SuspectRow.check_id).scalar_subquery()
        vouched = select(func.max(VoucherRow.result_id)).where(VoucherRow.run_id == SuspectRow.run_id).scalar_subquery()
        query = select(SuspectRow.run_id).where(func.coalesce(checked, 0) > func.coalesce(vouched, -1))
        query = query.where(counts_as_check(SuspectRow.check_id))
        return frozenset(run for run in self._session.scalars(query) if run is not None)

    def lost(self) -> frozenset[int]:
        """Return the measurements of shafts whose way ended at an unknown place.

        A shaft that was measured again has been found, and one that a person laid in is in that person's hands.

        Returns
        -------
        frozenset[int]
            Numbers of measurements.
        """
        last, other, judged = aliased(StepRow), aliased(StepRow), aliased(StepRow)
        later = and_(other.passage_id == last.passage_id, other.id > last.id)
        by_hand = select(TransitRow.id).join(NightRow, NightRow.id == TransitRow.night_id).where(NightRow.attended)
        ended = select(last.passage_id).outerjoin(other, later).where(other.id.is_(None), last.stage.in_(LOST))
        ended = ended.where(last.passage_id.not_in(by_hand))
        query = select(ResultRow.run_id).join(judged, judged.result_id == ResultRow.id)
        return frozenset(self._session.scalars(query.where(judged.passage_id.in_(ended))))


def last_said(said: Mapping[int, str | None]) -> dict[int, str]:
    """Return what was said last and not taken back.

    Parameters
    ----------
    said : Mapping[int, str or None]
        Newest value by number of a shaft or set; None where it was taken back.

    Returns
    -------
    dict[int, str]
        The values that stand.

    Examples
    --------
    >>> last_said({1: "Ann", 2: None})
    {1: 'Ann'}
    """
    return {number: value for number, value in said.items() if value is not None}


def results_by_number(store: Store, results: Collection[int]) -> dict[int, MeasuredResult]:
    """Return results with all their quantities.

    Parameters
    ----------
    store : Store
        Open database.
    results : Collection[int]
        Numbers of results.

    Returns
    -------
    dict[int, MeasuredResult]
        Results by number.

    Raises
    ------
    StoreError
        A result is damaged.
    """
    query = select(ResultRow.id, ResultRow.kind, ResultRow.full).where(ResultRow.id.in_(results))
    with store.transaction() as session:
        return {row.id: read_measured(ResultKind(row.kind), row.full) for row in session.execute(query)}


_ORIGINS = {origin.value: origin for origin in Origin}
_OUTCOMES = {outcome.value: outcome for outcome in Outcome}
