"""Results and verdicts in an SQLite database: durable when a call returns, added to and never changed.

>>> import tempfile
>>> from midspan.decision import Decision, Outcome
>>> with Store.open(Path(tempfile.mkdtemp()) / "results.db") as store:
...     batch = store.begin_batch("blue dozen", started_ms=0)
...     run = RunReference("batch.avro", byte_offset=4096, shaft=7, label="blue-7", started_ms=0)
...     number = store.add(batch, run, {"spine_thou": 500.2}, Decision(Outcome.ACCEPTED, bin="500"), made_ms=1)
...     store.latest("blue-7").result["spine_thou"], store.latest(7).decision.bin
(500.2, '500')
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import URL, ColumnElement, Engine, Select, create_engine, event, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, joinedload

from midspan import set_tables, wishes  # noqa: F401 - Store.open makes their tables too
from midspan.decision import Decision, Outcome
from midspan.errors import StoreError
from midspan.tables import NAMED_COLUMNS, BatchRow, CalibrationRow, DecisionRow, ResultRow, RunRow, in_words
from midspan.upgrade import NEWEST, check_known, revision_of, upgrade


@dataclass(frozen=True, slots=True)
class RunReference:
    """Where the raw readings of a shaft are kept."""

    archive: str
    byte_offset: int
    shaft: int
    label: str
    started_ms: int


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One evaluation of a shaft as it was stored; `result` is None when the run gave none."""

    id: int
    batch: int
    run: RunReference
    result: dict[str, Any] | None
    decision: Decision
    made_ms: int


class Store:
    """The database of results; make one with `Store.open`.

    Every method raises StoreError when the database is locked, full, read-only or damaged.
    """

    def __init__(self, path: Path, engine: Engine) -> None:
        self.path = path
        self._engine = engine

    @classmethod
    def open(cls, path: Path, *, create: bool = True, wait_s: float = 5.0) -> Store:
        """Open a database of results, or make one when there is none and `create` is true.

        `wait_s` is how long a call waits for another program that is writing. Raises StoreError also when the
        file is no database, another program's, or of another version of the tables.
        """
        if not create and not path.is_file():
            raise StoreError(f"{path}: there is no such file; name the database of your results")
        engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": wait_s})
        event.listen(engine, "connect", _wait_for_the_disk)
        store = cls(path, engine)
        try:
            if store._revision() != NEWEST:
                store.close()
                store._upgrade(wait_s)
        except StoreError as error:
            store.close()
            raise error.at(str(path)) from error
        return store

    def _revision(self) -> int | None:
        """Return the revision of the tables, None for an empty file; StoreError when nobody here knows it."""
        try:
            with Session(self._engine) as session:
                revision = revision_of(session.connection())
        except DBAPIError as error:
            raise StoreError(in_words(error)) from error
        if revision is not None:
            check_known(revision)
        return revision

    def _upgrade(self, wait_s: float) -> None:
        try:
            upgrade(self.path, wait_s)
        except DBAPIError as error:
            raise StoreError(in_words(error)) from error

    def begin_batch(self, name: str, started_ms: int) -> int:
        """Start a batch and return its number."""
        with self.transaction() as session:
            batch = BatchRow(name=name, started_ms=started_ms)
            session.add(batch)
            session.flush()
            return batch.id

    def add(
        self, batch: int, run: RunReference, result: Mapping[str, Any] | None, decision: Decision, made_ms: int
    ) -> int:
        """Store one evaluation of a run as `add_result` does, on the disk when this returns; its number."""
        with self.transaction() as session:
            return add_result(session, batch, run, result, decision, made_ms)

    def keep_calibration(self, name: str, content: Mapping[str, Any]) -> None:
        """Keep what a calibration said, so that later results can be compared with those it made.

        Raises StoreError when another content stands under this id: a result names its calibration by it.
        """
        text = json.dumps(content, sort_keys=True)
        with self.transaction() as session:
            session.execute(insert(CalibrationRow).values(id=name, content=text).on_conflict_do_nothing())
            if session.get_one(CalibrationRow, name).content != text:
                raise StoreError(
                    f"{self.path}: calibration {name!r} stands there with other values; give the changed file an id of "
                    "its own"
                )

    def calibrations(self) -> dict[str, dict[str, Any]]:
        """What every calibration kept here says, by its id."""
        with self.transaction() as session:
            return {row.id: json.loads(row.content) for row in session.scalars(select(CalibrationRow))}

    def run_of(self, run: RunReference) -> tuple[int, RunReference] | None:
        """Batch and reference of a run already noted, also when its archive has moved to another folder."""
        moved = RunRow.archive.endswith(Path(run.archive).name, autoescape=True)
        same = RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, RunRow.started_ms == run.started_ms
        with self.transaction() as session:
            row = session.scalars(select(RunRow).where(moved, *same)).first()
            return None if row is None else (row.batch_id, _reference(row))

    def versions(self) -> list[list[StoredResult]]:
        """All results of every run, oldest first, run by run."""
        found = self._read(_results().order_by(ResultRow.run_id, ResultRow.id))
        return [list(same) for _, same in groupby(found, key=lambda one: (one.batch, one.run))]

    def latest(self, shaft: int | str) -> StoredResult | None:
        """The newest result of a shaft, given by its number or its label; None when there is none."""
        return next(iter(self._read(_of(shaft).order_by(ResultRow.id.desc()).limit(1))), None)

    def history(self, shaft: int | str | RunReference) -> list[StoredResult]:
        """Every result of a shaft, given by its number, its label or one of its runs, oldest first."""
        return self._read(_of(shaft).order_by(ResultRow.id))

    def batch(self, batch: int) -> list[StoredResult]:
        """The newest result of every run of a batch, in the order the runs were noted."""
        newest = select(func.max(ResultRow.id)).group_by(ResultRow.run_id)
        query = _results().where(RunRow.batch_id == batch, ResultRow.id.in_(newest))
        return self._read(query.order_by(RunRow.id))

    def close(self) -> None:
        """Let go of the file; closing twice does no harm."""
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
            raise StoreError(f"{self.path}: {in_words(error)}") from error

    def _read(self, query: Select[ResultRow]) -> list[StoredResult]:
        with self.transaction() as session:
            return [_stored(row) for row in session.scalars(query)]


