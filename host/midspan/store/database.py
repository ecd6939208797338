"""Write and read results and verdicts in an SQLite database.

Every change is on the disk when the call returns. Rows are added, never changed.

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

from sqlalchemy import Engine, Select, select
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
    bears,
    concerns_before,
    concerns_in,
    crack_limit_before,
    is_newest,
    is_run,
    is_void,
    note_run,
    standing_results,
)
from midspan.store.older_spines import kept_calibrations
from midspan.store.place import StorePlace
from midspan.store.sqlite_errors import refusal
from midspan.store.stored_result import AnyResult, ListedResult, OlderResult, as_text, finite, is_same, read_result
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

# Contradicting measurements: assume the worst, since a cracked shaft taken for a good one can break when it is shot.
WORST_FIRST = (Outcome.REJECTED, Outcome.INSTRUMENT_FAULT, Outcome.DOUBTFUL, Outcome.ACCEPTED)


class Store:
    """Open database of results; `StorePlace.open` makes it.

    A measurement is one run of a shaft; its readings may be evaluated any number of times. A new measurement of a shaft
    supersedes the earlier ones: they stay stored and no longer count. With each verdict goes its basis: the bands, the
    crack limit (hysteresis above which a crack is suspected) and the role of the shaft (stock, or a check standard).

    Every method raises StoreError if the database is locked, full, read-only or damaged, and StoreGone if its file
    was moved, replaced or deleted. A store from `StorePlace.open_to_read` refuses to write, with code
    "opened_to_read".

    Parameters
    ----------
    place : StorePlace
        Where the database is.
    engine : Engine
        SQLAlchemy engine with connections to it.
    folds : bool
        True if the database may be written; `close` then folds the write-ahead log into the file.
    """

    def __init__(self, place: StorePlace, engine: Engine, *, folds: bool) -> None:
        """Keep an open engine and its place."""
        self.place = place
        self._engine = engine
        self._folds = folds
        self._shared: Session | None = None

    def begin_batch(self, name: str, started_ms: int) -> int:
        """Start a batch and return its number.

        Parameters
        ----------
        name : str
            Name for people.
        started_ms : int
            Start, UTC in ms since 1970.

        Returns
        -------
        int
            Number of the batch.
        """
        with self.transaction() as session:
            batch = BatchRow(name=name, started_ms=started_ms)
            session.add(batch)
            session.flush()
            return batch.id

    def add(self, batch: int, run: RunReference, evaluation: Evaluation, *, origin: Origin = Origin.MEASURED) -> int:
        """Store an evaluation of a measurement and return the number of the result.

        The verdict keeps the concerns of earlier evaluations of the measurement, and their crack limit.

        Parameters
        ----------
        batch : int
            Batch of the measurement; ignored if the measurement is stored already.
        run : RunReference
            Where the readings are.
        evaluation : Evaluation
            Result and verdict.
        origin : Origin
            How the measurement came into this database.

        Returns
        -------
        int
            Number of the result.
        """
        with self.transaction() as session:
            return add_evaluation(session, batch, run, evaluation, origin)

    def add_again(
        self, batch: int, run: RunReference, evaluation: Evaluation, *, origin: Origin = Origin.IMPORTED
    ) -> tuple[Decision, bool]:
        """Store an evaluation unless an identical one is stored already; return the verdict and whether it was new.

        Parameters
        ----------
        batch : int
            Batch of the measurement; ignored if the measurement is stored already.
        run : RunReference
            Where the readings are.
        evaluation : Evaluation
            Result and verdict; identical means equal to the last bit, verdict included.
        origin : Origin
            How the measurement came into this database, used if it is new.

        Returns
        -------
        tuple[Decision, bool]
            The verdict as stored, with earlier concerns and crack limit, and True if it was stored just now.
        """
        with self.transaction() as session:
            run_id = note_run(session, batch, run, origin)
            held = _with_the_past(session, run_id, evaluation)
            is_new = not _stands(session, run_id, held)
            if is_new:
                _keep(session, run_id, held)
            return held.decision, is_new

    def keep_calibration(self, kept: KeptCalibration) -> None:
        """Store the content of a calibration under its id, for later comparison with the results made by it.

        Parameters
        ----------
        kept : KeptCalibration
            Calibration or hand bench.

        Raises
        ------
        StoreError
            Other content is stored under this id: results name their calibration by it.
        """
        name, text = kept.id, kept.as_text()
        with self.transaction() as session:
            session.execute(insert(CalibrationRow).values(id=name, content=text).on_conflict_do_nothing())
            if session.get_one(CalibrationRow, name).content != text:
                raise StoreError(
                    f"{self.place}: calibration {name!r} is already stored with other values; give the changed file "
                    "a new id",
                    code="calibration_differs",
                )

    def calibrations(self) -> dict[str, KeptCalibration]:
        """Return every stored calibration by its id.

        Returns
        -------
        dict[str, KeptCalibration]
            Calibrations of gauges and hand benches.
        """
        with self.transaction() as session:
            return kept_calibrations(session)

    def run_of(self, run: RunReference) -> tuple[int, RunReference] | None:
        """Return batch and reference of a measurement that is stored, also if its archive has moved to another folder.

        Parameters
        ----------
        run : RunReference
            Measurement; of its archive only the file name counts.

        Returns
        -------
        tuple[int, RunReference] | None
            Number of the batch and the reference as stored, or None if the measurement is unknown.
        """
        moved = RunRow.archive.endswith(Path(run.archive).name, autoescape=True)
        same = RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, RunRow.started_ms == run.started_ms
        with self.transaction() as session:
            row = session.scalars(select(RunRow).where(moved, *same)).first()
            return None if row is None else (row.batch_id, _reference(row))

    def basis_of(self, run: RunReference) -> Basis | None:
        """Return the rules by which the newest verdict on a measurement was made.

        Parameters
        ----------
        run : RunReference
            Measurement.

        Returns
        -------
        Basis | None
            Bands, crack limit and role of the shaft, or None if the measurement or its basis is unknown.
        """
        newest = self.history(run)[-1:]
        return newest[0].basis if newest else None

    def versions(self) -> list[list[StoredResult]]:
        """Return all results, grouped by measurement.

        Returns
        -------
        list[list[StoredResult]]
            A list for each measurement, its results oldest first.
        """
        found = self._read(results_query().order_by(ResultRow.run_id, ResultRow.id))
        return [list(same) for _, same in groupby(found, key=lambda stored: (stored.batch, stored.run))]

    def latest(self, shaft: int | str) -> StoredResult | None:
        """Return the result that counts for a shaft.

        It is the newest evaluation of the measurement that no other supersedes. Two measurements made with different
        databases may both count after an import; then the worse verdict is returned, and of equal verdicts the one
        measured with this database.

        Parameters
        ----------
        shaft : int | str
            Number of the shaft, or its label.

        Returns
        -------
        StoredResult | None
            The result, or None if the shaft was never measured or all its measurements are void.
        """
        return next(iter(self.standing(shaft)), None)

    def standing(self, shaft: int | str) -> list[StoredResult]:
        """Return the newest result of each measurement of a shaft that no other measurement supersedes.

        Parameters
        ----------
        shaft : int | str
            Number of the shaft, or its label; a label used for several shafts means the shaft measured last.

        Returns
        -------
        list[StoredResult]
            Results, the one that counts first; empty if the shaft was never measured, or all its measurements are void.
        """
        found = self._read(_of(shaft).where(*standing_results()))
        if not found and isinstance(shaft, str):  # the shaft was measured again under another label
            once = results_query().where(RunRow.own_label == shaft, ~is_void(RunRow.id))
            found = self._read(once.order_by(ResultRow.run_id.desc(), ResultRow.id.desc()).limit(1))
        newest = max((stored.run_id, stored.run.shaft) for stored in found)[1] if found else None
        # Several shafts may have borne this label; it means the shaft measured last.
        return sorted((stored for stored in found if stored.run.shaft == newest), key=_worst_first)

    def history(self, shaft: int | str | RunReference) -> list[StoredResult]:
        """Return every result of a shaft or a measurement, oldest first.

        Parameters
        ----------
        shaft : int | str | RunReference
            Number of the shaft, its label, or a single measurement.

        Returns
        -------
        list[StoredResult]
            Results, empty if there are none.
        """
        return self._read(_of(shaft).order_by(ResultRow.id))

    def batch(self, batch: int) -> list[StoredResult]:
        """Return the newest result of every measurement of a batch that is not void, in the order of measuring.

        Parameters
        ----------
        batch : int
            Number of the batch.

        Returns
        -------
        list[StoredResult]
            Results, empty if there are none.
        """
        query = results_query().where(RunRow.batch_id == batch, is_newest(), ~is_void(RunRow.id))
        return self._read(query.order_by(RunRow.id))

    def close(self) -> None:
        """Fold what was written into the file and close it; a second call does nothing.

        The file alone is then a complete copy, also while other programs read it.
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
    def together(self) -> Iterator[None]:
        """Make one transaction of all that is stored in a block: a commit costs more than what it commits.

        All of it is on the disk when the block ends; none of it is stored if the block raises. Not for two threads.

        Yields
        ------
        None
            Nothing.

        Raises
        ------
        StoreError
            As `transaction`.
        """
        with self.transaction() as session:
            self._shared = session
            try:
                yield
            finally:
                self._shared = None

    @contextmanager
    def transaction(self) -> Iterator[Session]:
        """Open a transaction for a block: committed when the block ends, rolled back if it raises.

        Within `together` it is part of that transaction.

        Yields
        ------
        Session
            SQLAlchemy session of the transaction.

        Raises
        ------
        StoreError
            SQLite refuses the transaction, or a value read is damaged.
        StoreGone
            The file was moved, replaced or deleted.
        """
        try:
            if self._shared is not None:
                yield self._shared
                self._shared.flush()
                return
            with Session(self._engine) as session, session.begin():
                yield session
        except DBAPIError as error:
            LOG.warning("%s: refused after any wait: %s", self.place, error.orig)
            raise self._refusal(error).at(str(self.place)) from error
        except (Damaged, UnicodeDecodeError) as error:  # a message of SQLite may quote bytes that are not text
            raise StoreError(f"{self.place}: {error}: {DAMAGED}", code="damaged") from error

    def _refusal(self, error: DBAPIError) -> StoreError:
        """Return an error of SQLite as a StoreError; a store opened to read is not told to check permissions."""
        refused = refusal(error)
        if refused.code == "read_only" and not self._folds:
            return StoreError("it was opened to read; open it with StorePlace.open to write", code="opened_to_read")
        return refused

    def _read(self, query: Select[ResultRow]) -> list[StoredResult]:
        """Return the results of a query, in its order."""
        with self.transaction() as session:
            return [stored_result(row) for row in session.scalars(query)]


