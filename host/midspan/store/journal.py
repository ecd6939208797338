"""Record runs on a gauge: what was ordered, what became of each shaft, and other events.

A run is a sorting run, or attended: a person laid the shafts in. Attended runs are asked for by name, so that nothing
takes one for a night.

The journal is part of the database of results and like it only grows. Each writing call is on the disk when it
returns. The state of a shaft is its last step; a shaft whose last step is not final is the open shaft of its gauge,
and a gauge never has two.

>>> import tempfile
>>> from pathlib import Path
>>> from midspan.store.place import StorePlace
>>> with StorePlace(Path(tempfile.mkdtemp()) / "results.db").open() as store:
...     journal = Journal(store)
...     night = journal.begin_night("bench", "{}", at_ms=0)
...     shaft = journal.order(night, "HOPPER", None, at_ms=1)
...     journal.note(shaft, WayStep(TransitStage.NO_SHAFT, at_ms=2))
...     journal.open_transit("bench"), journal.transits(night)[0].stage.name
(None, 'NO_SHAFT')
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import Select, case, func, insert, literal, select
from sqlalchemy.orm import Session

from midspan.base.errors import StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.store.database import Store, add_evaluation
from midspan.store.evaluation import Evaluation, RunReference
from midspan.store.measurements import counts_as_check, is_void
from midspan.store.older_spines import json_of, kept_calibrations, stated_before, stated_spines
from midspan.store.reference_spine import conversions
from midspan.store.spine_freedom import FREEDOM, freedom_of
from midspan.store.tables import (
    BatchRow,
    CheckRow,
    DecisionRow,
    EventRow,
    NightRow,
    ResultRow,
    RunRow,
    StepRow,
    SuspectRow,
    TransitRow,
)
from midspan.store.transit import (
    NOTHING_FOUND,
    JudgedResult,
    NightOnRecord,
    RunEvent,
    RunEventKind,
    RunFindings,
    StandardCheck,
    Transit,
    TransitStage,
    WayStep,
)

OPEN_AMONG = 32  # newest orders of a bench among which one may be open: check standards may lie in between
LARGEST_SHAFT = 2**30 - 1  # whole numbers on the gauge have 31 bits

VOID = JudgedResult(None, None, Decision(Outcome.DOUBTFUL, ("its measurement is void: measure it again",)), None)


class Journal:
    """Sorting runs in a store; every method raises StoreError as the methods of Store do.

    Parameters
    ----------
    store : Store
        Open database.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    # Writing

    def begin_night(self, gauge: str, plan: str, at_ms: int, *, attended: bool = False) -> int:
        """Record the start of a run and return its number.

        Parameters
        ----------
        gauge : str
            Name of the gauge.
        plan : str
            Plan as JSON.
        at_ms : int
            Start, UTC in ms since 1970.
        attended : bool
            True if a person lays the shafts in one by one.

        Returns
        -------
        int
            Number of the run.
        """
        with self._store.transaction() as session:
            batch = BatchRow(name=f"{'by hand' if attended else 'sorting'} on {gauge}", started_ms=at_ms)
            session.add(batch)
            session.flush()
            night = NightRow(batch_id=batch.id, gauge=gauge, plan=plan, begun_ms=at_ms, attended=attended)
            session.add(night)
            session.flush()
            return night.id

    def order(self, night: int, source: str, standard: str | None, at_ms: int, above: int = 0) -> int:
        """Record that a shaft is about to be fed, and return the new number for it.

        No shaft in this database has or had that number.

        Parameters
        ----------
        night : int
            Number of the sorting run.
        source : str
            Where the shaft comes from, a name of the gauge's protocol.
        standard : str | None
            Name of the check standard that the shaft is, None for a shaft of the stock.
        at_ms : int
            Time, UTC in ms since 1970.
        above : int
            Highest number that the gauge remembers; the new number is larger, so that a shaft of another database is
            not mistaken for this shaft.

        Returns
        -------
        int
            Number of the shaft.

        Raises
        ------
        StoreError
            All numbers that fit the gauge's protocol are used (code "numbers_used_up").
        """
        # A single statement, so that two gauges never draw the same number.
        columns = TransitRow.id, RunRow.shaft
        numbers = (select(func.coalesce(func.max(column), 0)).scalar_subquery() for column in columns)
        last = select(func.max(*numbers, above) + 1)
        values = select(last.scalar_subquery(), literal(night), literal(source), literal(standard), literal(at_ms))
        into = insert(TransitRow).from_select(["id", "night_id", "source", "standard", "ordered_ms"], values)
        with self._store.transaction() as session:
            number: int = session.scalars(into.returning(TransitRow.id)).one()
            if number > LARGEST_SHAFT:
                raise StoreError(
                    f"{self._store.place}: the numbers for shafts are used up; begin a new database",
                    code="numbers_used_up",
                )
            return number

    def note(self, shaft: int, step: WayStep) -> None:
        """Record a step of a shaft.

        Parameters
        ----------
        shaft : int
            Number of the shaft.
        step : WayStep
            Stage and what belongs to it, see `transit.TransitStage`.
        """
        with self._store.transaction() as session:
            session.add(_step_row(shaft, step))

    def judged(
        self, transit: Transit, run: RunReference, evaluation: Evaluation, findings: RunFindings = NOTHING_FOUND
    ) -> int:
        """Store the result, the verdict, the step and all findings of a measurement in one transaction.

        Parameters
        ----------
        transit : Transit
            Shaft that was measured.
        run : RunReference
            Where the readings are.
        evaluation : Evaluation
            Result and verdict.
        findings : RunFindings
            Whatever else the measurement showed.

        Returns
        -------
        int
            Number of the result.
        """
        at_ms, check = evaluation.made_ms, findings.check
        with self._store.transaction() as session:
            number = add_evaluation(session, self._batch(session, transit.night), run, evaluation)
            judged = WayStep(TransitStage.JUDGED, at_ms, result=number, words=findings.cause, watched=findings.watched)
            session.add(_step_row(transit.shaft, judged))
            if check is not None:
                session.add(CheckRow(passage_id=transit.shaft, **check.columns()))
            session.flush()
            session.add_all(
                SuspectRow(passage_id=shaft, check_id=transit.shaft, run_id=_judged_run(session, shaft))
                for shaft in set(findings.suspects)
            )
            session.add_all(_event_row(transit.night, event) for event in findings.events)
            return number

    def add_events(self, night: int, *events: RunEvent) -> None:
        """Record events of a sorting run, all in one transaction.

        Parameters
        ----------
        night : int
            Number of the sorting run.
        *events : RunEvent
            Events in their order.
        """
        with self._store.transaction() as session:
            session.add_all(_event_row(night, event) for event in events)

    # Reading

    def nights(self, gauge: str | None = None, *, attended: bool = False) -> list[NightOnRecord]:
        """Return the sorting runs, or the attended runs, oldest first.

        Parameters
        ----------
        gauge : str | None
            Name of a gauge, None for all gauges.
        attended : bool
            True for attended runs in place of sorting runs.

        Returns
        -------
        list[NightOnRecord]
            Runs, empty if there are none.
        """
        query = select(NightRow).where(NightRow.attended == attended).order_by(NightRow.id)
        with self._store.transaction() as session:
            rows = session.scalars(query if gauge is None else query.where(NightRow.gauge == gauge))
            return [NightOnRecord(row.id, row.batch_id, row.gauge, json.loads(row.plan), row.begun_ms) for row in rows]

    def transit(self, shaft: int) -> Transit | None:
        """Return a shaft with all its steps.

        Parameters
        ----------
        shaft : int
            Number of the shaft.

        Returns
        -------
        Transit | None
            The shaft, None if no sorting run ordered it.
        """
        with self._store.transaction() as session:
            return next(iter(_transits(session, select(TransitRow.id).where(TransitRow.id == shaft))), None)

    def transits(self, night: int, above: int = 0) -> list[Transit]:
        """Return the shafts of a sorting run in the order they were ordered.

        Parameters
        ----------
        night : int
            Number of the sorting run.
        above : int
            Return only shafts with larger numbers than this.

        Returns
        -------
        list[Transit]
            Shafts with all their steps.
        """
        some = select(TransitRow.id).where(TransitRow.night_id == night, TransitRow.id > above)
        with self._store.transaction() as session:
            return _transits(session, some)

    def open_transit(self, gauge: str, *, attended: bool = False) -> Transit | None:
        """Return the shaft that is on its way through a gauge, whichever sorting run or attended run ordered it.

        Parameters
        ----------
        gauge : str
            Name of the gauge.
        attended : bool
            True to look at attended runs in place of sorting runs.

        Returns
        -------
        Transit | None
            The shaft, None if the last one has reached its end.
        """
        found = self._newest(gauge, 1, attended=attended)
        return found[0] if found and found[0].is_open else None

    def open_orders(self, bench: str) -> list[Transit]:
        """Return the orders of attended runs at a bench that have not reached their end.

        An order that was not carried through stays open while check standards are measured.

        Parameters
        ----------
        bench : str
            Name of the gauge or hand bench.

        Returns
        -------
        list[Transit]
            Orders among the newest 32, newest first.
        """
        found = self._newest(bench, OPEN_AMONG, attended=True)
        return sorted((way for way in found if way.is_open), key=lambda way: -way.shaft)

    def _newest(self, gauge: str, number: int, *, attended: bool) -> list[Transit]:
        """Return the newest orders at a gauge, whichever run gave them."""
        # This form makes SQLite search from the end of the table instead of reading every shaft of the gauge.
        ordered_by = select(NightRow.id).where(NightRow.id == TransitRow.night_id, NightRow.gauge == gauge)
        of_its_kind = ordered_by.where(NightRow.attended == attended).exists()
        newest = select(TransitRow.id).where(of_its_kind).order_by(TransitRow.id.desc()).limit(number)
        with self._store.transaction() as session:
            return _transits(session, newest)

    def events(self, night: int) -> list[RunEvent]:
        """Return the events of a sorting run, oldest first.

        Parameters
        ----------
        night : int
            Number of the sorting run.

        Returns
        -------
        list[RunEvent]
            Events, empty if there are none.
        """
        query = select(EventRow).where(EventRow.night_id == night).order_by(EventRow.id)
        with self._store.transaction() as session:
            return [
                RunEvent(RunEventKind(row.kind), row.words, row.at_ms, row.code, row.shaft, row.place)
                for row in session.scalars(query)
            ]

    def checks(self, *, night: int | None = None, gauge: str | None = None) -> list[StandardCheck]:
        """Return measurements of check standards that are not void, oldest first.

        Parameters
        ----------
        night : int | None
            Number of a sorting run, None for all.
        gauge : str | None
            Name of a gauge, None for all.

        Returns
        -------
        list[StandardCheck]
            Checks, empty if there are none.
        """
        query = select(CheckRow).join(TransitRow, TransitRow.id == CheckRow.passage_id)
        query = query.where(counts_as_check(CheckRow.passage_id)).order_by(CheckRow.id)
        if night is not None:
            query = query.where(TransitRow.night_id == night)
        if gauge is not None:
            query = query.join(NightRow).where(NightRow.gauge == gauge)
        with self._store.transaction() as session:
            shifts = _check_shifts(session)
            return [StandardCheck.of(row, shifts.get(row.passage_id, 0.0)) for row in session.scalars(query)]

    def suspects(self, night: int) -> dict[int, list[int]]:
        """Return the shafts of a run that a check standard made suspect.

        Parameters
        ----------
        night : int
            Number of the sorting run.

        Returns
        -------
        dict[int, list[int]]
            For each suspect shaft, the numbers of the check standard's measurements that say so.
        """
        query = select(SuspectRow).join(TransitRow, TransitRow.id == SuspectRow.passage_id)
        query = query.where(counts_as_check(SuspectRow.check_id))
        found: dict[int, list[int]] = {}
        with self._store.transaction() as session:
            for row in session.scalars(query.where(TransitRow.night_id == night).order_by(SuspectRow.check_id)):
                found.setdefault(row.passage_id, []).append(row.check_id)
        return found

    def outcomes(self, night: int) -> dict[int, Outcome]:
        """Return the outcome of every result by which a shaft of a run was judged; doubtful if it is void.

        Parameters
        ----------
        night : int
            Number of the sorting run.

        Returns
        -------
        dict[int, Outcome]
            Outcomes by the number of the result.
        """
        outcome = case((is_void(ResultRow.run_id), Outcome.DOUBTFUL.value), else_=DecisionRow.outcome)
        query = select(StepRow.result_id, outcome).join(DecisionRow, DecisionRow.result_id == StepRow.result_id)
        query = query.join(ResultRow, ResultRow.id == StepRow.result_id)
        query = query.join(TransitRow, TransitRow.id == StepRow.passage_id).where(TransitRow.night_id == night)
        with self._store.transaction() as session:
            return {number: Outcome(outcome) for number, outcome in session.execute(query) if number is not None}

    def judged_results(self, night: int, above: int = 0) -> dict[int, JudgedResult]:
        """Return the results by which shafts of a run were judged; one that is void is doubtful and has no spine.

        Parameters
        ----------
        night : int
            Number of the sorting run.
        above : int
            Return only results of shafts with larger numbers than this.

        Returns
        -------
        dict[int, JudgedResult]
            Results by their number.
        """
        query = (
            select(
                ResultRow.id, ResultRow.spine_thou, ResultRow.u_spine_thou, ResultRow.calibration, DecisionRow.outcome,
                DecisionRow.bin, DecisionRow.reasons, ResultRow.older_lb, ResultRow.u_older_lb,
                json_of(FREEDOM).label("freedom"), is_void(ResultRow.run_id).label("void"),
            )
            .join(DecisionRow, DecisionRow.result_id == ResultRow.id)
            .join(StepRow, StepRow.result_id == ResultRow.id)
            .join(TransitRow, TransitRow.id == StepRow.passage_id)
            .where(TransitRow.night_id == night, TransitRow.id > above)
            .order_by(ResultRow.id)
        )  # fmt: skip
        with self._store.transaction() as session:
            return {
                row.id: VOID if row.void else JudgedResult(
                    row.spine_thou, row.u_spine_thou,
                    Decision(Outcome(row.outcome), tuple(json.loads(row.reasons)), row.bin), row.calibration,
                    freedom_of(row.freedom, row.u_spine_thou), row.older_lb, row.u_older_lb,
                )
                for row in session.execute(query)
            }  # fmt: skip

    def temperatures_c(self, results: Collection[int]) -> list[float]:
        """Return the temperatures of the board that were recorded with results.

        Parameters
        ----------
        results : Collection[int]
            Numbers of results.

        Returns
        -------
        list[float]
            Temperatures, deg C; a result without a recorded temperature has none here.
        """
        query = select(StepRow.watched).where(StepRow.result_id.in_(results), StepRow.watched.is_not(None))
        with self._store.transaction() as session:
            watched = [json.loads(text) for text in session.scalars(query) if text is not None]
        return [signs["temperature_c"] for signs in watched if signs.get("temperature_c") is not None]

    def since(self, gauge: str, shaft: int) -> list[Transit]:
        """Return the shafts that a gauge was fed after a given shaft, in any run.

        Parameters
        ----------
        gauge : str
            Name of the gauge.
        shaft : int
            Number of the shaft; only larger numbers are returned.

        Returns
        -------
        list[Transit]
            Shafts with all their steps.
        """
        after = select(TransitRow.id).join(NightRow).where(NightRow.gauge == gauge, TransitRow.id > shaft)
        with self._store.transaction() as session:
            return _transits(session, after)

    def runs(self, batch: int) -> dict[int, RunReference]:
        """Return where the readings of each result of a batch are.

        Parameters
        ----------
        batch : int
            Number of the batch.

        Returns
        -------
        dict[int, RunReference]
            References by the number of the result.
        """
        query = select(ResultRow.id, RunRow.archive, RunRow.byte_offset, RunRow.shaft, RunRow.label, RunRow.started_ms)
        query = query.join(RunRow, RunRow.id == ResultRow.run_id).where(RunRow.batch_id == batch)
        with self._store.transaction() as session:
            return {
                row.id: RunReference(row.archive, row.byte_offset, row.shaft, row.label, row.started_ms)
                for row in session.execute(query)
            }

    def first_calibration(self, batch: int) -> str | None:
        """Return the calibration of the oldest result of a batch.

        Parameters
        ----------
        batch : int
            Number of the batch.

        Returns
        -------
        str | None
            Id of the calibration, None if no result names one.
        """
        query = select(ResultRow.calibration).join(RunRow)
        query = query.where(RunRow.batch_id == batch, ResultRow.calibration.is_not(None))
        with self._store.transaction() as session:
            return session.scalar(query.order_by(ResultRow.id).limit(1))

    def batch(self, night: int) -> int:
        """Return the number of the batch that holds a run's results.

        Parameters
        ----------
        night : int
            Number of the sorting run.

        Returns
        -------
        int
            Number of the batch.
        """
        with self._store.transaction() as session:
            return self._batch(session, night)

    @staticmethod
    def _batch(session: Session, night: int) -> int:
        """Return the batch of a sorting run."""
        return session.get_one(NightRow, night).batch_id


