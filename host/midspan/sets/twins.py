"""Shafts that are in the store under two numbers: what labels and people say of that, and what their results say.

Results are compared where one gauge made them under one calibration, within what it repeats there: of check standards,
and of shafts that were measured in several batches by one number. Within one batch a shaft may have been measured again
where it lay, which says nothing of putting it in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from midspan.base.errors import MatchingError
from midspan.base.formatting import read_code
from midspan.sets.identity import Identities, Pair, Statement, identities, pair_of
from midspan.sets.likeness import ENOUGH, likely_same, repeats_of, traits
from midspan.sets.limits import Array
from midspan.store.database import Store
from midspan.store.evaluation import Origin
from midspan.store.records import Records, StatedIdentity
from midspan.store.stock_records import StockRecords

TOO_ALIKE = "as near to another shaft as different ones of this stock are to each other"


@dataclass(frozen=True)
class Twins:
    """Pairs of shafts that are likely one, and by reason those of which nobody can tell.

    A shaft that is known to have several numbers stands here by the lowest of them.
    """

    likely: tuple[Pair, ...]
    unsure: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True)
class _Condition:
    """Under what results were made: only those of one condition are compared."""

    gauge: str
    calibration: str | None
    evaluation: str | None

    @property
    def words(self) -> str:
        return f"gauge {self.gauge} under calibration {self.calibration}"


def known_identities(records: Records) -> Identities:
    """Which numbers are of one shaft, by labels and by what people say.

    A label that is the code of a number, read off the shaft, is of that number's shaft.
    """
    bearers: dict[str, set[int]] = {}
    for shaft, label in records.labels():
        bearers.setdefault(label, set()).add(shaft)
        named = read_code(label)
        if named != label and named.isdecimal():
            bearers[label].add(int(named))
    return identities(_said(records), {label: those for label, those in bearers.items() if len(those) > 1})


def numbers_of_label(store: Store, label: str) -> set[int]:
    """Numbers of the shafts that bear a label, none of an empty one."""
    with Records.of(store) as records:
        return records.numbers_of(label)


def find_twins(records: StockRecords, same: Identities) -> Twins:
    """Look for shafts that are in the store under two numbers and not known to be the same."""
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
        self._stock: dict[_Condition, dict[int, Sequence[float]]] = {}
        self._again: dict[_Condition, dict[tuple[object, int], Sequence[float]]] = {}
        self._others: set[int] = set()
        for row in records.comparable():
            if row.gauge is None:
                self._others.add(row.shaft)
                continue
            condition = _Condition(row.gauge, row.calibration, row.evaluation)
            # The newest of each batch; a check standard has a number of its own each time. What came from an archive
            # may be the same readings once more.
            if row.origin == Origin.MEASURED:
                once = (row.standard, row.shaft) if row.standard else (row.shaft, row.batch)
                self._again.setdefault(condition, {})[once] = row.parts
            if row.standard is None:
                shafts = self._stock.setdefault(condition, {})
                shafts[same.key(row.shaft)] = row.parts
        # Where most are first: the others are not comparable with those.
        self.conditions = sorted(self._stock, key=lambda one: -len(self._stock[one]))

    def stock(self, condition: _Condition) -> tuple[list[int], Array]:
        """Numbers of shafts, each once, and their traits."""
        shafts = self._stock[condition]
        return list(shafts), _traits(list(shafts.values()))

    def repeated(self, condition: _Condition) -> list[Array]:
        """Traits of what was measured more than once, [times, 4] each."""
        groups: dict[object, list[Sequence[float]]] = {}
        for (whose, _), parts in self._again.get(condition, {}).items():
            groups.setdefault(whose, []).append(parts)
        return [_traits(parts) for parts in groups.values() if len(parts) > 1]

    def apart(self) -> list[tuple[str, list[int]]]:
        """Shafts that cannot be compared with most of the others, with the reason."""
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


def _traits(parts: Sequence[Sequence[float]]) -> Array:
    rows = np.array(parts)
    curve, surface = np.zeros((len(rows), 7)), np.zeros((len(rows), 7))
    curve[:, [0, 3, 4]], surface[:, [1, 2]] = rows[:, :3], rows[:, 3:]
    return traits(curve, surface)


# What people say


def say(
    store: Store, shafts: Sequence[int], same: bool | None, at_ms: int, *, person: str = "", words: str = ""
) -> None:
    """Note that shafts are one, that each is a shaft of its own, or with None that what was said is taken back.

    Raises MatchingError when that contradicts what was said before, or nothing was said; then nothing is noted.
    """
    if len(set(shafts)) < 2:
        raise MatchingError("name two or more shafts that differ by their numbers")
    with Records.of(store) as records:
        said = _said(records)
        pairs = list(pairwise(shafts)) if same else list(combinations(shafts, 2))
        if same is None:
            known = {one.pair for one in said if one.same is not None}
            pairs = [pair for pair in pairs if pair_of(*pair) in known]
            if not pairs:
                raise MatchingError(f"nobody said whether shafts {', '.join(map(str, shafts))} are one or several")
        identities([*said, *(Statement(a, b, same) for a, b in pairs)])
        records.state_identities(StatedIdentity(a, b, same, at_ms, person, words) for a, b in pairs)


def _said(records: Records) -> list[Statement]:
    return [Statement(each.shaft, each.other, each.same) for each in records.stated_identities()]