def add_evaluation(
    session: Session, batch: int, run: RunReference, evaluation: Evaluation, origin: Origin = Origin.MEASURED
) -> int:
    """Store an evaluation within a transaction and return the number of the result.

    The first evaluation of a measurement also stores the measurement, and which others it supersedes. The verdict is
    stored with its basis, with the concerns of earlier evaluations, and under the crack limit of the superseded
    measurements if it has none of its own. A quantity that is not finite becomes null in its column: the verdict says
    what was wrong with it.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    batch : int
        Batch of the measurement; ignored if the measurement is stored already.
    run : RunReference
        Where the readings are.
    evaluation : Evaluation
        Result and verdict.
    origin : Origin
        How the measurement came into this database, used if it is new.

    Returns
    -------
    int
        Number of the result.
    """
    run_id = note_run(session, batch, run, origin)
    return _keep(session, run_id, _with_the_past(session, run_id, evaluation))


def carry_again(session: Session, run_id: int, at_ms: int) -> None:
    """Store the newest verdict on a measurement anew if earlier measurements add concerns to it.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    run_id : int
        Number of the measurement.
    at_ms : int
        Time of the change, UTC in ms since 1970.
    """
    query = results_query().where(ResultRow.run_id == run_id).order_by(ResultRow.id.desc()).limit(1)
    stored = stored_result(session.scalars(query).one())
    held = _with_the_past(session, run_id, Evaluation(stored.result, stored.decision, at_ms, stored.basis))
    if held.decision != stored.decision:
        _keep(session, run_id, held)