def _judged_run(session: Session, shaft: int) -> int | None:
    """Return the measurement by which a shaft was last judged, or None if it never was."""
    query = select(ResultRow.run_id).join(StepRow, StepRow.result_id == ResultRow.id).where(StepRow.passage_id == shaft)
    return session.scalars(query.order_by(StepRow.id.desc()).limit(1)).first()


def _check_shifts(session: Session) -> dict[int, float]:
    """Return what brings the spines of older checks under the reference condition, thou, by the check's shaft."""
    query = stated_before(StepRow.passage_id).join(StepRow, StepRow.result_id == ResultRow.id)
    stated = stated_spines(session, query.where(StepRow.passage_id.in_(select(CheckRow.passage_id))))
    kept = kept_calibrations(session) if stated else {}
    found = zip(stated, conversions(list(stated.values()), kept), strict=True)
    return {shaft: conversion.shift_thou for shaft, conversion in found}


def _step_row(shaft: int, step: WayStep) -> StepRow:
    """Return the row of a step."""
    return StepRow(
        passage_id=shaft, at_ms=step.at_ms, stage=step.stage.value, place=step.place, passed=step.passed,
        archive_bytes=step.archive_bytes, result_id=step.result, words=step.words,
        watched=None if step.watched is None else json.dumps(step.watched),
    )  # fmt: skip


