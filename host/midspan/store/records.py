"""Ask a store several questions in one transaction, so that all answers belong to the same moment.

What is written in the block is committed at its end, and rolled back if it raises.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Self

from sqlalchemy import exists, func, insert, or_, select
from sqlalchemy.orm import Session, aliased

from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.evaluation import Origin
from midspan.store.measurements import bears, is_void
from midspan.store.tables import DetailRow, IdentityRow, RunRow, TransitRow


@dataclass(frozen=True, slots=True)
class StatedIdentity:
    """Statement of a person that two numbers belong to the same shaft, or to different shafts.

    Parameters
    ----------
    shaft : int
        First number.
    other : int
        Second number.
    same : bool | None
        True for the same shaft, False for different shafts, None if an earlier statement is withdrawn.
    at_ms : int
        When it was said, UTC in ms since 1970.
    person : str
        Who said it.
    words : str
        Reason.
    """

    shaft: int
    other: int
    same: bool | None
    at_ms: int
    person: str
    words: str


@dataclass(frozen=True, slots=True)
class MeasuredRun:
    """A measurement without its result.

    Parameters
    ----------
    run : int
        Number of the measurement.
    shaft : int
        Number of the shaft.
    label : str
        What the shaft is called now; may be empty.
    batch : int
        Number of the batch.
    void : bool
        True if a person said that it does not count.
    """

    run: int
    shaft: int
    label: str
    batch: int
    void: bool


class Records:
    """Labels of shafts and statements about their numbers, within one transaction.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    """

    def __init__(self, session: Session) -> None:
        self._session = session

    @property
    def session(self) -> Session:
        """Session of the transaction, for what else belongs into it."""
        return self._session

    @classmethod
    @contextmanager
    def of(cls, store: Store) -> Iterator[Self]:
        """Open the records of a store for a block.

        Parameters
        ----------
        store : Store
            Open database.

        Yields
        ------
        Self
            Records within a transaction.

        Raises
        ------
        StoreError
            As `Store.transaction`.
        """
        with store.transaction() as session:
            yield cls(session)

    def labels(self) -> list[tuple[int, str]]:
        """Return the labels of all numbers, each pair once.

        The label of an imported run is left out if this database measured a shaft under the same number: another
        shop's number 7 is another shaft. So is that of a void measurement, which may have been of another shaft.

        Returns
        -------
        list[tuple[int, str]]
            Number and label.
        """
        here = aliased(RunRow)
        measured_here = exists().where(here.shaft == RunRow.shaft, here.origin == Origin.MEASURED.value)
        query = select(RunRow.shaft, RunRow.label).where(RunRow.label != "", ~is_void(RunRow.id))
        query = query.where(or_(RunRow.origin == Origin.MEASURED.value, ~measured_here))
        return [(row.shaft, row.label) for row in self._session.execute(query.distinct())]

    def numbers_of(self, label: str) -> set[int]:
        """Return the numbers of the shafts that bear a label.

        Parameters
        ----------
        label : str
            Label, in this spelling.

        Returns
        -------
        set[int]
            Numbers; empty for an empty or unknown label.
        """
        query = select(RunRow.shaft).where(bears(label), RunRow.label != "", ~is_void(RunRow.id))
        return set(self._session.scalars(query.distinct()))

    def numbers_like(self, label: str) -> set[int]:
        """Return the numbers of the shafts that bear a label in another spelling of capitals.

        Parameters
        ----------
        label : str
            Label.

        Returns
        -------
        set[int]
            Numbers, empty for an unknown label.
        """
        wanted = label.casefold()
        return {shaft for shaft, known in self.labels() if known.casefold() == wanted}

    def numbers_before(self, label: str) -> set[int]:
        """Return the number of the shaft that bore a label last and bears another now.

        Parameters
        ----------
        label : str
            Label.

        Returns
        -------
        set[int]
            One number, or none for an unknown label.
        """
        said = select(DetailRow.shaft, DetailRow.at_ms).where(
            DetailRow.kind == DetailKind.LABEL.value, DetailRow.value == label
        )
        measured = select(RunRow.shaft, RunRow.started_ms).where(RunRow.own_label == label, ~is_void(RunRow.id))
        rows = [*self._session.execute(said), *self._session.execute(measured)] if label else []
        return {max(rows, key=lambda row: (row[1], row[0]))[0]} if rows else set()

    def is_measured(self, shaft: int) -> bool:
        """Return True if a number was ever measured.

        Parameters
        ----------
        shaft : int
            Number of a shaft.

        Returns
        -------
        bool
            False for an unknown number.
        """
        return self._session.scalars(select(RunRow.id).where(RunRow.shaft == shaft).limit(1)).first() is not None

    def highest_number(self) -> int:
        """Return the highest number that any shaft has here.

        Returns
        -------
        int
            The number, 0 in an empty store.
        """
        highest = [self._session.scalar(select(func.max(column))) or 0 for column in (RunRow.shaft, TransitRow.id)]
        return max(highest)

    def own_labels(self, shafts: Collection[int]) -> list[str]:
        """Return the labels that shafts were measured under, whatever they are called now.

        Parameters
        ----------
        shafts : Collection[int]
            Numbers of shafts.

        Returns
        -------
        list[str]
            Labels in the order of the measurements, each once.
        """
        query = select(RunRow.own_label).where(RunRow.shaft.in_(shafts), RunRow.own_label != "").order_by(RunRow.id)
        return list(dict.fromkeys(self._session.scalars(query)))

    def every_run(self) -> list[MeasuredRun]:
        """Return every measurement without its result, in the order they were stored.

        Returns
        -------
        list[MeasuredRun]
            Measurements, void ones included.
        """
        query = select(RunRow.id, RunRow.shaft, RunRow.label, RunRow.batch_id, is_void(RunRow.id)).order_by(RunRow.id)
        return [
            MeasuredRun(run, shaft, label, batch, bool(void))
            for run, shaft, label, batch, void in self._session.execute(query)
        ]

    def stated_identities(self) -> list[StatedIdentity]:
        """Return all statements about numbers, oldest first.

        Returns
        -------
        list[StatedIdentity]
            Statements, empty if there are none.
        """
        table = IdentityRow.__table__.c
        columns = table.shaft, table.other, table.same, table.at_ms, table.person, table.words
        rows = self._session.execute(select(*columns).order_by(table.id))
        return [StatedIdentity(*row) for row in rows]

    def state_identities(self, stated: Iterable[StatedIdentity]) -> None:
        """Store statements about numbers in this order.

        Parameters
        ----------
        stated : Iterable[StatedIdentity]
            Statements.
        """
        self._session.execute(insert(IdentityRow), [asdict(statement) for statement in stated])