def _with_the_past(session: Session, run_id: int, evaluation: Evaluation) -> Evaluation:
    """Return an evaluation with the earlier concerns about the shaft and the crack limit that held so far."""
    result, decision, basis = _as_measured(session, run_id, evaluation.result), evaluation.decision, evaluation.basis
    own = basis or Basis()
    if own.crack_hysteresis_pct is None and own.standard is None and own.person is None:
        limit_pct = crack_limit_before(session, run_id)
        if limit_pct is not None:
            basis = replace(own, crack_hysteresis_pct=limit_pct)
            measured_pct = None if isinstance(result, Unmeasured) else result.hysteresis_pct
            decision = with_crack_limit(decision, measured_pct, limit_pct)
    held = carry(decision, concerns_before(session, run_id, result))
    return replace(evaluation, result=result, decision=held, basis=basis)


def _as_measured(session: Session, run_id: int, result: AnyResult) -> AnyResult:
    """Return a result under the label that its shaft was measured under, so that stored results stay comparable."""
    label, own_label = session.execute(select(RunRow.label, RunRow.own_label).where(RunRow.id == run_id)).one()
    return result if label == own_label else _labelled(result, own_label)


def _labelled(result: AnyResult, label: str) -> AnyResult:
    """Return a result with another label; an older result has none."""
    return result if isinstance(result, OlderResult) else replace(result, label=label)


