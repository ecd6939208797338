"""Open a database to write: create it if missing, and upgrade its tables."""

from __future__ import annotations

import sqlite3

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from midspan.base.errors import StoreError
from midspan.store.database import Store
from midspan.store.database_file import engine_of
from midspan.store.place import StorePlace
from midspan.store.revisions import NEWEST
from midspan.store.sqlite_errors import refusal
from midspan.store.upgrade import DAMAGED, check_known, revision_of, upgrade


def open_to_write(place: StorePlace, *, create: bool, wait_s: float) -> Store:
    """Open a database to write; see `StorePlace.open`.

    Parameters
    ----------
    place : StorePlace
        Where the database is.
    create : bool
        True to create a missing database.
    wait_s : float
        How long to wait if another program is writing, s.

    Returns
    -------
    Store
        Open store.

    Raises
    ------
    StoreError
        The file is missing and `create` is False (code "missing"), is not a database of results, is damaged, or its
        tables are newer than this version.
    """
    if not create and not place.file.is_file():
        raise StoreError(f"{place}: no such file; give the name of your database of results", code="missing")
    engine = engine_of(place.file, wait_s)
    try:
        if _revision(engine) != NEWEST:
            engine.dispose()
            _upgrade(place, wait_s)
    except StoreError as error:
        engine.dispose()
        error.at(str(place))
        raise
    return Store(place, engine, folds=True)


def _revision(engine: Engine) -> int | None:
    """Return the revision of the tables, None for an empty file.

    Raises StoreError for an unknown revision or a file that is not a database.
    """
    try:
        with Session(engine) as session:
            revision = revision_of(session.connection())
    except DBAPIError as error:
        raise refusal(error) from error
    except UnicodeDecodeError as error:
        raise StoreError(DAMAGED, code="damaged") from error
    if revision is not None:
        check_known(revision)
    return revision


def _upgrade(place: StorePlace, wait_s: float) -> None:
    """Upgrade the tables; every failure becomes a StoreError."""
    try:
        upgrade(place.file, wait_s)
    except (DBAPIError, sqlite3.Error) as error:
        raise refusal(error) from error
    except OSError as error:  # from the copy made before the upgrade
        raise StoreError(f"cannot be copied before its upgrade ({error.strerror}); make room on the disk") from error
