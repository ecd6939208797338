"""Brings a database to the newest revision of its tables by the migrations beside this file, a copy of it made first.

A new database takes the same way from nothing. Every change of the tables is a revision in `migrations/versions`; one
that has been released is never edited again, because databases made by it exist.
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

LOG = logging.getLogger(__name__)

APPLICATION_ID = 0x4D696473  # "Mids", by which SQLite files of different programs are told apart
NEWEST = 8  # the newest revision; `user_version` of a database is the one it stands at
OLDEST = 2  # from here on databases exist; before revision 5 without a record by alembic
DAMAGED = "it is damaged; keep it, and make the results again from the archives with `midspan recompute`"
# What a migration meets in rows whose JSON is none, or says something else than any Midspan wrote.
UNREADABLE = (ValueError, TypeError, KeyError, AttributeError, RecursionError)
MIGRATIONS = Path(__file__).parent / "migrations"


def revision_of(connection: Connection) -> int | None:
    """Return the revision of a database of ours, None when the file is empty.

    Raises StoreError when another program made it.
    """
    if not connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one():
        return None
    if connection.exec_driver_sql("PRAGMA application_id").scalar_one() != APPLICATION_ID:
        raise StoreError("it is a database of another program; name another file")
    revision: int = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
    return revision


def check_known(revision: int) -> None:
    """Raise StoreError unless this Midspan can read a database of a revision, or bring it to the newest."""
    if not OLDEST <= revision <= NEWEST:
        raise StoreError(
            f"its tables are of version {revision}, this Midspan knows {OLDEST} to {NEWEST}; use the Midspan that made "
            "it, or name a new file"
        )


def upgrade(path: Path, wait_s: float, *, backup: bool = True) -> None:
    """Bring a database to the newest revision, or make it; all of it or nothing.

    One that holds something is first copied to `NAME-before-REVISION.db` beside it. `wait_s` is how long to wait for
    another program that is writing. Raises StoreError for another program's database, an unknown revision or rows that
    say nothing a migration understands, and what SQLAlchemy raises for a file that cannot be written.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), poolclass=NullPool)
    event.listen(engine, "connect", lambda raw, _: _begin_by_hand(raw, wait_s))
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA journal_mode = WAL")
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        revision = revision_of(connection)  # now that no other program can come in between
        if revision == NEWEST:
            return
        if revision is not None:
            check_known(revision)
        kept = _copy(path, revision) if revision is not None and backup else None
        LOG.info("%s: from revision %s to %d, copied before to %s", path, revision, NEWEST, kept)
        try:
            _migrate(connection)
        except UNREADABLE as error:
            if kept is not None:
                kept.unlink()  # the database is as it was; each try would leave another copy
            raise StoreError(f"it cannot be brought up to date ({error}): {DAMAGED}") from error
        connection.exec_driver_sql("COMMIT")


def only_grows(connection: Connection, *tables: str) -> None:
    """Let the database itself refuse to change or delete rows of tables, whatever program tries."""
    for table in tables:
        for action in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER IF NOT EXISTS {table}_no_{action.lower()} BEFORE {action} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'rows of {table} are never changed or deleted'); END"
            )


@contextmanager
def may_change(connection: Connection, *tables: str) -> Iterator[None]:
    """Let a migration fill new columns of rows that otherwise never change."""
    for table in tables:
        connection.exec_driver_sql(f"DROP TRIGGER {table}_no_update")
    yield
    only_grows(connection, *tables)


def _begin_by_hand(raw: sqlite3.Connection, wait_s: float) -> None:
    # Python's sqlite3 would begin a transaction late and leave changes of tables outside it.
    raw.isolation_level = None
    raw.execute(f"PRAGMA busy_timeout = {round(1000 * wait_s)}")
    raw.execute("PRAGMA synchronous = FULL")


def _copy(path: Path, revision: int) -> Path:
    """Keep the database as it is, under a name that nothing has yet, which is returned; whole when it bears that."""
    names = (path.with_name(f"{path.stem}-before-{NEWEST}{more}{path.suffix}") for more in ("", *_numbered()))
    copy = next(name for name in names if not name.exists())
    part = copy.with_name(copy.name + ".part")
    part.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(path)) as old, closing(sqlite3.connect(part)) as new:
            old.backup(new)
            whole = new.execute("PRAGMA user_version").fetchone()[0] == revision
    except sqlite3.Error as error:
        raise StoreError(f"{part}: no copy could be made before the upgrade ({error}); look at the disk") from error
    if not whole:
        raise StoreError(f"{part}: the copy made before the upgrade is not what was copied; look at the disk")
    with part.open("rb") as file:
        os.fsync(file.fileno())
    return part.rename(copy)


def _numbered() -> list[str]:
    return [f"-{number}" for number in range(2, 1000)]


def _migrate(connection: Connection) -> None:
    from alembic import command  # costs a tenth of a second, and nearly always there is nothing to migrate
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, "head")
    except CommandError as error:  # what stands there for a revision is none of ours
        raise ValueError(error) from error
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {NEWEST}")
