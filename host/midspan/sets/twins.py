"""Find shafts that are in the store under two numbers, from labels, from statements of people, and from their results.

Results are compared where one gauge made them under one calibration, within what it repeats there. That comes from
check standards, and from shafts that were measured under one number in several batches. Within one batch a shaft may
have been measured again where it lay, which says nothing about putting it in again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from midspan.base.errors import MatchingError
from midspan.sets.fingerprint import Fingerprints, prints_of, repeats_of
from midspan.sets.likeness import ENOUGH, likely_same
from midspan.sets.limits import Array
from midspan.store.comparable import ComparableResult
from midspan.store.database import Store
from midspan.store.evaluation import Origin
from midspan.store.identity import Identities, Pair, Statement, identities, pair_of, statements
from midspan.store.records import Records, StatedIdentity
from midspan.store.stock_records import StockRecords

TOO_ALIKE = "as near to another shaft as different ones of this stock are to each other"


@dataclass(frozen=True)
class Twins:
    """Shafts that likely have two numbers. A shaft known to have several numbers is listed by the lowest of them.

    Parameters
    ----------
    likely : tuple[Pair, ...]
        Pairs of numbers that are likely one shaft, the lower number first.
    unsure : Mapping[str, tuple[int, ...]]
        Numbers of shafts that cannot be told from others, by reason.
    """

    likely: tuple[Pair, ...]
    unsure: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True)
class _Condition:
    """Gauge, calibration and evaluation of a result; only results of one condition are compared."""

    gauge: str
    calibration: str | None
    evaluation: str | None

    @property
    def words(self) -> str:
        """Gauge and calibration, for a message."""
        return f"gauge {self.gauge} under calibration {self.calibration}"


def numbers_of_label(store: Store, label: str) -> set[int]:
    """Return the numbers of the shafts that bear a label.

    Parameters
    ----------
    store : Store
        The open store.
    label : str
        The label.

    Returns
    -------
    set[int]
        The numbers; empty if no shaft bears it, or the label is empty.
    """
    with Records.of(store) as records:
        return records.numbers_of(label)


def find_twins(records: StockRecords, same: Identities) -> Twins:
    """Find shafts that are in the store under two numbers and are not known to be the same.

    Parameters
    ----------
    records : StockRecords
        Open records of the stock.
    same : Identities
        Numbers already known to belong to one shaft.

    Returns
    -------
    Twins
        Likely pairs, and shafts that cannot be told from others.
    """
    measured = _Measured(records, same)
    likely: set[Pair] = set()
    unsure: dict[str, list[int]] = {}
    for condition in measured.conditions:
        shafts, found = measured.stock(condition)
        if len(shafts) < 2:
            continue
        repeats = repeats_of(measured.repeated(condition))
        if repeats is None:
            why = f"{condition.words} has measured no check standard and no shaft twice: what it repeats is not known"
            unsure.setdefault(why, []).extend(shafts)
        elif len(shafts) <= ENOUGH:
            unsure.setdefault(f"{condition.words} has measured too few shafts", []).extend(shafts)
        else:
            alike = likely_same(found, repeats)
            likely |= {pair_of(shafts[a], shafts[b]) for a, b in alike.pairs}
            unsure.setdefault(TOO_ALIKE, []).extend(shafts[i] for i in alike.unsure)
    told = {shaft for those in unsure.values() for shaft in those}
    for why, apart in measured.apart():
        unsure.setdefault(why, []).extend(set(apart) - told)
    pairs = tuple(sorted(pair for pair in likely if not same.are_two(*pair)))
    return Twins(pairs, {why: tuple(sorted(set(those))) for why, those in unsure.items() if those})


class _Measured:
    """Traits of all measured shafts by condition."""

    def __init__(self, records: StockRecords, same: Identities) -> None:
        self._stock: dict[_Condition, dict[int, ComparableResult]] = {}
        self._again: dict[_Condition, dict[tuple[object, int], ComparableResult]] = {}
        self._others: set[int] = set()
        for row in records.comparable():
            if row.gauge is None or not row.is_whole:
                self._others.add(row.shaft)
                continue
            condition = _Condition(row.gauge, row.calibration, row.evaluation)
            # The newest of each batch counts. A check standard gets a new number each time. A result from an archive
            # may rest on the same readings, so it is no repeat.
            if row.origin == Origin.MEASURED:
                once = (row.standard, row.shaft) if row.standard else (row.shaft, row.batch)
                self._again.setdefault(condition, {})[once] = row
            if row.standard is None:
                shafts = self._stock.setdefault(condition, {})
                shafts[same.key(row.shaft)] = row
        # The condition with the most shafts comes first; shafts of the others cannot be compared with those.
        self.conditions = sorted(self._stock, key=lambda condition: -len(self._stock[condition]))

    def stock(self, condition: _Condition) -> tuple[list[int], Fingerprints]:
        """Return the numbers of the shafts of a condition, each once, and their fingerprints."""
        shafts = self._stock[condition]
        return list(shafts), prints_of(list(shafts.values()))

    def repeated(self, condition: _Condition) -> list[Array]:
        """Return the traits of what was measured more than once, shape (times, 7) each."""
        groups: dict[object, list[ComparableResult]] = {}
        for (whose, _), row in self._again.get(condition, {}).items():
            groups.setdefault(whose, []).append(row)
        return [prints_of(rows).traits for rows in groups.values() if len(rows) > 1]

    def apart(self) -> list[tuple[str, list[int]]]:
        """Return the shafts that cannot be compared with most of the others, with the reason."""
        if not self.conditions:
            return []
        first, *rest = self.conditions
        done = set(self._stock[first])
        found = []
        for condition in rest:
            others = [shaft for shaft in self._stock[condition] if shaft not in done]
            found.append((f"measured by {condition.words}, most others by {first.words}", others))
            done |= set(others)
        return [*found, ("the result says too little of it", sorted(self._others - done))]


def say(
    store: Store, shafts: Sequence[int], same: bool | None, at_ms: int, *, person: str = "", words: str = ""
) -> None:
    """Record a statement that shafts are one shaft, or that each is a different one.

    Parameters
    ----------
    store : Store
        The open store.
    shafts : Sequence[int]
        Their numbers.
    same : bool | None
        True for one shaft, False for different shafts, None to take back what was stated before.
    at_ms : int
        Time of the statement, ms since 1970 UTC.
    person : str
        Name of the person, empty where unknown.
    words : str
        Reason in their own words.

    Raises
    ------
    MatchingError
        Fewer than two numbers, a contradiction with an earlier statement, or nothing to take back; then nothing is
        recorded.
    """
    if len(set(shafts)) < 2:
        raise MatchingError("give two or more different numbers of shafts")
    with Records.of(store) as records:
        said = statements(records)
        pairs = list(pairwise(shafts)) if same else list(combinations(shafts, 2))
        if same is None:
            known = {statement.pair for statement in said if statement.same is not None}
            pairs = [pair for pair in pairs if pair_of(*pair) in known]
            if not pairs:
                raise MatchingError(f"no statement about shafts {', '.join(map(str, shafts))} is on record; check them")
        identities([*said, *(Statement(a, b, same) for a, b in pairs)])
        records.state_identities(StatedIdentity(a, b, same, at_ms, person, words) for a, b in pairs)
