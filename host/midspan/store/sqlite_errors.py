"""Translate errors of SQLite into advice for a person, and into faults that a program may wait out."""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from sqlalchemy.exc import DBAPIError

from midspan.base.errors import StoreError, StoreGone
from midspan.store.upgrade import DAMAGED
from midspan.wire.records import HostFault


class _Meaning(NamedTuple):
    """Meaning of an SQLite message that contains `part`, with what to do."""

    part: str
    code: str
    words: str


_MEANINGS = (
    _Meaning("locked", "locked", "another program is using it; wait for that program, or close it"),
    _Meaning("unable to open", "cannot_open", "it cannot be opened or created; check the permissions of its folder"),
    _Meaning("readonly", "read_only", "it is read-only; check the permissions of the file and its folder"),
    _Meaning("not a database", "no_database", "it is not a database; choose another file"),
    _Meaning("malformed", "damaged", DAMAGED),
    _Meaning("Could not decode", "damaged", DAMAGED),
    _Meaning("disk", "disk", "the disk is full or failing; make room or check the disk, then try again"),
    _Meaning("in a set", "in_a_set", "a shaft can be in one set only; take it out of the other set first"),
    _Meaning("FOREIGN KEY", "no_such_row", "it has no such batch, sorting run or shaft; begin a batch or a run first"),
)
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_FULL = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR})


def refusal(error: DBAPIError | sqlite3.Error) -> StoreError:
    """Return an SQLite error as a StoreError that says what it means and what to do.

    Parameters
    ----------
    error : DBAPIError | sqlite3.Error
        Error of SQLite, also as SQLAlchemy wraps it.

    Returns
    -------
    StoreError
        Error with a code; an unknown error has SQLite's own words and no code.

    Examples
    --------
    >>> refusal(sqlite3.OperationalError("database is locked")).code
    'locked'
    """
    said = str(error.orig if isinstance(error, DBAPIError) else error)
    for meaning in _MEANINGS:
        if meaning.part in said:
            return StoreError(meaning.words, code=meaning.code)
    return StoreError(said)


def store_fault(error: StoreError) -> HostFault | None:
    """Return the fault that a store error amounts to.

    Parameters
    ----------
    error : StoreError
        Error raised by a store.

    Returns
    -------
    HostFault | None
        STORE_GONE, STORE_LOCKED or DISK_FULL; None for an error that waiting cannot cure.

    Examples
    --------
    >>> store_fault(StoreGone("results.db: the database was moved or deleted while in use")).value
    'STORE_GONE'
    """
    if isinstance(error, StoreGone):
        return HostFault.STORE_GONE
    complaint = error.__cause__.orig if isinstance(error.__cause__, DBAPIError) else None
    code = getattr(complaint, "sqlite_errorcode", 0) & 0xFF  # the primary code, without SQLite's extended part
    return HostFault.STORE_LOCKED if code in _BUSY else HostFault.DISK_FULL if code in _FULL else None
