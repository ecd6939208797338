"""A database as one file that says all: copied while others use it, read to its last row, opened to many again."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from midspan.base.errors import BackupError, OutputError
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.database import Store
from midspan.store.place import StorePlace
from midspan.store.stored_result import finite, read_result
from midspan.store.tables import DecisionRow, NightRow, ResultRow, RunRow

RunPlace = tuple[int, int, int]  # offset of its block, number of its shaft, when it began in ms
NOTHING = Unmeasured(0, "", ())
AT_A_TIME = 1000  # rows, so that memory stays flat


@dataclass(frozen=True, slots=True)
class StoreContent:
    """How many nights and results there are, and the runs by the name of their file of readings."""

    nights: int
    results: int
    runs: Mapping[str, set[RunPlace]]


def copy_database(store: Store, copy: StorePlace) -> None:
    """Copy a database that may be in use into a file of its own.

    Raises OutputError when that cannot be written.
    """
    with store.transaction() as session, closing(sqlite3.connect(copy.file)) as made:
        database = session.connection().connection.driver_connection
        assert isinstance(database, sqlite3.Connection)
        try:
            database.backup(made)
            # One file then says all, and it can be read where nothing may be made beside it.
            made.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.Error as error:
            raise OutputError(
                f"{copy}: the database cannot be copied there ({error}); make room there, or name another folder"
            ) from error


def open_for_many(copy: StorePlace) -> None:
    """Let others read a copied database while it is written, and bring an older one up to date."""
    with closing(sqlite3.connect(copy.file)) as opened:
        opened.execute("PRAGMA journal_mode = WAL")
    copy.open(create=False).close()


def runs_by_name(store: Store) -> dict[str, set[RunPlace]]:
    """Return the runs of a store by the name of their file of readings."""
    with store.transaction() as session:
        return _runs(session)


def read_whole(store: Store) -> StoreContent:
    """Read every row of a store; BackupError when the database or a result in it is spoilt."""
    with store.transaction() as session:
        (state,) = session.connection().exec_driver_sql("PRAGMA integrity_check(1)").one()
        if state != "ok":
            raise BackupError(f"{store.place}: is damaged ({state}); take another backup")
        nights = session.scalar(select(func.count()).select_from(NightRow)) or 0
        return StoreContent(nights, _read_results(session, store.place), _runs(session))


def _runs(session: Session) -> dict[str, set[RunPlace]]:
    found: dict[str, set[RunPlace]] = defaultdict(set)
    columns = select(RunRow.archive, RunRow.byte_offset, RunRow.shaft, RunRow.started_ms)
    for archive, offset, shaft, started_ms in session.execute(columns):
        found[archive].add((offset, shaft, started_ms))
    return found


def _read_results(session: Session, place: StorePlace) -> int:
    columns = select(
        ResultRow.id, ResultRow.kind, ResultRow.full, ResultRow.spine_thou, DecisionRow.outcome, DecisionRow.reasons
    )
    read = 0
    for number, kind, full, spine_thou, outcome, reasons in session.execute(
        columns.join(ResultRow.decision).execution_options(yield_per=AT_A_TIME)
    ):
        try:
            result = read_result(ResultKind(kind), full, NOTHING)
            spine = None if isinstance(result, Unmeasured) else finite(result.spine_thou)
            is_good = spine == spine_thou and isinstance(json.loads(reasons), list)
            Outcome(outcome)
        except ValueError:
            is_good = False
        if not is_good:
            raise BackupError(f"{place}: result {number} is spoilt; take another backup")
        read += 1
    if read != session.scalar(select(func.count()).select_from(ResultRow)):
        raise BackupError(f"{place}: there are results without a verdict; take another backup")
    return read
