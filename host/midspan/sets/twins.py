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
from midspan.sets.fingerprint import prints_of, repeats_of
from midspan.sets.likeness import ENOUGH, likely_same
from midspan.sets.measured_stock import MeasuredStock
from midspan.store.database import Store
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
    measured = MeasuredStock.of(records, same)
    likely: set[Pair] = set()
    unsure: dict[str, list[int]] = {}
    for condition in measured.conditions:
        shafts = list(measured.stock[condition])
        if len(shafts) < 2:
            continue
        repeats = repeats_of(measured.repeated(condition))
        if repeats is None:
            why = f"{condition.words} has measured no check standard and no shaft twice: what it repeats is not known"
            unsure.setdefault(why, []).extend(shafts)
        elif len(shafts) <= ENOUGH:
            unsure.setdefault(f"{condition.words} has measured too few shafts", []).extend(shafts)
        else:
            alike = likely_same(prints_of(list(measured.stock[condition].values())), repeats)
            likely |= {pair_of(shafts[a], shafts[b]) for a, b in alike.pairs}
            unsure.setdefault(TOO_ALIKE, []).extend(shafts[i] for i in alike.unsure)
    told = {shaft for those in unsure.values() for shaft in those}
    for why, apart in measured.apart():
        unsure.setdefault(why, []).extend(set(apart) - told)
    pairs = tuple(sorted(pair for pair in likely if not same.are_two(*pair)))
    return Twins(pairs, {why: tuple(sorted(set(those))) for why, those in unsure.items() if those})


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
