"""Upgrade a database to the newest revision of its tables by the migrations in this folder, after copying it.

A new database is made the same way, from an empty file. Every change of the tables is a revision in
`migrations/versions`; a released revision is never edited, because databases made by it exist.
"""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, NullPool, create_engine, event

from midspan.base.errors import StoreError
from midspan.store.revisions import APPLICATION_ID, NEWEST, OLDEST

LOG = logging.getLogger(__name__)

DAMAGED = "it is damaged; keep it, and rebuild the results from the archives with `midspan recompute`"
# Errors of a migration at rows whose JSON is damaged or has another shape.
UNREADABLE = (ValueError, TypeError, KeyError, AttributeError, RecursionError)
MIGRATIONS = Path(__file__).parent / "migrations"


def revision_of(connection: Connection) -> int | None:
    """Return the revision of a database's tables.

    Parameters
    ----------
    connection : Connection
        Open connection.

    Returns
    -------
    int | None
        Revision, None for an empty file.

    Raises
    ------
    StoreError
        Another program made the database (code "other_program").
    """
    if not connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one():
        return None
    if connection.exec_driver_sql("PRAGMA application_id").scalar_one() != APPLICATION_ID:
        raise StoreError("a database of another program; choose another file", code="other_program")
    revision: int = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
    return revision


def check_known(revision: int) -> None:
    """Check that this version can read a database or upgrade it.

    Parameters
    ----------
    revision : int
        Revision of its tables.

    Raises
    ------
    StoreError
        The revision is older or newer than any that this version knows.
    """
    if not OLDEST <= revision <= NEWEST:
        raise StoreError(
            f"its tables have version {revision}, this version reads {OLDEST} to {NEWEST}; use the version that "
            "made it, or choose a new file",
            code="unknown_revision",
        )


def upgrade(path: Path, wait_s: float, *, backup: bool = True) -> None:
    """Upgrade a database to the newest revision, or create it, in a single transaction.

    Parameters
    ----------
    path : Path
        Database file.
    wait_s : float
        Longest wait for another writing program, s.
    backup : bool
        True to copy a database with content to `NAME-before-REVISION.db` beside it first.

    Raises
    ------
    StoreError
        Another program made the database, its revision is unknown, or a migration cannot read its rows. A file that
        cannot be written raises the errors of SQLAlchemy instead.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), poolclass=NullPool)
    event.listen(engine, "connect", lambda raw, _: _begin_by_hand(raw, wait_s))
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA journal_mode = WAL")
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        revision = revision_of(connection)  # read again under the lock: no other program can interfere now
        if revision == NEWEST:
            return
        if revision is not None:
            check_known(revision)
        kept = _copy(path, revision) if revision is not None and backup else None
        LOG.info("%s: upgrading from revision %s to %d, copied to %s", path, revision, NEWEST, kept)
        try:
            _migrate(connection)
        except UNREADABLE as error:
            if kept is not None:
                kept.unlink()  # the database is unchanged, and each attempt would leave another copy
            raise StoreError(f"its tables cannot be upgraded ({error}): {DAMAGED}", code="damaged") from error
        connection.exec_driver_sql("COMMIT")


def only_grows(connection: Connection, *tables: str) -> None:
    """Create triggers that refuse to change or delete rows of tables, whatever program tries.

    Parameters
    ----------
    connection : Connection
        Open connection.
    *tables : str
        Names of tables.
    """
    for table in tables:
        for action in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER IF NOT EXISTS {table}_no_{action.lower()} BEFORE {action} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'rows of {table} are never changed or deleted'); END"
            )


@contextmanager
def may_change(connection: Connection, *tables: str) -> Iterator[None]:
    """Let a migration fill new columns of existing rows in a block.

    Parameters
    ----------
    connection : Connection
        Open connection.
    *tables : str
        Names of tables.

    Yields
    ------
    None
        The triggers come back after the block.
    """
    for table in tables:
        connection.exec_driver_sql(f"DROP TRIGGER {table}_no_update")
    yield
    only_grows(connection, *tables)


def _begin_by_hand(raw: sqlite3.Connection, wait_s: float) -> None:
    # By default sqlite3 begins a transaction too late and leaves changes of tables outside it.
    """Prepare a connection to begin transactions explicitly and to wait for the disk."""
    raw.isolation_level = None
    raw.execute(f"PRAGMA busy_timeout = {round(1000 * wait_s)}")
    raw.execute("PRAGMA synchronous = FULL")


def _copy(path: Path, revision: int) -> Path:
    """Copy the database under an unused name and return that; it bears the name only when complete."""
    names = (path.with_name(f"{path.stem}-before-{NEWEST}{more}{path.suffix}") for more in ("", *_numbered()))
    copy = next(name for name in names if not name.exists())
    part = copy.with_name(copy.name + ".part")
    part.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(path)) as old, closing(sqlite3.connect(part)) as new:
            old.backup(new)
            whole = new.execute("PRAGMA user_version").fetchone()[0] == revision
    except sqlite3.Error as error:
        raise StoreError(f"{part}: cannot be copied before the upgrade ({error}); check the disk") from error
    if not whole:
        raise StoreError(f"{part}: the copy made before the upgrade differs from the database; check the disk")
    with part.open("rb") as file:
        os.fsync(file.fileno())
    return part.rename(copy)


def _numbered() -> list[str]:
    """Return endings for names of further copies."""
    return [f"-{number}" for number in range(2, 1000)]


def _migrate(connection: Connection) -> None:
    """Run all migrations and mark the file with its program and revision."""
    from alembic import command  # importing it takes a tenth of a second, and there is rarely anything to migrate
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, "head")
    except CommandError as error:  # the revision recorded by alembic is unknown
        raise ValueError(error) from error
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {NEWEST}")
