"""The file of a database as SQLite treats it: when a change is on the disk, and when it is in the file itself."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from midspan.base.errors import StoreGone
from midspan.store.database_place import FOLD, watch

FOLD_WAIT_MS = 1000  # for somebody who reads just then


def engine_of(path: Path, wait_s: float) -> Engine:
    """Connections that write; each waits `wait_s` for another program that is writing."""
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _wait_for_the_disk)
    watch(engine, path)
    return engine


def fold_in(engine: Engine) -> None:
    """Bring all that was written into the file itself, so that a copy of it alone lacks nothing.

    Readers do not hinder it, unless one reads all the time; then it is done by whoever closes after it.
    """
    with suppress(DBAPIError, StoreGone), engine.connect() as connection:
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {FOLD_WAIT_MS}")
        connection.exec_driver_sql(FOLD)


def _wait_for_the_disk(connection: Any, _: object) -> None:
    # With a write-ahead log others can read while a batch is stored, but only FULL makes each commit wait for
    # the disk, which a power cut needs.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
