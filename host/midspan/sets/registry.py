"""Matched sets in the store: kept, refilled, taken apart; weights and marks of their shafts. All of it only ever grows.

>>> import tempfile
>>> from pathlib import Path
>>> from midspan.store.place import StorePlace
>>> with StorePlace(Path(tempfile.mkdtemp()) / "results.db").open() as store:
...     sets = Sets(store)
...     sets.mark([7], spent=True, words="broke at the range", at_ms=1)
...     sets.all()
[]
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from pydantic import ValidationError
from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from midspan.base.errors import StoreError
from midspan.base.formatting import read_code
from midspan.sets.limits import Limits
from midspan.sets.stock import StockShaft
from midspan.sets.twins import known_identities
from midspan.sets.weights import ShaftWeight
from midspan.store.database import Store
from midspan.store.tables import LeavingRow, MarkRow, MemberRow, RunRow, SetRow, WeightRow
from midspan.store.upgrade import DAMAGED

LONGEST = 72  # signs of a name


@dataclass(frozen=True, slots=True)
class Member:
    """A shaft in a set; `left` says why it is not any more, `result` is the number of the one it was chosen by."""

    id: int
    shaft: int
    result: int
    joined_ms: int
    left: str | None = None


@dataclass(frozen=True)
class KeptSet:
    """A set with everyone who ever was in it; `like` is the number of the set that it was made to match."""

    id: int
    name: str
    made_ms: int
    limits: Limits
    like: int | None
    members: tuple[Member, ...]

    @property
    def present(self) -> tuple[int, ...]:
        """Shafts that are in it now."""
        return tuple(one.shaft for one in self.members if one.left is None)


class Sets:
    """The sets of a store; every method raises what the store's raise, and then has changed nothing."""

    def __init__(self, store: Store) -> None:
        self._store = store

    # Reading

    def all(self) -> list[KeptSet]:
        """Every set, oldest first, also those that were taken apart."""
        with self._store.transaction() as session:
            rows = session.scalars(select(SetRow).order_by(SetRow.id)).all()
            members = _members(session)
            return [
                KeptSet(
                    row.id, row.name, row.made_ms, self._limits(row), row.like_id, tuple(members.get(row.id, ()))
                )
                for row in rows
            ]  # fmt: skip

    def named(self, name: str) -> KeptSet:
        """The set of a name; StoreError when there is none."""
        sets = {one.name: one for one in self.all()}
        if name not in sets:
            known = ", ".join(list(sets)[-6:]) or "none"
            raise StoreError(f"{self._store.place}: there is no set {name!r}; the newest are: {known}")
        return sets[name]

    def _limits(self, row: SetRow) -> Limits:
        try:
            return Limits.model_validate_json(row.limits)
        except ValidationError as error:
            raise StoreError(f"{self._store.place}: the limits of set {row.name} are none: {DAMAGED}") from error

    # Writing

    def keep(
        self, sets: Mapping[str, Sequence[StockShaft]], limits: Limits, at_ms: int, like: int | None = None
    ) -> list[int]:
        """Keep new sets, all or none of them, by their names; their numbers.

        Raises StoreError when a name is taken or cannot be printed on one line, or a shaft got into another set since
        the stock was read.
        """
        bad = next((name for name in sets if not _is_name(name)), None)
        if bad is not None:
            raise StoreError(f"a set needs a name of 1 to {LONGEST} printable characters, not {bad[:LONGEST]!r}")
        with self._store.transaction() as session:
            taken = set(session.scalars(select(SetRow.name).where(SetRow.name.in_(sets))))
            if taken:
                raise StoreError(f"{self._store.place}: there is a set {min(taken)!r} already; choose another name")
            numbers = []
            for name, shafts in sets.items():
                row = SetRow(name=name, made_ms=at_ms, limits=limits.model_dump_json(), like_id=like)
                session.add(row)
                session.flush()
                self._join(session, row.id, shafts, at_ms)
                numbers.append(row.id)
            return numbers

    def refill(self, kept: KeptSet, lost: Collection[int], joining: Sequence[StockShaft], at_ms: int) -> None:
        """Let lost shafts leave a set, marked as spent, and others take their places: all of it or nothing."""
        with self._store.transaction() as session:
            self._leave(session, kept, lost, "lost", at_ms)
            session.execute(insert(MarkRow), [_mark(shaft, f"lost from {kept.name}", at_ms) for shaft in lost])
            self._join(session, kept.id, joining, at_ms)

    def take_apart(self, kept: KeptSet, at_ms: int) -> None:
        """Let every shaft of a set go back to the stock; the set stays on record, empty."""
        with self._store.transaction() as session:
            self._leave(session, kept, kept.present, "taken apart", at_ms)

    def mark(self, shafts: Iterable[int], *, spent: bool, words: str, at_ms: int) -> None:
        """Take shafts out of the stock, or give them back, under all numbers that they have."""
        with self._store.transaction() as session:
            same = known_identities(session)
            numbers = dict.fromkeys(number for shaft in shafts for number in same.numbers(shaft))
            session.execute(insert(MarkRow), [_mark(number, words, at_ms, spent) for number in numbers])

    def weigh(self, weights: Mapping[str, ShaftWeight], at_ms: int) -> int:
        """Note weights by number or label of the shaft, all or none; how many there are."""
        with self._store.transaction() as session:
            rows: dict[int, dict[str, object]] = {}
            for name, one in weights.items():
                shaft = self._number(session, name)
                if shaft in rows:
                    raise StoreError(f"shaft {shaft} is named twice, at last as {name!r}; keep one of its weights")
                rows[shaft] = {"shaft": shaft, "at_ms": at_ms, "weight_g": one.weight_g, "u_weight_g": one.u_weight_g}
            session.execute(insert(WeightRow), list(rows.values()))
        return len(weights)

    def number(self, name: str) -> int:
        """The number of a measured shaft from its number or label; StoreError when there is none, or several shafts."""
        with self._store.transaction() as session:
            return self._number(session, name)

    def number_in(self, kept: KeptSet, name: str) -> int:
        """The number by which a shaft is in a set, whichever of its numbers or its label is given.

        StoreError when there is no such shaft, or it is not in the set.
        """
        with self._store.transaction() as session:
            number = self._number(session, name)
            numbers = known_identities(session).numbers(number)
        found = next((one for one in kept.present if one in numbers), None)
        if found is None:
            raise _not_in(kept, number)
        return found

    def _number(self, session: Session, name: str) -> int:
        name = read_code(name)
        by_label = set(session.scalars(select(RunRow.shaft).where(RunRow.label == name).distinct()))
        by_number = set()
        if name.isdecimal() and len(name) < 11:
            by_number = set(session.scalars(select(RunRow.shaft).where(RunRow.shaft == int(name)).limit(1)))
        found = by_number or by_label
        if not found:
            raise StoreError(f"{self._store.place}: shaft {name} was never measured into it; check its number")
        same = known_identities(session)
        if len({same.key(one) for one in found}) > 1:
            those = ", ".join(str(one) for one in sorted(found)[:6])
            raise StoreError(f"{self._store.place}: {name!r} is the label of shafts {those}; say the number")
        return max(found)

    def _leave(self, session: Session, kept: KeptSet, shafts: Collection[int], words: str, at_ms: int) -> None:
        members = {one.shaft: one.id for one in kept.members if one.left is None}
        strange = [shaft for shaft in shafts if shaft not in members]
        if strange:
            raise _not_in(kept, strange[0])
        rows = [{"member_id": members[shaft], "at_ms": at_ms, "words": words} for shaft in shafts]
        session.execute(insert(LeavingRow), rows)

    def _join(self, session: Session, number: int, shafts: Sequence[StockShaft], at_ms: int) -> None:
        in_sets = {one.shaft for rows in _members(session).values() for one in rows if one.left is None}
        same = known_identities(session)
        for shaft in shafts:
            if not in_sets.isdisjoint(same.numbers(shaft.shaft)):
                raise StoreError(f"shaft {shaft.name} is in a set already; take it out of that one first")
        # Another program may still come in between: then the database itself refuses (set_tables).
        rows = [{"set_id": number, "shaft": one.shaft, "joined_ms": at_ms, "result_id": one.result} for one in shafts]
        session.execute(insert(MemberRow), rows)


def _not_in(kept: KeptSet, shaft: int) -> StoreError:
    those = ", ".join(str(one) for one in kept.present)
    return StoreError(f"set {kept.name}: shaft {shaft} is not in it; its shafts are {those}")


def _is_name(name: str) -> bool:
    return name.isprintable() and name == name.strip() and 0 < len(name) <= LONGEST


def _mark(shaft: int, words: str, at_ms: int, spent: bool = True) -> dict[str, object]:
    return {"shaft": shaft, "at_ms": at_ms, "spent": spent, "words": words}


def _members(session: Session) -> dict[int, list[Member]]:
    """Members by the number of their set, in the order they joined."""
    query = select(MemberRow, LeavingRow.words).outerjoin(LeavingRow, LeavingRow.member_id == MemberRow.id)
    found: dict[int, list[Member]] = {}
    for row, left in session.execute(query.order_by(MemberRow.id)):
        found.setdefault(row.set_id, []).append(Member(row.id, row.shaft, row.result_id, row.joined_ms, left))
    return found
