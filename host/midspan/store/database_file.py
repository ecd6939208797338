"""The file of a database: when a change is on the disk and in the file itself, and if it is still the one of its name.

SQLite writes on into a file that was moved or deleted, and nobody would ever read it. So before each transaction the
name is looked up again. What was stored can still be read through the open file: it is saved beside the name.

SQLite knows a write-ahead log by its name alone: it plays it into whatever database stands beside it, or throws it away
beside an empty one. So the name is also looked up before a file is opened, and the log is folded into the file that it
belongs to, wherever that is now.
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
FOLD_WAIT_MS = 1000  # for somebody who reads just then


def engine_of(path: Path, wait_s: float) -> Engine:
    """Connections that write; each waits `wait_s` for another program that is writing."""
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": wait_s})
    event.listen(engine, "connect", _wait_for_the_disk)
    _watch(engine, path)
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


def _watch(engine: Engine, path: Path) -> None:
    """Let every transaction of an engine raise StoreGone when the file of its name is no longer the one it opened."""
    file = _NamedFile(path)
    event.listen(engine, "do_connect", file.check_name)
    event.listen(engine, "begin", file.check)


class _NamedFile:
    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: Identity | None = None
        self._saved = ""

    def check_name(self, *_: object) -> None:
        """Raise StoreGone before SQLite makes an empty file of the name, or opens another one."""
        found = _identity(self._path)
        if self._known is not None and found != self._known:
            raise self._gone(found)

    def check(self, connection: Connection) -> None:
        found = _identity(self._path)
        opened = connection.info.setdefault("file", found)  # the info lives as long as the open file
        if self._known is None:  # a new database gets its file in its first transaction
            self._known = connection.info["file"] = found
        if found == self._known:
            return
        if not self._saved and opened == self._known:
            file: Any = connection.connection.driver_connection
            self._saved = self._save(file)
            with suppress(sqlite3.Error):  # what was saved has it all
                file.execute(FOLD)
        raise self._gone(found)

    def _gone(self, found: Identity | None) -> StoreGone:
        LOG.error("%s is no longer the file that was opened", self._path)
        what = "it is not there any more" if found is None else "another file took its place"
        return StoreGone(f"{self._path}: the database was in use, and {what}; put it back, then go on{self._saved}")

    def _save(self, opened: Any) -> str:
        copy = unused(self._path, "saved")
        try:
            with closing(sqlite3.connect(copy)) as target:
                opened.backup(target)
        except sqlite3.Error as error:
            with suppress(OSError):
                copy.unlink(missing_ok=True)
            return f". What was stored could not be saved beside it ({error})"
        return f". What was stored so far is saved in {copy}, which can take its place"


def _identity(path: Path) -> Identity | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
