"""Questions to a store that belong to one moment: all that is asked within the block sees the store as it is then.

What is written in the block is kept when it ends, and undone when it raises.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Self

from sqlalchemy import exists, insert, or_, select
from sqlalchemy.orm import Session, aliased

from midspan.store.database import Store
from midspan.store.evaluation import Origin
from midspan.store.tables import IdentityRow, RunRow


@dataclass(frozen=True, slots=True)
class StatedIdentity:
    """A person said that two numbers are of one shaft, or of two; `same` is None where that was taken back."""

    shaft: int
    other: int
    same: bool | None
    at_ms: int
    person: str
    words: str


class Records:
    """Labels of shafts and what people say of their numbers, within one transaction."""

    def __init__(self, session: Session) -> None:
        self._session = session

    @classmethod
    @contextmanager
    def of(cls, store: Store) -> Iterator[Self]:
        """Open the records of a store for the length of a block; raises what a transaction does."""
        with store.transaction() as session:
            yield cls(session)

    def labels(self) -> list[tuple[int, str]]:
        """Return numbers with the labels that they bear, each pair once.

        The label of an imported run says nothing of a number under which something was measured here: another shop's
        number 7 is another shaft.
        """
        here = aliased(RunRow)
        measured_here = exists().where(here.shaft == RunRow.shaft, here.origin == Origin.MEASURED.value)
        query = select(RunRow.shaft, RunRow.label).where(RunRow.label != "")
        query = query.where(or_(RunRow.origin == Origin.MEASURED.value, ~measured_here))
        return [(row.shaft, row.label) for row in self._session.execute(query.distinct())]

    def numbers_of(self, label: str) -> set[int]:
        """Return the numbers of the shafts that were measured under a label, none of an empty one."""
        query = select(RunRow.shaft).where(RunRow.label == label, RunRow.label != "")
        return set(self._session.scalars(query.distinct()))

    def is_measured(self, shaft: int) -> bool:
        """Return whether a shaft was ever measured under a number."""
        return self._session.scalars(select(RunRow.id).where(RunRow.shaft == shaft).limit(1)).first() is not None

    def stated_identities(self) -> list[StatedIdentity]:
        """Return everything people said of numbers, oldest first."""
        table = IdentityRow.__table__.c
        columns = table.shaft, table.other, table.same, table.at_ms, table.person, table.words
        rows = self._session.execute(select(*columns).order_by(table.id))
        return [StatedIdentity(*row) for row in rows]

    def state_identities(self, stated: Iterable[StatedIdentity]) -> None:
        """Keep what a person said, in this order."""
        self._session.execute(insert(IdentityRow), [asdict(each) for each in stated])