def _stands(session: Session, run_id: int, held: Evaluation) -> bool:
    """Return True if this result with this verdict is stored already.

    If the newest result of the measurement is equal, only its verdict counts, no earlier one.
    """
    rows = session.scalars(results_query().where(ResultRow.run_id == run_id).order_by(ResultRow.id))
    same = [stored_result(row) for row in rows]
    same = [replace(known, result=_as_measured(session, run_id, known.result)) for known in same]
    if same and is_same(same[-1].result, held.result):
        same = same[-1:]
    return any(is_same(known.result, held.result) and known.decision == held.decision for known in same)


def _keep(session: Session, run_id: int, held: Evaluation) -> int:
    """Add the rows of an evaluation as it is and return the number of the result."""
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
    """Return the values of the quantity columns; empty for a run without a result."""
    if isinstance(result, Unmeasured):
        return {}
    values = {name: getattr(result, name) for name in NAMED_COLUMNS}
    return {name: finite(value) if isinstance(value, float) else value for name, value in values.items()}


def results_query() -> Select[ResultRow]:
    """Return the query of all results with their runs and verdicts, for callers to narrow.

    Returns
    -------
    Select[ResultRow]
        Query without order or limit.
    """
    decision = joinedload(ResultRow.decision)
    whole = joinedload(ResultRow.run), decision, decision.joinedload(DecisionRow.basis)
    return select(ResultRow).join(ResultRow.run).options(*whole)


def _of(shaft: int | str | RunReference) -> Select[ResultRow]:
    """Return the query of the results of a shaft or a measurement."""
    if isinstance(shaft, RunReference):
        return results_query().where(*is_run(shaft))
    return results_query().where(RunRow.shaft == shaft if isinstance(shaft, int) else bears(shaft))


def _basis_id(session: Session, basis: Basis) -> int:
    """Return the number of a basis, after storing it if it is new."""
    text = basis.as_json()
    session.execute(insert(BasisRow).values(content=text).on_conflict_do_nothing())
    return session.scalars(select(BasisRow.id).where(BasisRow.content == text)).one()


def _worst_first(stored: StoredResult) -> tuple[bool, int, bool, int]:
    """Return a sort key: measured before listed, worse verdict first, then measured with this database, then newest."""
    listed = isinstance(stored.result, ListedResult)
    return listed, WORST_FIRST.index(stored.decision.outcome), stored.origin is not Origin.MEASURED, -stored.run_id


def _reference(row: RunRow) -> RunReference:
    """Return the reference in a row of runs."""
    return RunReference(row.archive, row.byte_offset, row.shaft, row.label, row.started_ms)


def stored_result(row: ResultRow) -> StoredResult:
    """Return the result in a row of `results_query`.

    Parameters
    ----------
    row : ResultRow
        Row with its run and verdict.

    Returns
    -------
    StoredResult
        The result.

    Raises
    ------
    Damaged
        A value in the row cannot have been written by this program.
    """
    run, decision = row.run, row.decision
    if decision is None:  # another program deleted it
        raise Damaged(f"result {row.id} without a verdict")
    reasons = tuple(json.loads(decision.reasons))
    result = read_result(ResultKind(row.kind), row.full, Unmeasured(run.shaft, run.label, reasons))
    return StoredResult(
        id=row.id,
        batch=run.batch_id,
        run=_reference(run),
        result=result if run.label == run.own_label else _labelled(result, run.label),
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
