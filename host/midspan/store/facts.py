"""List size, revision and row counts of a database file, without any content, for a diagnosis."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from midspan.base.errors import StoreError
from midspan.store.revisions import APPLICATION_ID, NEWEST
from midspan.store.tables import Table

WAIT_S = 2.0


@dataclass(frozen=True, slots=True)
class DatabaseVersion:
    """Revision of a database's tables, and how many measurements it has.

    Parameters
    ----------
    revision : int
        Revision of its tables.
    runs : int
        Number of measurements.
    """

    revision: int
    runs: int


def version_of(path: Path) -> DatabaseVersion:
    """Return revision and number of measurements of a database file, which is only read.

    Parameters
    ----------
    path : Path
        Database file.

    Returns
    -------
    DatabaseVersion
        What the file says.

    Raises
    ------
    StoreError
        The file cannot be read as a database of results.
    """
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, timeout=WAIT_S)) as connection:
            (program,) = connection.execute("PRAGMA application_id").fetchone()
            if program != APPLICATION_ID:
                raise StoreError(f"{path}: a database of another program; choose another file", code="other_program")
            (revision,) = connection.execute("PRAGMA user_version").fetchone()
            (runs,) = connection.execute("SELECT count(*) FROM runs").fetchone()
    except sqlite3.Error as error:
        raise StoreError(f"{path}: cannot be read as a database ({error}); check name and permissions") from error
    return DatabaseVersion(revision, runs)


def facts_of(path: Path) -> Iterator[tuple[str, int | str]]:
    """Yield facts of a database file by name: size, program, revision and the number of rows of each table.

    Parameters
    ----------
    path : Path
        Database file, which may be damaged.

    Yields
    ------
    tuple[str, int | str]
        Name and value; for a table that cannot be read, the reason instead of its row count.

    Raises
    ------
    StoreError
        The file cannot be opened as a database.
    """
    try:
        yield "size in bytes", path.stat().st_size
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, timeout=WAIT_S)) as connection:
            yield from _facts(connection)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{path}: cannot be read as a database ({error}); check name and permissions") from error


def _facts(connection: sqlite3.Connection) -> Iterator[tuple[str, int | str]]:
    """Yield program, revision and row counts by name."""
    (program,) = connection.execute("PRAGMA application_id").fetchone()
    yield "made by", "Midspan" if program == APPLICATION_ID else "another program"
    (revision,) = connection.execute("PRAGMA user_version").fetchone()
    yield f"revision (newest known: {NEWEST})", revision
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    for name in Table.metadata.tables:
        if name in there:
            yield f"rows of {name}", _rows(connection, name)


def _rows(connection: sqlite3.Connection, table: str) -> int | str:
    """Return the number of rows of a table, or a text if it cannot be read."""
    try:
        (number,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
    except sqlite3.Error as error:
        return f"unreadable ({type(error).__name__})"
    return int(number)
