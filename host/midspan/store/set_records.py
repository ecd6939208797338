"""Store matched sets, weights and marks of shafts; rows are added, never changed."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from sqlalchemy import insert, select

from midspan.store.records import Records
from midspan.store.tables import LeavingRow, MarkRow, MemberRow, SetRow, WeightRow


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


class SetRecords(Records):
    """Sets, weights and marks within one transaction."""

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

    def taken(self, names: Collection[str]) -> set[str]:
        """Return those of the names that a set already has.

        Parameters
        ----------
        names : Collection[str]
            Names to look up.

        Returns
        -------
        set[str]
            Names in use.
        """
        return set(self._session.scalars(select(SetRow.name).where(SetRow.name.in_(names))))

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
