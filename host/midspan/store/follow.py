"""Follow a store while another program writes it, and ask that program to stop.

A stop request is addressed to the program that sorts when it is made; a run that is resumed later ignores it.
"""

from __future__ import annotations

from sqlalchemy import case, exists, func, select
from sqlalchemy.orm import aliased

from midspan.store.database import Store
from midspan.store.tables import EventRow, NightRow, StepRow, StopRequestRow, SuspectRow, TransitRow
from midspan.store.transit import ENDS, TransitStage
from midspan.wire.records import FaultCode

WENT = [stage.value for stage in ENDS - {TransitStage.NO_SHAFT}]


def newest_rows(store: Store) -> tuple[int | None, ...]:
    """Return numbers that change whenever a run adds anything; cheap enough for many calls a second.

    Parameters
    ----------
    store : Store
        Open database.

    Returns
    -------
    tuple[int | None, ...]
        Highest numbers of the tables of a run, None for an empty table; compare them as a whole.
    """
    tables = (TransitRow.id, StepRow.id, EventRow.id, NightRow.id, StopRequestRow.id)
    columns = [select(func.max(number)).scalar_subquery() for number in tables]
    with store.transaction() as session:
        row = session.execute(select(*columns, select(func.count(SuspectRow.check_id)).scalar_subquery())).one()
    return tuple(row)


def newest_night(store: Store) -> int | None:
    """Return the number of the newest sorting run.

    Parameters
    ----------
    store : Store
        Open database.

    Returns
    -------
    int | None
        Number of the run, None before the first.
    """
    with store.transaction() as session:
        return session.scalar(select(func.max(NightRow.id)).where(NightRow.attended.is_(False)))


def gone_through(store: Store, night: int) -> int:
    """Return how many stock shafts have passed through the gauge in a sorting run.

    Parameters
    ----------
    store : Store
        Open database.
    night : int
        Number of the sorting run.

    Returns
    -------
    int
        Number of shafts, without check standards; two that fell together count as two.
    """
    unfit = aliased(StepRow)
    lay_there = case(
        (exists().where(unfit.passage_id == TransitRow.id, unfit.words == FaultCode.TWO_SHAFTS.name), 2), else_=1
    )
    fell = func.sum(func.max(lay_there, func.coalesce(StepRow.passed, 0)))
    query = (
        select(fell)
        .join(TransitRow, TransitRow.id == StepRow.passage_id)
        .where(TransitRow.night_id == night, TransitRow.standard.is_(None), StepRow.stage.in_(WENT))
    )
    with store.transaction() as session:
        return session.scalar(query) or 0


def request_stop(store: Store, night: int, at_ms: int) -> None:
    """Ask the sorting program to end a run after the shaft in hand.

    Parameters
    ----------
    store : Store
        Database opened to write.
    night : int
        Number of the sorting run.
    at_ms : int
        Time of the request, UTC in ms since 1970.
    """
    with store.transaction() as session:
        session.add(StopRequestRow(night_id=night, at_ms=at_ms))


def newest_stop_request(store: Store, night: int) -> int:
    """Return the number of the newest request to stop a run.

    Parameters
    ----------
    store : Store
        Open database.
    night : int
        Number of the sorting run.

    Returns
    -------
    int
        Number of the request, 0 if there is none.
    """
    with store.transaction() as session:
        return session.scalar(select(func.max(StopRequestRow.id)).where(StopRequestRow.night_id == night)) or 0


def stop_requested_ms(store: Store, night: int) -> int | None:
    """Return when a stop was last requested.

    Parameters
    ----------
    store : Store
        Open database.
    night : int
        Number of the sorting run.

    Returns
    -------
    int | None
        UTC in ms since 1970, None if no stop was requested.
    """
    with store.transaction() as session:
        return session.scalar(select(func.max(StopRequestRow.at_ms)).where(StopRequestRow.night_id == night))