def _event_row(night: int, event: RunEvent) -> EventRow:
    """Return the row of an event."""
    return EventRow(
        night_id=night, at_ms=event.at_ms, kind=event.kind.value, code=event.code, shaft=event.shaft,
        place=event.place, words=event.words,
    )  # fmt: skip


def _transits(session: Session, numbers: Select[Any]) -> list[Transit]:
    # Query tables, not mapped classes, for speed: sorting looks up the open shaft before each action.
    """Return shafts with their steps, in the order of their numbers."""
    transits, steps = TransitRow.__table__, StepRow.__table__
    rows = session.execute(select(transits).where(transits.c.id.in_(numbers)).order_by(transits.c.id)).all()
    query = select(steps).where(steps.c.passage_id.in_(numbers)).order_by(steps.c.passage_id, steps.c.id)
    taken = {shaft: _steps(same) for shaft, same in groupby(session.execute(query), key=lambda row: row.passage_id)}
    return [
        Transit(row.id, row.night_id, row.source, row.standard, row.ordered_ms, tuple(taken.get(row.id, ())))
        for row in rows
    ]


def _steps(rows: Iterable[Any]) -> Sequence[WayStep]:
    """Return steps made of rows of the table."""
    return [
        WayStep(
            TransitStage(row.stage), row.at_ms, row.place, row.passed, row.archive_bytes, row.result_id, row.words,
            None if row.watched is None else json.loads(row.watched),
        )
        for row in rows
    ]  # fmt: skip
