"""A database of results opened to be read, wherever it lies: nothing in its folder is changed.

SQLite reads a database with a write-ahead log only where it may make a small file beside it. Where it may not (a
read-only disk, another person's folder), and for a database of an older version, whose tables only a writer may bring
up to date, a copy for this program alone is read. It is made anew when the file was changed.
"""

from __future__ import annotations

import logging
import shutil
import sqlite3
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, create_engine, event
from sqlalchemy.exc import DBAPIError, DisconnectionError

from midspan.base.errors import MidspanError, StoreError
from midspan.base.files import writing
from midspan.store.database import Store
from midspan.store.place import StorePlace
from midspan.store.upgrade import APPLICATION_ID, NEWEST, check_known, upgrade

LOG = logging.getLogger(__name__)

TRIES = 5  # to copy a file while nobody writes to it
_NO_ROOM_BESIDE = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}  # for the file that readers of a log share


def open_to_read(place: StorePlace, wait_s: float) -> Store:
    """Open a store as `StorePlace.open_to_read` says."""
    path = place.file
    if not path.is_file():
        raise StoreError(f"{place}: there is no such file; name the database of your results")
    engine = create_engine(URL.create("sqlite", database=str(path)), creator=lambda: _connected(path, wait_s))
    event.listen(engine, "checkout", _be_as_the_file_is)
    store = Store(place, engine, folds=False)
    try:
        with store.transaction() as session:
            session.connection()
    except StoreError:
        store.close()
        raise
    return store


class _Copy(sqlite3.Connection):
    """A connection to a copy, which goes when it is closed; `mark` is that of the file when it was copied."""

    def of(self, path: Path, mark: object, folder: TemporaryDirectory[str]) -> _Copy:
        self.path, self.mark, self._folder = path, mark, folder
        return self

    def close(self) -> None:
        super().close()
        self._folder.cleanup()


def _connected(path: Path, wait_s: float) -> sqlite3.Connection:
    connection: sqlite3.Connection = _opened(path, wait_s, sqlite3.Connection)
    try:
        if _is_current(connection, path):
            return connection
    except (sqlite3.Error, StoreError) as error:
        if not isinstance(error, sqlite3.Error) or error.sqlite_errorcode & 0xFF not in _NO_ROOM_BESIDE:
            connection.close()
            raise
    connection.close()
    return _copied(path, wait_s)


def _opened(path: Path, wait_s: float, kind: type[sqlite3.Connection]) -> Any:
    where = f"file:{quote(str(path))}?mode=rw"  # which reads only where it may not write
    connection = sqlite3.connect(where, uri=True, timeout=wait_s, check_same_thread=False, factory=kind)
    connection.execute("PRAGMA query_only = ON")
    return connection


def _is_current(connection: sqlite3.Connection, path: Path) -> bool:
    """False for an older version; StoreError for a newer one, and when it is another program's."""
    (program,) = connection.execute("PRAGMA application_id").fetchone()
    if program != APPLICATION_ID:
        raise StoreError(f"{path}: it is a database of another program; name another file")
    (revision,) = connection.execute("PRAGMA user_version").fetchone()
    try:
        check_known(revision)
    except StoreError as error:
        error.at(str(path))
        raise
    return bool(revision == NEWEST)


def _copied(path: Path, wait_s: float) -> _Copy:
    LOG.info("%s: a copy is read, for want of rights beside it or as it is of an older version", path)
    folder = TemporaryDirectory(prefix="midspan-")
    copy = Path(folder.name) / path.name
    try:
        mark = _copy_whole(path, copy)
        upgrade(copy, wait_s, backup=False)
        connection: _Copy = _opened(copy, wait_s, _Copy)
    except (MidspanError, DBAPIError, sqlite3.Error, OSError):
        folder.cleanup()
        raise
    return connection.of(path, mark, folder)


def _copy_whole(path: Path, copy: Path) -> object:
    """Copy a database with its log while nobody writes to it; its mark then."""
    for _ in range(TRIES):
        mark = _mark(path)
        _copy_file(path, copy)
        _copy_file(_log(path), _log(copy))
        if _mark(path) == mark:
            return mark
    raise StoreError(f"{path}: it is written to all the time, and cannot be read where nothing may be made beside it")


def _copy_file(path: Path, copy: Path) -> None:
    """A copy of a file, or none when there is none."""
    copy.unlink(missing_ok=True)
    with suppress(FileNotFoundError), path.open("rb") as file, writing(copy, "make room there", StoreError):
        copy.touch(mode=0o600)
        with copy.open("wb") as made:
            shutil.copyfileobj(file, made)


def _log(path: Path) -> Path:
    """What is not folded into a database yet."""
    return path.with_name(f"{path.name}-wal")


def _mark(path: Path) -> object:
    """What is another whenever a database was written to."""
    found = []
    for one in (path, _log(path)):
        with suppress(FileNotFoundError):
            stat = one.stat()
            found.append((stat.st_ino, stat.st_size, stat.st_mtime_ns))
    return found


def _be_as_the_file_is(connection: object, _: object, __: object) -> None:
    if isinstance(connection, _Copy) and _mark(connection.path) != connection.mark:
        raise DisconnectionError("the file was changed since it was copied")
