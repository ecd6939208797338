"""Matched sets as the store keeps them, weights and marks of shafts. All of it only ever grows."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from sqlalchemy import insert, select

from midspan.store.records import Records
from midspan.store.tables import LeavingRow, MarkRow, MemberRow, SetRow, WeightRow


@dataclass(frozen=True, slots=True)
class Member:
    """A shaft in a set; `left` says why it is not any more, `result` is the number of the one it was chosen by."""

    id: int
    shaft: int
    result: int
    joined_ms: int
    left: str | None = None


@dataclass(frozen=True, slots=True)
class SetRecord:
    """A set as it is kept; `limits` is what was asked of it as JSON, `like` the set that it was made to match."""

    id: int
    name: str
    made_ms: int
    limits: str
    like: int | None


@dataclass(frozen=True, slots=True)
class WeightRecord:
    """A weight of a shaft and its standard uncertainty, in grams."""

    shaft: int
    weight_g: float
    u_weight_g: float


class SetRecords(Records):
    """What is asked and kept of sets, within one transaction."""

    def sets(self) -> list[SetRecord]:
        """Return every set, oldest first."""
        rows = self._session.scalars(select(SetRow).order_by(SetRow.id))
        return [SetRecord(row.id, row.name, row.made_ms, row.limits, row.like_id) for row in rows]

    def members(self) -> dict[int, list[Member]]:
        """Return everyone who ever was in a set by the number of the set, in the order they joined."""
        query = select(MemberRow, LeavingRow.words).outerjoin(LeavingRow, LeavingRow.member_id == MemberRow.id)
        found: dict[int, list[Member]] = {}
        for row, left in self._session.execute(query.order_by(MemberRow.id)):
            found.setdefault(row.set_id, []).append(Member(row.id, row.shaft, row.result_id, row.joined_ms, left))
        return found

    def taken(self, names: Collection[str]) -> set[str]:
        """Return those of the names that a set has."""
        return set(self._session.scalars(select(SetRow.name).where(SetRow.name.in_(names))))

    def add(self, name: str, limits: str, like: int | None, at_ms: int) -> int:
        """Add a set without members, and return its number."""
        row = SetRow(name=name, made_ms=at_ms, limits=limits, like_id=like)
        self._session.add(row)
        self._session.flush()
        return row.id

    def join(self, number: int, chosen: Iterable[tuple[int, int]], at_ms: int) -> None:
        """Let shafts join a set, each given with the result it was chosen by; StoreError when it is in another."""
        # Another program may have let them join a set just now: then the database itself refuses.
        rows = [{"set_id": number, "shaft": shaft, "joined_ms": at_ms, "result_id": result} for shaft, result in chosen]
        self._session.execute(insert(MemberRow), rows)

    def leave(self, members: Iterable[int], words: str, at_ms: int) -> None:
        """Let members leave their set, by their own numbers."""
        rows = [{"member_id": member, "at_ms": at_ms, "words": words} for member in members]
        self._session.execute(insert(LeavingRow), rows)

    def mark(self, shafts: Iterable[int], *, spent: bool, words: str, at_ms: int) -> None:
        """Take shafts out of the stock, or give them back."""
        rows = [{"shaft": shaft, "at_ms": at_ms, "spent": spent, "words": words} for shaft in shafts]
        self._session.execute(insert(MarkRow), rows)

    def weigh(self, weights: Iterable[WeightRecord], at_ms: int) -> None:
        """Note weights."""
        rows = [
            {"shaft": each.shaft, "at_ms": at_ms, "weight_g": each.weight_g, "u_weight_g": each.u_weight_g}
            for each in weights
        ]
        self._session.execute(insert(WeightRow), rows)
