"""Matched sets in the store: kept, refilled and taken apart, with the weights and marks of their shafts.

Rows are only ever added, so the history of every set can be read later.

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
from midspan.sets.limits import Limits
from midspan.sets.set_details import SetDetails, by_set, check_words, last_said_of, name_taken, standing_details
from midspan.sets.stock import StockShaft
from midspan.sets.weights import ShaftWeight
from midspan.store.database import Store
from midspan.store.detail_kinds import SetDetailKind
from midspan.store.identity import known_identities
from midspan.store.lookup import read_name
from midspan.store.set_records import Member, SaidOfSet, SetRecord, SetRecords, WeightRecord
from midspan.store.upgrade import DAMAGED


@dataclass(frozen=True)
class KeptSet:
    """A set of the store with every shaft that ever was in it.

    Parameters
    ----------
    id : int
        Number of the set.
    name : str
        Its name, unique in the store.
    made_ms : int
        When it was made, ms since 1970 UTC.
    limits : Limits
        Limits it was chosen by.
    like : int | None
        Number of the set it was made to match, None for no set.
    members : tuple[Member, ...]
        Shafts in the order they joined, those that left included.
    details : SetDetails
        Customer, order, day of shipping, notes and earlier names.
    """

    id: int
    name: str
    made_ms: int
    limits: Limits
    like: int | None
    members: tuple[Member, ...]
    details: SetDetails

    @property
    def present(self) -> tuple[int, ...]:
        """Numbers of the shafts that are in the set now."""
        return tuple(member.shaft for member in self.members if member.left is None)


class Sets:
    """The sets of a store.

    Every method also raises the errors of the store, and then has changed nothing.

    Parameters
    ----------
    store : Store
        The open store.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    # Reading

    def all(self) -> list[KeptSet]:
        """Return every set, those that were taken apart included.

        Returns
        -------
        list[KeptSet]
            The sets, oldest first.

        Raises
        ------
        StoreError
            The limits of a set cannot be read.
        """
        with SetRecords.of(self._store) as records:
            members, said = records.members(), by_set(records.said())
            return [self._kept(kept, tuple(members.get(kept.id, ())), said.get(kept.id, ())) for kept in records.sets()]

    def _kept(self, kept: SetRecord, members: tuple[Member, ...], said: Sequence[SaidOfSet]) -> KeptSet:
        """Return a set as it stands now."""
        name, details = standing_details(kept.name, said)
        return KeptSet(kept.id, name, kept.made_ms, self._limits(kept), kept.like, members, details)

    def named(self, name: str) -> KeptSet:
        """Return the set that has a name now, or had it before.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        KeptSet
            The set.

        Raises
        ------
        StoreError
            No set has or had that name (code "no_set").
        """
        every = self.all()
        sets = {old: kept for kept in every for old in kept.details.earlier_names} | {kept.name: kept for kept in every}
        if name not in sets:
            known = ", ".join(kept.name for kept in every[-6:]) or "none"
            raise StoreError(f"{self._store.place}: no set {name!r}; the newest are: {known}", code="no_set")
        return sets[name]

    def _limits(self, kept: SetRecord) -> Limits:
        try:
            return Limits.model_validate_json(kept.limits)
        except ValidationError as error:
            raise StoreError(f"{self._store.place}: the limits of set {kept.name} cannot be read: {DAMAGED}") from error

    # Writing

    def keep(
        self, sets: Mapping[str, Sequence[StockShaft]], limits: Limits, at_ms: int, like: int | None = None
    ) -> list[int]:
        """Keep new sets, all of them or none.

        Parameters
        ----------
        sets : Mapping[str, Sequence[StockShaft]]
            The shafts of each set by its name.
        limits : Limits
            Limits they were chosen by.
        at_ms : int
            Time of the change, ms since 1970 UTC.
        like : int | None
            Number of the set they were made to match, None for no set.

        Returns
        -------
        list[int]
            Numbers of the new sets, in the order given.

        Raises
        ------
        StoreError
            A name is taken, empty, too long or not printable on one line, or a shaft got into another set since the
            stock was read.
        """
        for name in sets:
            check_words(name, "a set needs a name")
        with SetRecords.of(self._store) as records:
            taken = records.named(sets)
            if taken:
                raise name_taken(self._store.place, min(taken))
            numbers = []
            for name, shafts in sets.items():
                number = records.add(name, limits.model_dump_json(), like, at_ms)
                _join(records, number, shafts, at_ms)
                numbers.append(number)
            return numbers

    def refill(self, kept: KeptSet, lost: Collection[int], joining: Sequence[StockShaft], at_ms: int) -> None:
        """Remove lost shafts from a set, mark them as spent, and put others in their places; all of it or nothing.

        Parameters
        ----------
        kept : KeptSet
            The set.
        lost : Collection[int]
            Numbers of the shafts that are lost.
        joining : Sequence[StockShaft]
            Shafts that take their places.
        at_ms : int
            Time of the change, ms since 1970 UTC.

        Raises
        ------
        StoreError
            A lost shaft is not in the set, or a new one is in another set.
        """
        with SetRecords.of(self._store) as records:
            records.leave(_members_of(kept, lost), "lost", at_ms)
            records.mark(lost, spent=True, words=f"lost from {kept.name}", at_ms=at_ms)
            _join(records, kept.id, joining, at_ms)

    def take_apart(self, kept: KeptSet, at_ms: int) -> None:
        """Return every shaft of a set to the stock; the set stays on record, empty.

        Parameters
        ----------
        kept : KeptSet
            The set.
        at_ms : int
            Time of the change, ms since 1970 UTC.

        Raises
        ------
        StoreError
            The set was shipped (code "shipped").
        """
        with SetRecords.of(self._store) as records:
            records.leave(_members_of(kept, kept.present), "taken apart", at_ms)
            shipped = last_said_of(records, kept.id, SetDetailKind.SHIPPED)
            if shipped is not None:
                raise StoreError(
                    f"set {kept.name} was shipped {shipped}: its shafts are not here; if it came back, first: midspan "
                    f"sets unship {kept.name!r}",
                    code="shipped",
                )

    def mark(self, shafts: Iterable[int], *, spent: bool, words: str, at_ms: int) -> None:
        """Take shafts out of the stock, or give them back, under all numbers that they have.

        Parameters
        ----------
        shafts : Iterable[int]
            Numbers of the shafts.
        spent : bool
            True to take them out, False to give them back.
        words : str
            Reason, in the user's words.
        at_ms : int
            Time of the change, ms since 1970 UTC.
        """
        with SetRecords.of(self._store) as records:
            same = known_identities(records)
            numbers = dict.fromkeys(number for shaft in shafts for number in same.numbers(shaft))
            records.mark(numbers, spent=spent, words=words, at_ms=at_ms)

    def weigh(self, weights: Mapping[str, ShaftWeight], at_ms: int) -> int:
        """Store weights of shafts, all of them or none.

        Parameters
        ----------
        weights : Mapping[str, ShaftWeight]
            Weights by number or label of the shaft.
        at_ms : int
            Time of the change, ms since 1970 UTC.

        Returns
        -------
        int
            How many weights were stored.

        Raises
        ------
        StoreError
            A shaft was never measured, has two weights here, or its label belongs to several shafts.
        """
        numbers = {name: read_name(self._store, name) for name in weights}
        with SetRecords.of(self._store) as records:
            found: dict[int, WeightRecord] = {}
            for name, weight in weights.items():
                shaft = numbers[name]
                if shaft in found:
                    raise StoreError(f"shaft {shaft} has two weights, the second under {name!r}; keep one of them")
                found[shaft] = WeightRecord(shaft, weight.weight_g, weight.u_weight_g)
            records.weigh(found.values(), at_ms)
        return len(weights)

    def number(self, name: str) -> int:
        """Return the number of a measured shaft.

        Parameters
        ----------
        name : str
            Its number or label.

        Returns
        -------
        int
            Its number, the highest where it has several.

        Raises
        ------
        StoreError
            No shaft has that name, or several shafts bear that label.
        """
        return read_name(self._store, name)

    def number_in(self, kept: KeptSet, name: str) -> int:
        """Return the number by which a shaft is in a set.

        Parameters
        ----------
        kept : KeptSet
            The set.
        name : str
            Its label, or any of its numbers.

        Returns
        -------
        int
            Its number in the set.

        Raises
        ------
        StoreError
            No shaft has that name, several shafts bear that label, or the shaft is not in the set.
        """
        number = read_name(self._store, name)
        with SetRecords.of(self._store) as records:
            numbers = known_identities(records).numbers(number)
        found = next((shaft for shaft in kept.present if shaft in numbers), None)
        if found is None:
            raise _not_in(kept, number)
        return found


