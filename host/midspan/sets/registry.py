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

from midspan.base.errors import StoreError
from midspan.base.formatting import read_code
from midspan.sets.limits import Limits
from midspan.sets.stock import StockShaft
from midspan.sets.twins import known_identities
from midspan.sets.weights import ShaftWeight
from midspan.store.database import Store
from midspan.store.set_records import Member, SetRecord, SetRecords, WeightRecord
from midspan.store.upgrade import DAMAGED

LONGEST = 72  # signs of a name


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
        with SetRecords.of(self._store) as records:
            members = records.members()
            return [
                KeptSet(
                    kept.id, kept.name, kept.made_ms, self._limits(kept), kept.like, tuple(members.get(kept.id, ()))
                )
                for kept in records.sets()
            ]  # fmt: skip

    def named(self, name: str) -> KeptSet:
        """The set of a name; StoreError when there is none."""
        sets = {one.name: one for one in self.all()}
        if name not in sets:
            known = ", ".join(list(sets)[-6:]) or "none"
            raise StoreError(f"{self._store.place}: there is no set {name!r}; the newest are: {known}")
        return sets[name]

    def _limits(self, kept: SetRecord) -> Limits:
        try:
            return Limits.model_validate_json(kept.limits)
        except ValidationError as error:
            raise StoreError(f"{self._store.place}: the limits of set {kept.name} are none: {DAMAGED}") from error

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
        with SetRecords.of(self._store) as records:
            taken = records.taken(sets)
            if taken:
                raise StoreError(f"{self._store.place}: there is a set {min(taken)!r} already; choose another name")
            numbers = []
            for name, shafts in sets.items():
                number = records.add(name, limits.model_dump_json(), like, at_ms)
                _join(records, number, shafts, at_ms)
                numbers.append(number)
            return numbers

    def refill(self, kept: KeptSet, lost: Collection[int], joining: Sequence[StockShaft], at_ms: int) -> None:
        """Let lost shafts leave a set, marked as spent, and others take their places: all of it or nothing."""
        with SetRecords.of(self._store) as records:
            records.leave(_members_of(kept, lost), "lost", at_ms)
            records.mark(lost, spent=True, words=f"lost from {kept.name}", at_ms=at_ms)
            _join(records, kept.id, joining, at_ms)

    def take_apart(self, kept: KeptSet, at_ms: int) -> None:
        """Let every shaft of a set go back to the stock; the set stays on record, empty."""
        with SetRecords.of(self._store) as records:
            records.leave(_members_of(kept, kept.present), "taken apart", at_ms)

    def mark(self, shafts: Iterable[int], *, spent: bool, words: str, at_ms: int) -> None:
        """Take shafts out of the stock, or give them back, under all numbers that they have."""
        with SetRecords.of(self._store) as records:
            same = known_identities(records)
            numbers = dict.fromkeys(number for shaft in shafts for number in same.numbers(shaft))
            records.mark(numbers, spent=spent, words=words, at_ms=at_ms)

    def weigh(self, weights: Mapping[str, ShaftWeight], at_ms: int) -> int:
        """Note weights by number or label of the shaft, all or none; how many there are."""
        with SetRecords.of(self._store) as records:
            found: dict[int, WeightRecord] = {}
            for name, weight in weights.items():
                shaft = self._number(records, name)
                if shaft in found:
                    raise StoreError(f"shaft {shaft} is named twice, at last as {name!r}; keep one of its weights")
                found[shaft] = WeightRecord(shaft, weight.weight_g, weight.u_weight_g)
            records.weigh(found.values(), at_ms)
        return len(weights)

    def number(self, name: str) -> int:
        """The number of a measured shaft from its number or label; StoreError when there is none, or several shafts."""
        with SetRecords.of(self._store) as records:
            return self._number(records, name)

    def number_in(self, kept: KeptSet, name: str) -> int:
        """The number by which a shaft is in a set, whichever of its numbers or its label is given.

        StoreError when there is no such shaft, or it is not in the set.
        """
        with SetRecords.of(self._store) as records:
            number = self._number(records, name)
            numbers = known_identities(records).numbers(number)
        found = next((one for one in kept.present if one in numbers), None)
        if found is None:
            raise _not_in(kept, number)
        return found

    def _number(self, records: SetRecords, name: str) -> int:
        name = read_code(name)
        is_number = name.isdecimal() and len(name) < 11 and records.is_measured(int(name))
        found = {int(name)} if is_number else records.numbers_of(name)
        if not found:
            raise StoreError(f"{self._store.place}: shaft {name} was never measured into it; check its number")
        same = known_identities(records)
        if len({same.key(number) for number in found}) > 1:
            those = ", ".join(str(number) for number in sorted(found)[:6])
            raise StoreError(f"{self._store.place}: {name!r} is the label of shafts {those}; say the number")
        return max(found)


def _members_of(kept: KeptSet, shafts: Collection[int]) -> list[int]:
    """Return the numbers of shafts as members of a set; StoreError when one is not in it."""
    members = {member.shaft: member.id for member in kept.members if member.left is None}
    strange = [shaft for shaft in shafts if shaft not in members]
    if strange:
        raise _not_in(kept, strange[0])
    return [members[shaft] for shaft in shafts]


def _join(records: SetRecords, number: int, shafts: Sequence[StockShaft], at_ms: int) -> None:
    in_sets = {member.shaft for those in records.members().values() for member in those if member.left is None}
    same = known_identities(records)
    for shaft in shafts:
        if not in_sets.isdisjoint(same.numbers(shaft.shaft)):
            raise StoreError(f"shaft {shaft.name} is in a set already; take it out of that one first")
    records.join(number, [(shaft.shaft, shaft.result) for shaft in shafts], at_ms)


def _not_in(kept: KeptSet, shaft: int) -> StoreError:
    those = ", ".join(str(number) for number in kept.present)
    return StoreError(f"set {kept.name}: shaft {shaft} is not in it; its shafts are {those}")


def _is_name(name: str) -> bool:
    return name.isprintable() and name == name.strip() and 0 < len(name) <= LONGEST
