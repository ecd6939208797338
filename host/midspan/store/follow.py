"""What somebody asks who follows a store that another program writes, and the request to stop that he may leave there.

A request is for whoever sorts when it is made: a night that goes on later was told to go on by somebody who knew of it.
"""

from __future__ import annotations

from sqlalchemy import case, func, select

from midspan.store.database import Store
from midspan.store.tables import EventRow, NightRow, StepRow, StopRequestRow, SuspectRow, TransitRow
from midspan.store.transit import ENDS, TransitStage

WENT = [stage.value for stage in ENDS - {TransitStage.NO_SHAFT}]


def newest_rows(store: Store) -> tuple[int | None, ...]:
    """Return numbers that are others whenever something of a night is new; cheap enough for many times a second."""
    tables = (TransitRow.id, StepRow.id, EventRow.id, NightRow.id, StopRequestRow.id)
    columns = [select(func.max(number)).scalar_subquery() for number in tables]
    with store.transaction() as session:
        row = session.execute(select(*columns, select(func.count(SuspectRow.check_id)).scalar_subquery())).one()
    return tuple(row)


def newest_night(store: Store) -> int | None:
    """Return the number of the night that was begun last, None before the first."""
    with store.transaction() as session:
        return session.scalar(select(func.max(NightRow.id)))


def gone_through(store: Store, night: int) -> int:
    """Return how many shafts of the stock went through the gauge in a night; where two fell at once, both."""
    fell = func.sum(case((StepRow.passed > 1, StepRow.passed), else_=1))
    query = (
        select(fell)
        .join(TransitRow, TransitRow.id == StepRow.passage_id)
        .where(TransitRow.night_id == night, TransitRow.standard.is_(None), StepRow.stage.in_(WENT))
    )
    with store.transaction() as session:
        return session.scalar(query) or 0


def request_stop(store: Store, night: int, at_ms: int) -> None:
    """Ask the program that sorts to end a night after the shaft in hand."""
    with store.transaction() as session:
        session.add(StopRequestRow(night_id=night, at_ms=at_ms))


def newest_stop_request(store: Store, night: int) -> int:
    """Return the number of the newest request to stop a night, 0 when there is none."""
    with store.transaction() as session:
        return session.scalar(select(func.max(StopRequestRow.id)).where(StopRequestRow.night_id == night)) or 0


def stop_requested_ms(store: Store, night: int) -> int | None:
    """Return when somebody last asked a night to stop, None when nobody did."""
    with store.transaction() as session:
        return session.scalar(select(func.max(StopRequestRow.at_ms)).where(StopRequestRow.night_id == night))