def _members_of(kept: KeptSet, shafts: Collection[int]) -> list[int]:
    """Return the rows of shafts as members of a set; raise StoreError if one of them is not in it."""
    members = {member.shaft: member.id for member in kept.members if member.left is None}
    strange = [shaft for shaft in shafts if shaft not in members]
    if strange:
        raise _not_in(kept, strange[0])
    return [members[shaft] for shaft in shafts]


def _join(records: SetRecords, number: int, shafts: Sequence[StockShaft], at_ms: int) -> None:
    """Add shafts to a set; raise StoreError if one of them is in a set already."""
    in_sets = {member.shaft for those in records.members().values() for member in those if member.left is None}
    same = known_identities(records)
    for shaft in shafts:
        if not in_sets.isdisjoint(same.numbers(shaft.shaft)):
            raise StoreError(f"shaft {shaft.name} is already in a set; take it out of that set first", code="in_a_set")
    records.join(number, [(shaft.shaft, shaft.result) for shaft in shafts], at_ms)


def _not_in(kept: KeptSet, shaft: int) -> StoreError:
    """Return the error for a shaft that is not in a set."""
    those = ", ".join(str(number) for number in kept.present)
    return StoreError(f"set {kept.name}: shaft {shaft} is not in it; its shafts are {those}")
