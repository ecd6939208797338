"""Open a database to read, wherever it is, without changing anything in its folder.

SQLite reads a database with a write-ahead log only if it may create a small file beside it. On a read-only disk or in
another person's folder it may not; and a database of an older version would have to be upgraded. In both cases a
private temporary copy is read, and made again when the file has changed.
"""

from __future__ import annotations

import logging
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
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
from midspan.store.revisions import APPLICATION_ID, NEWEST
from midspan.store.upgrade import check_known, upgrade

LOG = logging.getLogger(__name__)

TRIES = 5  # to find a moment without writing
_NO_ROOM_BESIDE = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}  # no file may be created beside the database


def open_to_read(place: StorePlace, wait_s: float) -> Store:
    """Open a database to read; see `StorePlace.open_to_read`.

    Parameters
    ----------
    place : StorePlace
        Where the database is.
    wait_s : float
        How long to wait if another program has locked the file, s.

    Returns
    -------
    Store
        Open store.

    Raises
    ------
    StoreError
        The file is missing (code "missing"), is not a database of results, is damaged, or its tables are newer than
        this version.
    """
    path = place.file
    if not path.is_file():
        raise StoreError(f"{place}: no such file; give the name of your database of results", code="missing")
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
    """Connection to a temporary copy, deleted when it closes; `mark` identifies the state of the file then."""

    def of(self, path: Path, mark: object, folder: TemporaryDirectory[str]) -> _Copy:
        """Note the original file, its mark and the folder of the copy; return this connection."""
        self.path, self.mark, self._folder = path, mark, folder
        return self

    def close(self) -> None:
        """Close the connection and delete the copy."""
        super().close()
        self._folder.cleanup()


def _connected(path: Path, wait_s: float) -> sqlite3.Connection:
    """Return a connection to the file itself, or to a copy if the file cannot be read in place."""
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
    """Return a connection through which SQLite refuses to write."""
    where = f"file:{quote(str(path))}?mode=rw"  # SQLite falls back to reading where it may not write
    connection = sqlite3.connect(where, uri=True, timeout=wait_s, check_same_thread=False, factory=kind)
    connection.execute("PRAGMA query_only = ON")
    return connection


def _is_current(connection: sqlite3.Connection, path: Path) -> bool:
    """Return False for tables of an older version.

    Raises StoreError for a newer version, or for another program's database.
    """
    (program,) = connection.execute("PRAGMA application_id").fetchone()
    if program != APPLICATION_ID:
        raise StoreError(f"{path}: a database of another program; choose another file", code="other_program")
    (revision,) = connection.execute("PRAGMA user_version").fetchone()
    with _naming(path):
        check_known(revision)
    return bool(revision == NEWEST)


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Let a StoreError in the block name the database, not its copy."""
    try:
        yield
    except StoreError as error:
        error.at(str(path))
        raise


def _copied(path: Path, wait_s: float) -> _Copy:
    """Return a connection to a temporary copy with the newest tables."""
    LOG.info("%s: reading a copy: not allowed to write beside the file, or tables of an older version", path)
    folder = TemporaryDirectory(prefix="midspan-")
    copy = Path(folder.name) / path.name
    try:
        mark = _copy_whole(path, copy)
        with _naming(path):
            upgrade(copy, wait_s, backup=False)
        connection: _Copy = _opened(copy, wait_s, _Copy)
    except (MidspanError, DBAPIError, sqlite3.Error, OSError):
        folder.cleanup()
        raise
    return connection.of(path, mark, folder)


def _copy_whole(path: Path, copy: Path) -> object:
    """Copy a database with its log at a moment without writing; return the mark of the file then."""
    for _ in range(TRIES):
        mark = _mark(path)
        _copy_file(path, copy)
        _copy_file(_log(path), _log(copy))
        if _mark(path) == mark:
            return mark
    raise StoreError(
        f"{path}: cannot be copied while another program keeps writing to it; try again when that has finished"
    )


def _copy_file(path: Path, copy: Path) -> None:
    """Copy a file; a missing file leaves no copy."""
    copy.unlink(missing_ok=True)
    with suppress(FileNotFoundError), path.open("rb") as file, writing(copy, "make room there", StoreError):
        copy.touch(mode=0o600)
        with copy.open("wb") as made:
            shutil.copyfileobj(file, made)


def _log(path: Path) -> Path:
    """Return the path of a database's write-ahead log."""
    return path.with_name(f"{path.name}-wal")


def _mark(path: Path) -> object:
    """Return a value that changes whenever a database is written to."""
    found = []
    for file in (path, _log(path)):
        with suppress(FileNotFoundError):
            stat = file.stat()
            found.append((stat.st_ino, stat.st_size, stat.st_mtime_ns))
    return found


def _be_as_the_file_is(connection: object, _: object, __: object) -> None:
    """Make SQLAlchemy connect anew, to a new copy, if the original has changed."""
    if isinstance(connection, _Copy) and _mark(connection.path) != connection.mark:
        raise DisconnectionError("the file was changed since it was copied")
