"""Copy a database while other programs use it, and read a copy to its last row.

A backup uses both: the copy is a single file without a write-ahead log beside it, and a copy that cannot be read
completely is not a backup.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass

from sqlalchemy import Select, func, select
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
AT_A_TIME = 1000  # rows, to keep memory flat


@dataclass(frozen=True, slots=True)
class StoreContent:
    """Contents of a database that was read completely.

    Parameters
    ----------
    nights : int
        Number of sorting runs.
    results : int
        Number of results.
    runs : Mapping[str, set[RunPlace]]
        Measurements by the name of their file of readings; each is (byte offset of its block, number of the shaft,
        start in ms since 1970).
    listed : int
        Number of shafts known from a list only, which never had readings.
    """

    nights: int
    results: int
    runs: Mapping[str, set[RunPlace]]
    listed: int


def copy_database(store: Store, copy: StorePlace) -> None:
    """Copy a database, which may be in use, into a new file.

    Parameters
    ----------
    store : Store
        Open database to copy.
    copy : StorePlace
        File to write.

    Raises
    ------
    OutputError
        The copy cannot be written.
    StoreError
        The database cannot be read.
    """
    with store.transaction() as session, closing(sqlite3.connect(copy.file)) as made:
        database = session.connection().connection.driver_connection
        assert isinstance(database, sqlite3.Connection)
        try:
            database.backup(made)
            # Without a write-ahead log the file alone is complete, and readable in a read-only folder.
            made.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.Error as error:
            raise OutputError(
                f"{copy}: the database cannot be copied to this file ({error}); make room, or choose another folder"
            ) from error


def open_for_many(copy: StorePlace) -> None:
    """Upgrade a restored copy to the newest tables and allow reading while it is written.

    Parameters
    ----------
    copy : StorePlace
        File made by `copy_database`.

    Raises
    ------
    StoreError
        The file is not a database of results, or of a version that this program does not know.
    """
    with closing(sqlite3.connect(copy.file)) as opened:
        opened.execute("PRAGMA journal_mode = WAL")
    copy.open(create=False).close()


def runs_by_name(store: Store) -> dict[str, set[RunPlace]]:
    """Return the measurements of a database by the name of their file of readings.

    Parameters
    ----------
    store : Store
        Open database.

    Returns
    -------
    dict[str, set[RunPlace]]
        For each file, its measurements as (byte offset, number of the shaft, start in ms since 1970).
    """
    with store.transaction() as session:
        return _runs(session)


def read_whole(store: Store) -> StoreContent:
    """Read every row of a database and return what it contains.

    Parameters
    ----------
    store : Store
        Open database.

    Returns
    -------
    StoreContent
        Numbers of runs and results, and the measurements by file.

    Raises
    ------
    BackupError
        SQLite finds the file damaged, or a result cannot be read.
    """
    with store.transaction() as session:
        (state,) = session.connection().exec_driver_sql("PRAGMA integrity_check(1)").one()
        if state != "ok":
            raise BackupError(f"{store.place}: the database is damaged ({state}); use another backup")
        nights = session.scalar(select(func.count()).select_from(NightRow)) or 0
        listed = session.scalar(select(func.count()).select_from(_listed().distinct().subquery())) or 0
        return StoreContent(nights, _read_results(session, store.place), _runs(session), listed)


def _runs(session: Session) -> dict[str, set[RunPlace]]:
    """Return the measurements of a database by the name of their file of readings; a line of a list has none."""
    found: dict[str, set[RunPlace]] = defaultdict(set)
    columns = select(RunRow.archive, RunRow.byte_offset, RunRow.shaft, RunRow.started_ms)
    columns = columns.where(RunRow.id.not_in(_listed()))
    for archive, offset, shaft, started_ms in session.execute(columns):
        found[archive].add((offset, shaft, started_ms))
    return found


def _listed() -> Select[int]:
    """Return the query for the runs that are lines of a list made elsewhere."""
    return select(ResultRow.run_id).where(ResultRow.kind == ResultKind.LISTED.value)


def _read_results(session: Session, place: StorePlace) -> int:
    """Read every result with its verdict and return their number; raises BackupError for a damaged result."""
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
            raise BackupError(f"{place}: result {number} is damaged; use another backup")
        read += 1
    if read != session.scalar(select(func.count()).select_from(ResultRow)):
        raise BackupError(f"{place}: some results have no verdict; use another backup")
    return read
