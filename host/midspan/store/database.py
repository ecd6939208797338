"""Results and verdicts in an SQLite database: durable when a call returns, added to and never changed.

>>> import tempfile
>>> from midspan.decision.decision import Decision, Outcome
>>> from midspan.measurement.result import Unmeasured
>>> with StorePlace(Path(tempfile.mkdtemp()) / "results.db").open() as store:
...     batch = store.begin_batch("blue dozen", started_ms=0)
...     run = RunReference("batch.avro", byte_offset=4096, shaft=7, label="blue-7", started_ms=0)
...     verdict = Decision(Outcome.DOUBTFUL, ("it never touched",))
...     number = store.add(batch, run, Evaluation(Unmeasured(7, "blue-7", ("NO_CONTACT",)), verdict, made_ms=1))
...     store.latest("blue-7").result.kind.value, store.latest(7).decision.outcome.value
('unmeasured', 'doubtful')
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from types import TracebackType

from sqlalchemy import Engine, Select, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, joinedload

from midspan.base.errors import StoreError
from midspan.decision.basis import Basis
from midspan.decision.concerns import carry, with_crack_limit
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.database_file import fold_in
from midspan.store.evaluation import Evaluation, Origin, RunReference, StoredResult
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.kept_values import Damaged
from midspan.store.measurements import (
    concerns_before,
    concerns_in,
    crack_limit_before,
    is_run,
    note_run,
    standing_results,
)
from midspan.store.place import StorePlace
from midspan.store.sqlite_errors import in_words
from midspan.store.stored_result import AnyResult, as_text, finite, is_same, read_result
from midspan.store.tables import (
    NAMED_COLUMNS,
    BasisRow,
    BatchRow,
    CalibrationRow,
    DecisionRow,
    ResultRow,
    RunRow,
)
from midspan.store.upgrade import DAMAGED

LOG = logging.getLogger(__name__)

# What counts when measurements contradict each other: the cracked or bad shaft before the doubtful one before the good.
WORST_FIRST = (Outcome.REJECTED, Outcome.INSTRUMENT_FAULT, Outcome.DOUBTFUL, Outcome.ACCEPTED)


class Store:
    """The database of results; make one with `StorePlace.open`.

    Every method raises StoreError when the database is locked, full, read-only or damaged.
    """

    def __init__(self, place: StorePlace, engine: Engine, *, folds: bool) -> None:
        """Take a store that is open; `folds` says that it may be written, and is folded into its file at the end."""
        self.place = place
        self._engine = engine
        self._folds = folds

    def begin_batch(self, name: str, started_ms: int) -> int:
        """Start a batch and return its number."""
        with self.transaction() as session:
            batch = BatchRow(name=name, started_ms=started_ms)
            session.add(batch)
            session.flush()
            return batch.id

    def add(self, batch: int, run: RunReference, evaluation: Evaluation, *, origin: Origin = Origin.MEASURED) -> int:
        """Store an evaluation of a run as `add_evaluation` does, on the disk when this returns; its number."""
        with self.transaction() as session:
            return add_evaluation(session, batch, run, evaluation, origin)

    def add_again(
        self, batch: int, run: RunReference, evaluation: Evaluation, *, origin: Origin = Origin.IMPORTED
    ) -> tuple[Decision, bool]:
        """Store another evaluation of a run unless it stands there to the last bit; the verdict, and if it was new.

        The verdict is the one that the store keeps (add_evaluation); `origin` is that of a run never noted here.
        """
        with self.transaction() as session:
            run_id = note_run(session, batch, run, origin)
            held = _with_the_past(session, run_id, evaluation)
            is_new = not _stands(session, run_id, held)
            if is_new:
                _keep(session, run_id, held)
            return held.decision, is_new

    def keep_calibration(self, kept: KeptCalibration) -> None:
        """Keep what a calibration said, so that later results can be compared with those it made.

        Raises StoreError when another content stands under this id: a result names its calibration by it.
        """
        name, text = kept.id, kept.as_text()
        with self.transaction() as session:
            session.execute(insert(CalibrationRow).values(id=name, content=text).on_conflict_do_nothing())
            if session.get_one(CalibrationRow, name).content != text:
                raise StoreError(
                    f"{self.place}: calibration {name!r} stands there with other values; give the changed file an id "
                    "of its own"
                )

    def calibrations(self) -> dict[str, KeptCalibration]:
        """What every calibration kept here says, by its id."""
        with self.transaction() as session:
            return {row.id: KeptCalibration.from_text(row.content) for row in session.scalars(select(CalibrationRow))}

    def run_of(self, run: RunReference) -> tuple[int, RunReference] | None:
        """Batch and reference of a run already noted, also when its archive has moved to another folder."""
        moved = RunRow.archive.endswith(Path(run.archive).name, autoescape=True)
        same = RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, RunRow.started_ms == run.started_ms
        with self.transaction() as session:
            row = session.scalars(select(RunRow).where(moved, *same)).first()
            return None if row is None else (row.batch_id, _reference(row))

    def basis_of(self, run: RunReference) -> Basis | None:
        """Return what the newest verdict on a run was made by; None when the run or its basis is not known."""
        newest = self.history(run)[-1:]
        return newest[0].basis if newest else None

    def versions(self) -> list[list[StoredResult]]:
        """All results of every run, oldest first, run by run."""
        found = self._read(results_query().order_by(ResultRow.run_id, ResultRow.id))
        return [list(same) for _, same in groupby(found, key=lambda one: (one.batch, one.run))]

    def latest(self, shaft: int | str) -> StoredResult | None:
        """The result of a shaft that counts, given by its number or its label; None when there is none.

        It is the newest evaluation of the measurement that no other supersedes. Where several stand beside each other
        because none knew of the others, the worse one counts, and of equals the one that was measured here.
        """
        return next(iter(self.standing(shaft)), None)

    def standing(self, shaft: int | str) -> list[StoredResult]:
        """The newest result of each measurement of a shaft that no other supersedes; the first one counts."""
        found = self._read(_of(shaft).where(*standing_results()))
        if not found:  # a label that the shaft had before it was measured again under another one
            found = self._read(_of(shaft).order_by(ResultRow.run_id.desc(), ResultRow.id.desc()).limit(1))
        newest = max((stored.run_id, stored.run.shaft) for stored in found)[1] if found else None
        # A label may be that of several shafts: then it is the one measured last.
        return sorted((stored for stored in found if stored.run.shaft == newest), key=_worst_first)

    def history(self, shaft: int | str | RunReference) -> list[StoredResult]:
        """Every result of a shaft, given by its number, its label or one of its runs, oldest first."""
        return self._read(_of(shaft).order_by(ResultRow.id))

    def batch(self, batch: int) -> list[StoredResult]:
        """The newest result of every run of a batch, in the order the runs were noted."""
        newest = select(func.max(ResultRow.id)).group_by(ResultRow.run_id)
        query = results_query().where(RunRow.batch_id == batch, ResultRow.id.in_(newest))
        return self._read(query.order_by(RunRow.id))

    def close(self) -> None:
        """Let go of the file; closing twice does no harm.

        What was written is folded into the file, also while others read: a copy of it alone then lacks nothing.
        """
        if self._folds:
            self._folds = False
            fold_in(self._engine)
        self._engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """One transaction: kept when the block ends, undone when it raises."""
        try:
            with Session(self._engine) as session, session.begin():
                yield session
        except DBAPIError as error:
            LOG.warning("%s: refused after any wait: %s", self.place, error.orig)
            raise StoreError(f"{self.place}: {in_words(error)}") from error
        except (Damaged, UnicodeDecodeError) as error:  # SQLite's own words may quote what is no text
            raise StoreError(f"{self.place}: {error}: {DAMAGED}") from error

    def _read(self, query: Select[ResultRow]) -> list[StoredResult]:
        with self.transaction() as session:
            return [stored_result(row) for row in session.scalars(query)]


def add_evaluation(
    session: Session, batch: int, run: RunReference, evaluation: Evaluation, origin: Origin = Origin.MEASURED
) -> int:
    """Store an evaluation of a run within a transaction and return its number.

    The run is noted at its first evaluation, with the measurements that it supersedes, and stays in the batch it was
    noted with; `origin` says how it came here. The verdict keeps its basis, gets what earlier evaluations found, and
    is held to the crack limit of the measurements that the run supersedes where it has none of its own.
    In the columns of quantities a number that is not finite is null: the verdict says what was wrong with it.
    """
    run_id = note_run(session, batch, run, origin)
    return _keep(session, run_id, _with_the_past(session, run_id, evaluation))


def _with_the_past(session: Session, run_id: int, evaluation: Evaluation) -> Evaluation:
    """Return an evaluation with what was found of the shaft before, and the crack limit that it was held to."""
    result, decision, basis = evaluation.result, evaluation.decision, evaluation.basis
    own = basis or Basis()
    if own.crack_hysteresis_pct is None and own.standard is None and own.person is None:
        limit_pct = crack_limit_before(session, run_id)
        if limit_pct is not None:
            basis = replace(own, crack_hysteresis_pct=limit_pct)
            measured_pct = None if isinstance(result, Unmeasured) else result.hysteresis_pct
            decision = with_crack_limit(decision, measured_pct, limit_pct)
    return replace(evaluation, decision=carry(decision, concerns_before(session, run_id, result)), basis=basis)


def _stands(session: Session, run_id: int, held: Evaluation) -> bool:
    """Return whether a run has this result with this verdict already.

    Where its newest result is the same, the newest verdict counts and no earlier one.
    """
    rows = session.scalars(results_query().where(ResultRow.run_id == run_id).order_by(ResultRow.id))
    same = [stored_result(row) for row in rows]
    if same and is_same(same[-1].result, held.result):
        same = same[-1:]
    return any(is_same(known.result, held.result) and known.decision == held.decision for known in same)


def _keep(session: Session, run_id: int, held: Evaluation) -> int:
    """Lay an evaluation down as it is and return its number."""
    decision, basis = held.decision, held.basis
    row = ResultRow(
        run_id=run_id, made_ms=held.made_ms, kind=held.result.kind, full=as_text(held.result),
        decision=DecisionRow(
            outcome=decision.outcome.value, bin=decision.bin, reasons=json.dumps(decision.reasons),
            concerns=json.dumps([(concern.kind.value, concern.words) for concern in decision.concerns]),
            basis_id=None if basis is None else _basis_id(session, basis),
        ),
        **_columns_of(held.result),
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row.id


def _columns_of(result: AnyResult) -> dict[str, str | float | None]:
    """Return what the columns of a row hold of a result; nothing of a run that gave none."""
    if isinstance(result, Unmeasured):
        return {}
    values = {name: getattr(result, name) for name in NAMED_COLUMNS}
    return {name: finite(value) if isinstance(value, float) else value for name, value in values.items()}


def results_query() -> Select[ResultRow]:
    """Return the query of all results with their runs and verdicts, to be narrowed."""
    decision = joinedload(ResultRow.decision)
    whole = joinedload(ResultRow.run), decision, decision.joinedload(DecisionRow.basis)
    return select(ResultRow).join(ResultRow.run).options(*whole)


def _of(shaft: int | str | RunReference) -> Select[ResultRow]:
    if isinstance(shaft, RunReference):
        return results_query().where(*is_run(shaft))
    return results_query().where(RunRow.shaft == shaft if isinstance(shaft, int) else RunRow.label == shaft)


def _basis_id(session: Session, basis: Basis) -> int:
    text = basis.as_json()
    session.execute(insert(BasisRow).values(content=text).on_conflict_do_nothing())
    return session.scalars(select(BasisRow.id).where(BasisRow.content == text)).one()


def _worst_first(stored: StoredResult) -> tuple[int, bool, int]:
    """Sort key of results that stand side by side: the worse verdict first, then the one measured here, the newest."""
    return WORST_FIRST.index(stored.decision.outcome), stored.origin is not Origin.MEASURED, -stored.run_id


def _reference(row: RunRow) -> RunReference:
    return RunReference(row.archive, row.byte_offset, row.shaft, row.label, row.started_ms)


def stored_result(row: ResultRow) -> StoredResult:
    """Return what a row of `results_query` says; Damaged when it says nothing that anybody wrote."""
    run, decision = row.run, row.decision
    if decision is None:  # what any other program took out
        raise Damaged(f"result {row.id} without a verdict")
    reasons = tuple(json.loads(decision.reasons))
    return StoredResult(
        id=row.id,
        batch=run.batch_id,
        run=_reference(run),
        result=read_result(ResultKind(row.kind), row.full, Unmeasured(run.shaft, run.label, reasons)),
        decision=Decision(
            Outcome(decision.outcome),
            reasons,
            decision.bin,
            concerns_in(decision.concerns),
        ),
        made_ms=row.made_ms,
        run_id=run.id,
        origin=Origin(run.origin),
        basis=None if decision.basis is None else Basis.from_json(decision.basis.content),
    )
