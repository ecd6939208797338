"""Keep changes on the disk, and notice when the file of an open database was moved, replaced or deleted.

SQLite goes on writing into a file that was moved or deleted, where nobody would find the results. So the name is
looked up before each transaction. What was stored can still be read through the open file and is saved beside the old
name.

SQLite finds a write-ahead log by name alone: it applies the log to any database of that name, or discards it beside
an empty file. So the name is also looked up before a file is opened, and the log is folded into the file it belongs
to, wherever that file is now.
"""

from __future__ import annotations

import logging
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from midspan.base.errors import StoreGone
from midspan.base.files import unused

LOG = logging.getLogger(__name__)

Identity = tuple[int, int]  # device and inode
FOLD = "PRAGMA wal_checkpoint(TRUNCATE)"
FOLD_WAIT_MS = 1000  # for a program that is reading


def engine_of(path: Path, wait_s: float) -> Engine:
    """Return an engine whose connections write to a database file.

    Parameters
    ----------
    path : Path
        Database file, made by the first transaction if missing.
    wait_s : float
        Longest wait of a transaction for another writing program, s.

    Returns
    -------
    Engine
        SQLAlchemy engine; its transactions raise StoreGone if the file is moved, replaced or deleted.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _wait_for_the_disk)
    _watch(engine, path)
    return engine


def fold_in(engine: Engine) -> None:
    """Write the write-ahead log into the database file, so that a copy of the file alone is complete.

    Readers do not hinder this unless one of them reads without a pause; then the next program to close the file does
    it.

    Parameters
    ----------
    engine : Engine
        Engine made by `engine_of`.
    """
    with suppress(DBAPIError, StoreGone), engine.connect() as connection:
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {FOLD_WAIT_MS}")
        connection.exec_driver_sql(FOLD)


def _wait_for_the_disk(connection: Any, _: object) -> None:
    # With a write-ahead log only FULL makes each commit wait for the disk, as a power cut requires.
    """Make each commit of a connection wait for the disk, and check references between rows."""
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")


def _watch(engine: Engine, path: Path) -> None:
    """Make every transaction of an engine raise StoreGone once its name belongs to another file or to no file."""
    file = _NamedFile(path)
    event.listen(engine, "do_connect", file.check_name)
    event.listen(engine, "begin", file.check)


class _NamedFile:
    """File that an engine opened under a name."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: Identity | None = None
        self._saved = ""

    def check_name(self, *_: object) -> None:
        """Raise StoreGone before SQLite creates an empty file of this name or opens another file."""
        found = _identity(self._path)
        if self._known is not None and found != self._known:
            raise self._gone(found)

    def check(self, connection: Connection) -> None:
        """Raise StoreGone if the name no longer belongs to the file opened; save its content first, once."""
        found = _identity(self._path)
        opened = connection.info.setdefault("file", found)  # `info` lasts as long as the file is open
        if self._known is None:  # a new database gets its file in its first transaction
            self._known = connection.info["file"] = found
        if found == self._known:
            return
        if not self._saved and opened == self._known:
            file: Any = connection.connection.driver_connection
            self._saved = self._save(file)
            with suppress(sqlite3.Error):  # the saved copy is complete without it
                file.execute(FOLD)
        raise self._gone(found)

    def _gone(self, found: Identity | None) -> StoreGone:
        """Return the error to raise, with where the content was saved."""
        LOG.error("%s is no longer the file that was opened", self._path)
        what = "moved or deleted" if found is None else "replaced by another file"
        return StoreGone(f"{self._path}: the database was {what} while in use; put it back, then resume{self._saved}")

    def _save(self, opened: Any) -> str:
        """Save the content of an open file beside its old name and return a sentence about it."""
        copy = unused(self._path, "saved")
        try:
            with closing(sqlite3.connect(copy)) as target:
                opened.backup(target)
        except sqlite3.Error as error:
            with suppress(OSError):
                copy.unlink(missing_ok=True)
            return f". Its results could not be saved beside it ({error})"
        return f". Its results are saved in {copy}, which can replace it"


def _identity(path: Path) -> Identity | None:
    """Return device and inode of a file, or None if it is missing."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