def add_result(
    session: Session, batch: int, run: RunReference, result: Mapping[str, Any] | None, decision: Decision, made_ms: int
) -> int:
    """Store one evaluation of a run with its verdict within a transaction; its number.

    The run is noted at its first evaluation and stays in the batch it was noted with. Numbers of the
    result that are not finite are stored as null: the verdict says what was wrong with them.
    """
    plain = None if result is None else _finite(result)
    named = {name: plain[name] for name in NAMED_COLUMNS & plain.keys()} if plain else {}
    row = ResultRow(
        run_id=_run_id(session, batch, run), made_ms=made_ms, full=None if plain is None else json.dumps(plain),
        decision=DecisionRow(
            outcome=decision.outcome.value, bin=decision.bin, reasons=json.dumps(decision.reasons)
        ),
        **named,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row.id


def _results() -> Select[ResultRow]:
    return select(ResultRow).join(ResultRow.run).options(joinedload(ResultRow.run), joinedload(ResultRow.decision))


def _of(shaft: int | str | RunReference) -> Select[ResultRow]:
    if isinstance(shaft, RunReference):
        return _results().where(*_place(shaft))
    return _results().where(RunRow.shaft == shaft if isinstance(shaft, int) else RunRow.label == shaft)


def _run_id(session: Session, batch: int, run: RunReference) -> int:
    # Insert first, so that two programs noting the same run wait for each other instead of failing.
    session.execute(insert(RunRow).values(batch_id=batch, **asdict(run)).on_conflict_do_nothing())
    return session.scalars(select(RunRow.id).where(*_place(run))).one()


def _place(run: RunReference) -> tuple[ColumnElement[bool], ...]:
    # The time tells a run from one that stood at this place of another file of the same name.
    begun = RunRow.started_ms == run.started_ms
    return RunRow.archive == run.archive, RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, begun


def _reference(row: RunRow) -> RunReference:
    return RunReference(row.archive, row.byte_offset, row.shaft, row.label, row.started_ms)


def _stored(row: ResultRow) -> StoredResult:
    run, decision = row.run, row.decision
    return StoredResult(
        id=row.id,
        batch=run.batch_id,
        run=_reference(run),
        result=None if row.full is None else json.loads(row.full),
        decision=Decision(Outcome(decision.outcome), tuple(json.loads(decision.reasons)), decision.bin),
        made_ms=row.made_ms,
    )


def _finite(value: Any) -> Any:
    """The same nest of values with None for every number that JSON and SQLite have no word for."""
    if isinstance(value, Mapping):
        return {name: _finite(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _wait_for_the_disk(connection: Any, _: object) -> None:
    # With a write-ahead log others can read while a batch is stored, but only FULL makes each commit wait for
    # the disk, which a power cut needs.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
