"""Read all results of a store one after another, with flat memory, for exports and tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from midspan.store.database import Store, results_query, stored_result
from midspan.store.evaluation import StoredResult
from midspan.store.measurements import is_void
from midspan.store.tables import ResultRow, RunRow, SupersessionRow

AT_A_TIME = 2000  # rows


@dataclass(frozen=True, slots=True)
class ResultOnRecord:
    """A stored result and whether a later measurement superseded it.

    Parameters
    ----------
    stored : StoredResult
        The result.
    superseded_by : int | None
        Number of the newest result of the superseding measurement, None if the result's own measurement still counts.
    void : bool
        True if a person said that the measurement does not count.
    """

    stored: StoredResult
    superseded_by: int | None
    void: bool = False


def every_result(store: Store, *, all_versions: bool) -> Iterator[ResultOnRecord]:
    """Yield results in the order their measurements were stored.

    Parameters
    ----------
    store : Store
        Open database; it stays in one transaction until the last result was taken.
    all_versions : bool
        True for every evaluation of each measurement, False for the newest alone.

    Yields
    ------
    ResultOnRecord
        A result, and what superseded it.
    """
    query = results_query()
    if not all_versions:
        query = query.where(ResultRow.id.in_(select(func.max(ResultRow.id)).group_by(ResultRow.run_id)))
    with store.transaction() as session:
        later = _superseded(session)
        void = frozenset(session.scalars(select(RunRow.id).where(is_void(RunRow.id))))
        for row in session.scalars(query.order_by(RunRow.id, ResultRow.id).execution_options(yield_per=AT_A_TIME)):
            yield ResultOnRecord(stored_result(row), later.get(row.run_id), row.run_id in void)


def _superseded(session: Session) -> dict[int, int]:
    """Return, by the number of a superseded run, the newest result of the run that superseded it."""
    newest = select(func.max(ResultRow.id)).where(ResultRow.run_id == SupersessionRow.run_id).scalar_subquery()
    query = select(SupersessionRow.superseded_id, newest).where(~is_void(SupersessionRow.run_id))
    query = query.order_by(SupersessionRow.run_id.desc())
    return {row[0]: row[1] for row in session.execute(query)}
