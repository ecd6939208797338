"""Store matched sets, weights and marks of shafts; rows are added, never changed."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from sqlalchemy import insert, select

from midspan.store.detail_kinds import SetDetailKind
from midspan.store.records import Records
from midspan.store.tables import LeavingRow, MarkRow, MemberRow, SetDetailRow, SetRow, WeightRow


@dataclass(frozen=True, slots=True)
class Member:
    """Shaft in a set, at present or in the past.

    Parameters
    ----------
    id : int
        Number of the membership.
    shaft : int
        Number of the shaft.
    result : int
        Number of the result by which it was chosen.
    joined_ms : int
        When it joined, UTC in ms since 1970.
    left : str | None
        Reason for leaving the set, None while the shaft is in it.
    """

    id: int
    shaft: int
    result: int
    joined_ms: int
    left: str | None = None


@dataclass(frozen=True, slots=True)
class SetRecord:
    """Matched set as it is stored.

    Parameters
    ----------
    id : int
        Number of the set.
    name : str
        Name.
    made_ms : int
        When it was made, UTC in ms since 1970.
    limits : str
        Limits that were asked for, as JSON.
    like : int | None
        Number of the set that it was matched to, None for a set of its own.
    """

    id: int
    name: str
    made_ms: int
    limits: str
    like: int | None


@dataclass(frozen=True, slots=True)
class WeightRecord:
    """Weight of a shaft.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    weight_g : float
        Weight, g.
    u_weight_g : float
        Its standard uncertainty, g.
    """

    shaft: int
    weight_g: float
    u_weight_g: float


@dataclass(frozen=True, slots=True)
class SaidOfSet:
    """What a person said of a set.

    Parameters
    ----------
    set : int
        Number of the set.
    kind : SetDetailKind
        What about.
    value : str | None
        What was said, None if it was taken back.
    person : str
        Who said it, empty where unknown.
    at_ms : int
        When it was said, UTC in ms since 1970.
    """

    set: int
    kind: SetDetailKind
    value: str | None
    person: str
    at_ms: int


class SetRecords(Records):
    """Sets, what was said of them, weights and marks within one transaction."""

    def sets(self) -> list[SetRecord]:
        """Return every set, oldest first.

        Returns
        -------
        list[SetRecord]
            Sets, empty if there are none.
        """
        rows = self._session.scalars(select(SetRow).order_by(SetRow.id))
        return [SetRecord(row.id, row.name, row.made_ms, row.limits, row.like_id) for row in rows]

    def members(self) -> dict[int, list[Member]]:
        """Return all past and present members in the order they joined.

        Returns
        -------
        dict[int, list[Member]]
            Members by the number of the set.
        """
        query = select(MemberRow, LeavingRow.words).outerjoin(LeavingRow, LeavingRow.member_id == MemberRow.id)
        found: dict[int, list[Member]] = {}
        for row, left in self._session.execute(query.order_by(MemberRow.id)):
            found.setdefault(row.set_id, []).append(Member(row.id, row.shaft, row.result_id, row.joined_ms, left))
        return found

    def said(self) -> list[SaidOfSet]:
        """Return everything that was said of sets, oldest first.

        Returns
        -------
        list[SaidOfSet]
            Statements, empty if there are none.
        """
        table = SetDetailRow.__table__.c
        rows = self._session.execute(
            select(table.set_id, table.kind, table.value, table.person, table.at_ms).order_by(table.id)
        )
        return [SaidOfSet(number, SetDetailKind(kind), *more) for number, kind, *more in rows]

    def say(self, said: SaidOfSet) -> None:
        """Add a statement about a set.

        Parameters
        ----------
        said : SaidOfSet
            The statement.
        """
        values = {"set_id": said.set, "kind": said.kind.value, "value": said.value}
        self._session.execute(insert(SetDetailRow).values(**values, person=said.person, at_ms=said.at_ms))

    def named(self, names: Collection[str]) -> dict[str, frozenset[int]]:
        """Return which sets have or had names.

        Parameters
        ----------
        names : Collection[str]
            Names to look up.

        Returns
        -------
        dict[str, frozenset[int]]
            Numbers of the sets by name; a name that no set ever had is missing.
        """
        renamed = select(SetDetailRow.value, SetDetailRow.set_id).where(SetDetailRow.kind == SetDetailKind.NAME.value)
        queries = (
            select(SetRow.name, SetRow.id).where(SetRow.name.in_(names)), renamed.where(SetDetailRow.value.in_(names)),
        )  # fmt: skip
        found: dict[str, frozenset[int]] = {}
        for query in queries:
            for name, number in self._session.execute(query):
                if name is not None:
                    found[name] = found.get(name, frozenset()) | {number}
        return found

    def add(self, name: str, limits: str, like: int | None, at_ms: int) -> int:
        """Add a set without members and return its number.

        Parameters
        ----------
        name : str
            Name, not in use yet.
        limits : str
            Limits that were asked for, as JSON.
        like : int | None
            Number of the set to match, None for a set of its own.
        at_ms : int
            Time, UTC in ms since 1970.

        Returns
        -------
        int
            Number of the set.
        """
        row = SetRow(name=name, made_ms=at_ms, limits=limits, like_id=like)
        self._session.add(row)
        self._session.flush()
        return row.id

    def join(self, number: int, chosen: Iterable[tuple[int, int]], at_ms: int) -> None:
        """Add shafts to a set.

        Parameters
        ----------
        number : int
            Number of the set.
        chosen : Iterable[tuple[int, int]]
            Number of each shaft and of the result by which it was chosen.
        at_ms : int
            Time, UTC in ms since 1970.

        Raises
        ------
        StoreError
            A shaft is in another set; raised by the surrounding transaction.
        """
        # Another program may have added a shaft to a set just now; a trigger of the database then refuses.
        rows = [{"set_id": number, "shaft": shaft, "joined_ms": at_ms, "result_id": result} for shaft, result in chosen]
        self._session.execute(insert(MemberRow), rows)

    def leave(self, members: Iterable[int], words: str, at_ms: int) -> None:
        """Record that members leave their sets.

        Parameters
        ----------
        members : Iterable[int]
            Numbers of memberships, not of shafts.
        words : str
            Reason.
        at_ms : int
            Time, UTC in ms since 1970.
        """
        rows = [{"member_id": member, "at_ms": at_ms, "words": words} for member in members]
        self._session.execute(insert(LeavingRow), rows)

    def mark(self, shafts: Iterable[int], *, spent: bool, words: str, at_ms: int) -> None:
        """Take shafts out of the stock, or put them back.

        Parameters
        ----------
        shafts : Iterable[int]
            Numbers of shafts.
        spent : bool
            True to take out, False to put back.
        words : str
            Reason.
        at_ms : int
            Time, UTC in ms since 1970.
        """
        rows = [{"shaft": shaft, "at_ms": at_ms, "spent": spent, "words": words} for shaft in shafts]
        self._session.execute(insert(MarkRow), rows)

    def weigh(self, weights: Iterable[WeightRecord], at_ms: int) -> None:
        """Store weights of shafts.

        Parameters
        ----------
        weights : Iterable[WeightRecord]
            Weights.
        at_ms : int
            Time of weighing, UTC in ms since 1970.
        """
        rows = [
            {"shaft": weight.shaft, "at_ms": at_ms, "weight_g": weight.weight_g, "u_weight_g": weight.u_weight_g}
            for weight in weights
        ]
        self._session.execute(insert(WeightRow), rows)
