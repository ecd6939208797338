"""What a complaint of SQLite means: to a person, and to a program that may wait until it is over."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError

from midspan.base.errors import StoreError, StoreGone
from midspan.store.upgrade import DAMAGED
from midspan.wire.records import HostFault

# What SQLite says, and what it means to a person.
_MEANINGS = {
    "locked": "another program is using it; wait for that one, or close it",
    "unable to open": "it cannot be opened or made; check the folder and your rights in it",
    "readonly": "it may only be read; check the rights of the file and its folder",
    "not a database": "it is no database; name another file",
    "malformed": DAMAGED,
    "Could not decode": DAMAGED,
    "disk": "the disk is full or fails; make room, or look at it, and try again",
    "in a set": "a shaft can be in one set only; take it out of the other first",
    "FOREIGN KEY": "there is no such batch, run of sorting or shaft in it; begin one first",
}
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_FULL = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR})


def in_words(error: DBAPIError | sqlite3.Error) -> str:
    """Return what a complaint of SQLite means to a person."""
    said = str(error.orig if isinstance(error, DBAPIError) else error)
    return next((text for word, text in _MEANINGS.items() if word in said), said)


def store_fault(error: StoreError) -> HostFault | None:
    """Return the fault that an error of a store is; None when it is none of those that may pass.

    >>> store_fault(StoreGone("results.db: it is not there any more")).value
    'STORE_GONE'
    """
    if isinstance(error, StoreGone):
        return HostFault.STORE_GONE
    complaint = error.__cause__.orig if isinstance(error.__cause__, DBAPIError) else None
    code = getattr(complaint, "sqlite_errorcode", 0) & 0xFF  # without what SQLite calls the extension
    return HostFault.STORE_LOCKED if code in _BUSY else HostFault.DISK_FULL if code in _FULL else None
