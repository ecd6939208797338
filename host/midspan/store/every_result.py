"""Every result of a store in a row, for tables of them: read a few at a time, so that memory stays flat."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from midspan.store.database import Store, results_query, stored_result
from midspan.store.evaluation import StoredResult
from midspan.store.tables import ResultRow, RunRow, SupersessionRow

AT_A_TIME = 2000  # rows


@dataclass(frozen=True, slots=True)
class ResultOnRecord:
    """A result, and the number of the newest one of the run that took the place of its own; None when none did."""

    stored: StoredResult
    superseded_by: int | None


def every_result(store: Store, *, all_versions: bool) -> Iterator[ResultOnRecord]:
    """Give the newest result of each run in the order the runs were noted, or with `all_versions` all of them."""
    query = results_query()
    if not all_versions:
        query = query.where(ResultRow.id.in_(select(func.max(ResultRow.id)).group_by(ResultRow.run_id)))
    with store.transaction() as session:
        later = _superseded(session)
        for row in session.scalars(query.order_by(RunRow.id, ResultRow.id).execution_options(yield_per=AT_A_TIME)):
            yield ResultOnRecord(stored_result(row), later.get(row.run_id))


def _superseded(session: Session) -> dict[int, int]:
    """Return by the number of a run the newest result of the one that took its place."""
    newest = select(func.max(ResultRow.id)).where(ResultRow.run_id == SupersessionRow.run_id).scalar_subquery()
    query = select(SupersessionRow.superseded_id, newest).order_by(SupersessionRow.run_id.desc())
    return {row[0]: row[1] for row in session.execute(query)}
