"""The stock: every measured shaft by its newest result, and those left out of sets with the reason.

A shaft may have several numbers (identity): it is listed once, by the newest of them, and what speaks against it under
one number counts under all. Of shafts that are likely one (twins) at most one is listed. The measurement that no other
supersedes counts, and of it the newest result, so that readings evaluated again under a better calibration count and
old ones do not return. Where several measurements stand side by side the worse counts, and two that contradict each
other exclude the shaft. Only accepted shafts are stock: a shaft whose hysteresis hints at a crack must not get into
anybody's dozen.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from midspan.base.errors import StoreError
from midspan.base.units import GRAM_PER_GRAIN, MM_PER_THOU
from midspan.decision.decision import Outcome
from midspan.decision.limit_test import NO_REPEAT
from midspan.measurement.definition import DEFINITION
from midspan.sets.limits import Array, Limits
from midspan.sets.twins import Twins, find_twins
from midspan.store.database import WORST_FIRST, Store
from midspan.store.evaluation import Origin, StoredResult
from midspan.store.identity import Identities, Pair, known_identities
from midspan.store.stock_records import StandingMeasurement, StockRecords, results_by_number
from midspan.store.stored_result import MeasuredResult

OUTCOMES = {
    Outcome.DOUBTFUL: "doubtful, or not judged by any bands: measure it again",
    Outcome.REJECTED: "rejected",
    Outcome.INSTRUMENT_FAULT: "measured while the gauge was at fault: measure it again",
}
NO_REPEAT_HELPS = f"doubtful: {NO_REPEAT}"
STANDARD, IN_A_SET, SPENT = "a check standard", "in a set already", "marked as spent"
SHIPPED = "shipped with its set"
UNMEASURED, SUSPECT = "not measured", "suspect, a check standard read wrong: measure it again"
LISTED = "known from a list only: measure it"
STATED_OTHERWISE = "its spine is stated for other supports and cannot be converted: evaluate its readings again"
UNKNOWN = "bin uncertain"
CRACKED = "may be cracked: do not shoot it"
SAME = "the same shaft as one with a newer number"
LIKELY = "likely the same shaft as another: see midspan shafts twins"
LIKELY_CRACKED = "likely the same shaft as one that may be cracked: see midspan shafts twins"
TWICE = "it is in a set under another of its numbers too"
CONTRADICTED = "two measurements contradict each other: measure it again"
AGREE_SIGMAS = 3.0  # standard uncertainties by which two measurements of one shaft may differ


@dataclass(frozen=True, slots=True)
class StockShaft:
    """A shaft as sets see it; None where a quantity was not measured.

    Parameters
    ----------
    shaft : int
        Its number.
    label : str
        Its label, empty where it has none.
    result : int
        Row of its result in the store.
    bin : str | None
        Bin it fell into, None where it was not sorted.
    spine_thou : float
        Static spine under the reference condition, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    spread_thou : float | None
        Full-turn spread, thou.
    runout_thou : float | None
        Total indicator reading at midspan, thou.
    weight_gr : float | None
        Weight, grains.
    definition : str
        Definition for which its spine is stored; another than the reference condition was converted.
    dof_spine : float | None
        Degrees of freedom of `u_spine_thou`, None where infinite or unknown.
    older_lb : float | None
        Spine in pounds (26 in, 2 lb), None where it is not stored.
    u_older_lb : float | None
        Its standard uncertainty, lb.
    """

    shaft: int
    label: str
    result: int
    bin: str | None
    spine_thou: float
    u_spine_thou: float
    spread_thou: float | None
    runout_thou: float | None
    weight_gr: float | None
    definition: str = DEFINITION
    dof_spine: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None

    @property
    def name(self) -> str:
        """Number and label."""
        return f"{self.shaft} {self.label}".strip()


@dataclass(frozen=True)
class Stock:
    """The shafts that may be taken, and those left out.

    Parameters
    ----------
    shafts : tuple[StockShaft, ...]
        Shafts that may be taken, by number.
    left_out : Mapping[str, tuple[int, ...]]
        Numbers of the shafts left out, by reason.
    likely : tuple[Pair, ...]
        Pairs of numbers that are likely one shaft, where at least one of the two was asked for.
    unsure : Mapping[str, tuple[int, ...]]
        Numbers of shafts that may have another number too without a way to tell, by reason.
    """

    shafts: tuple[StockShaft, ...]
    left_out: Mapping[str, tuple[int, ...]]
    likely: tuple[Pair, ...] = ()
    unsure: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def fit_for(self, limits: Limits) -> tuple[tuple[StockShaft, ...], Array, dict[str, tuple[int, ...]]]:
        """Select the shafts that have every quantity with a limit.

        Parameters
        ----------
        limits : Limits
            Limits of the sets to make.

        Returns
        -------
        tuple[tuple[StockShaft, ...], Array, dict[str, tuple[int, ...]]]
            Those shafts; their values, shape (shafts, quantities), in the order of `limits.quantities`; and all shafts
            left out, by reason.
        """
        left_out = {reason: list(numbers) for reason, numbers in self.left_out.items()}
        kept = []
        for shaft in self.shafts:
            missing = next((quantity.name for quantity in limits.quantities if quantity.of(shaft) is None), None)
            if missing is None:
                kept.append(shaft)
            else:
                what = "not weighed" if missing == "weight_gr" else f"its {missing.partition('_')[0]} was not measured"
                left_out.setdefault(what, []).append(shaft.shaft)
        return tuple(kept), values_of(kept, limits), {reason: tuple(those) for reason, those in left_out.items()}


def values_of(shafts: Collection[StockShaft], limits: Limits) -> Array:
    """Return the values of shafts that have every quantity with a limit.

    Parameters
    ----------
    shafts : Collection[StockShaft]
        The shafts.
    limits : Limits
        Limits of the sets to make.

    Returns
    -------
    Array
        Values, shape (shafts, quantities), in the order and units of `limits.quantities`.
    """
    rows = [[quantity.of(shaft) for quantity in limits.quantities] for shaft in shafts]
    return np.array(rows, float).reshape(len(rows), len(limits.quantities))


def read_stock(store: Store, *, batches: Collection[int] = (), bins: Collection[str] = ()) -> Stock:
    """Read the stock, or the part of it in some batches and bins.

    Parameters
    ----------
    store : Store
        The open store.
    batches : Collection[int]
        Batches to read; empty for all.
    bins : Collection[str]
        Bins to read; empty for all.

    Returns
    -------
    Stock
        The stock.

    Raises
    ------
    StoreError
        The store cannot be read.
    """
    left_out: dict[str, list[int]] = {}
    kept = []
    with StockRecords.of(store) as records:
        why = _reasons(records)
        rows = _counting(records, why)
        newest = _newest_rows(rows, why.same)
        against = _against(rows, newest, why)
        asked = [row for row in rows if (not batches or row.batch in batches) and (not bins or row.bin in bins)]
        twins = find_twins(records, why.same)
        likely_gone = _likely_gone(asked, newest, twins, why)
        weights = _newest_weights(records, why.same)
        for row in asked:
            shaft, key = _shaft(row, weights.get(row.shaft)), why.same.key(row.shaft)
            reason = against.get(key)
            if reason != STANDARD and row is not newest[key]:
                reason = SAME
            reason = reason or (LIKELY if key in likely_gone else None)
            if reason is not None:
                left_out.setdefault(reason, []).append(row.shaft)
            elif shaft is not None:
                kept.append(shaft)
    return Stock(
        tuple(kept),
        {reason: tuple(those) for reason, those in left_out.items()},
        _among(twins.likely, {why.same.key(row.shaft) for row in asked}),
        # Within one batch no shaft has two numbers.
        _in_part(twins.unsure, kept, why.same) if len({row.batch for row in asked}) > 1 else {},
    )


def _age(row: StandingMeasurement) -> tuple[bool, bool, int]:
    """Return the sort key of measurements of different numbers: listed, imported, made here; then by age."""
    return not row.listed, row.origin == Origin.MEASURED, row.run


def _newest_rows(rows: Iterable[StandingMeasurement], same: Identities) -> dict[int, StandingMeasurement]:
    """Return the newest measurement of each shaft by its key."""
    return {same.key(row.shaft): row for row in sorted(rows, key=_age)}


def _against(
    rows: Iterable[StandingMeasurement], newest: Mapping[int, StandingMeasurement], why: _Reasons
) -> dict[int, str]:
    """Return the reason against each shaft by its key, from its newest measurement or one imported after that.

    An imported measurement does not know of the one made here, so both count.
    """
    keyed = [(why.same.key(row.shaft), row) for row in rows]
    counts = [(key, row) for key, row in keyed if row.run >= newest[key].run and row.listed <= newest[key].listed]
    reasons = [(key, why.of(row)) for key, row in counts]
    return {key: reason for key, reason in reasons if reason is not None}


def _likely_gone(
    asked: Iterable[StandingMeasurement], newest: Mapping[int, StandingMeasurement], twins: Twins, why: _Reasons
) -> set[int]:
    """Return the keys of shafts that likely are here under a newer number, or gone under another."""
    here = {why.same.key(row.shaft) for row in asked}
    found = set()
    for pair in twins.likely:
        older, newer = sorted(pair, key=lambda key: _age(newest[key]))
        cracked = why.maybe_cracked(*pair)
        # The older number has no known place, but its shaft was there when the newer number was measured.
        if cracked or newer in here or why.is_taken(newer) or newest[newer].run in why.lost:
            found.add(older)
        if cracked or why.is_taken(older):
            found.add(newer)
    return found


def _among(pairs: Iterable[Pair], keys: Collection[int]) -> tuple[Pair, ...]:
    """Return the pairs with at least one of these keys."""
    return tuple(pair for pair in pairs if not set(pair).isdisjoint(keys))


def _in_part(
    unsure: Mapping[str, tuple[int, ...]], part: Iterable[StockShaft], same: Identities
) -> dict[str, tuple[int, ...]]:
    """Return the unsure shafts that are in this part of the stock, by reason."""
    keys = {same.key(shaft.shaft) for shaft in part}
    found = {reason: tuple(number for number in those if number in keys) for reason, those in unsure.items()}
    return {reason: those for reason, those in found.items() if those}


def each_once(store: Store, results: Iterable[StoredResult]) -> list[StoredResult]:
    """Return the newest result of each shaft, without check standards, so that repeated readings do not count as stock.

    Of measurements that did not know of each other the one made here counts.

    Parameters
    ----------
    store : Store
        The open store.
    results : Iterable[StoredResult]
        Results, in any order.

    Returns
    -------
    list[StoredResult]
        One result a shaft.
    """
    with StockRecords.of(store) as records:
        standards, same = records.standards(), known_identities(records)
    stock = [result for result in results if result.run.shaft not in standards]
    stock.sort(key=lambda result: (result.origin is Origin.MEASURED, result.run_id, result.id))
    return list({same.key(result.run.shaft): result for result in stock}.values())


def shafts_of(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Return shafts by number as they were measured last, even if something speaks against taking them.

    Parameters
    ----------
    store : Store
        The open store.
    numbers : Collection[int]
        Numbers of the shafts.

    Returns
    -------
    dict[int, StockShaft]
        The shafts by number.

    Raises
    ------
    StoreError
        One of them has no result.
    """
    found = shafts_measured(store, numbers)
    missing = [number for number in numbers if number not in found]
    if missing:
        raise StoreError(f"{store.place}: shaft {missing[0]} has no result; measure it first")
    return found


def shafts_measured(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Return the shafts that have a result, by number.

    Parameters
    ----------
    store : Store
        The open store.
    numbers : Collection[int]
        Numbers of the shafts.

    Returns
    -------
    dict[int, StockShaft]
        The shafts by number; those without a result are missing.
    """
    with StockRecords.of(store) as records:
        why = _reasons(records)
        weights = _newest_weights(records, why.same)
        rows = _counting(records, why)
        found = {row.shaft: _shaft(row, weights.get(row.shaft)) for row in rows if row.shaft in numbers}
    return {number: shaft for number, shaft in found.items() if shaft is not None}


@dataclass(frozen=True, slots=True)
class NewestOfShaft:
    """Measurement that counts for a shaft, and what speaks against the shaft.

    Parameters
    ----------
    row : StandingMeasurement
        Newest measurement that counts, under the newest number of the shaft.
    shaft : StockShaft | None
        The shaft as sets see it, None without a spine.
    against : str | None
        Why it is no stock, None if it is.
    """

    row: StandingMeasurement
    shaft: StockShaft | None
    against: str | None


def newest_of_each(store: Store) -> tuple[Identities, dict[int, NewestOfShaft]]:
    """Return every measured shaft once, those included that are no stock.

    Parameters
    ----------
    store : Store
        The open store.

    Returns
    -------
    tuple[Identities, dict[int, NewestOfShaft]]
        Which numbers are one shaft, and what counts for each shaft by its lowest number.
    """
    with StockRecords.of(store) as records:
        why = _reasons(records)
        rows = _counting(records, why)
        newest = _newest_rows(rows, why.same)
        against, weights = _against(rows, newest, why), _newest_weights(records, why.same)
    return why.same, {
        key: NewestOfShaft(row, _shaft(row, weights.get(row.shaft)), against.get(key)) for key, row in newest.items()
    }


def converted_words(shafts: Collection[StockShaft]) -> str | None:
    """Return the sentence that says how many spines were converted to the reference condition.

    Parameters
    ----------
    shafts : Collection[StockShaft]
        The shafts.

    Returns
    -------
    str | None
        A sentence, None if every spine is stated for the reference condition.

    Examples
    --------
    >>> shaft = StockShaft(1, "", 1, None, 500.0, 0.1, None, None, None)
    >>> converted_words([shaft]) is None
    True
    >>> converted_words([shaft, replace(shaft, definition="middle of the supports")])
    '1 of 2 spines is from an earlier version and was converted to normal reactions; renew it with: midspan recompute'
    """
    number = sum(shaft.definition != DEFINITION for shaft in shafts)
    if not number:
        return None
    verbs = "is from an earlier version and was" if number == 1 else "are from an earlier version and were"
    which = "it" if number == 1 else "them"
    return f"{number} of {len(shafts)} spines {verbs} converted to {DEFINITION}; renew {which} with: midspan recompute"


def spoken_against(store: Store, numbers: Collection[int]) -> dict[int, str]:
    """Return what by now speaks against shafts: a shaft of a set may have been found cracked since it was taken.

    Parameters
    ----------
    store : Store
        The open store.
    numbers : Collection[int]
        Numbers of the shafts.

    Returns
    -------
    dict[int, str]
        The first reason by number; a shaft without a reason is missing.
    """
    with StockRecords.of(store) as records:
        why = _reasons(records)
        taken, why = why.taken, replace(why, taken=frozenset(), shipped=frozenset())
        rows = _counting(records, why)
        by_shaft = _against(rows, _newest_rows(rows, why.same), why)
        cracked = _likely_cracked(records, why) if why.cracked else frozenset()
    found = {}
    for number in numbers:
        twice = any(other in taken for other in why.same.numbers(number) if other != number)
        likely = LIKELY_CRACKED if why.same.key(number) in cracked else None
        reason = by_shaft.get(why.same.key(number)) or likely or (TWICE if twice else None)
        if reason is not None:
            found[number] = reason
    return found


def beside_verdict(store: Store, shaft: int) -> str | None:
    """Return what speaks against a shaft besides its own verdict.

    Parameters
    ----------
    store : Store
        The open store.
    shaft : int
        Number of the shaft.

    Returns
    -------
    str | None
        The reason, None if there is none.
    """
    reason = spoken_against(store, [shaft]).get(shaft)
    return None if reason in (UNMEASURED, NO_REPEAT_HELPS, *OUTCOMES.values()) else reason


def _likely_cracked(records: StockRecords, why: _Reasons) -> frozenset[int]:
    """Return keys of shafts whose likely twins are suspected of a crack."""
    pairs = find_twins(records, why.same).likely
    return frozenset(key for pair in pairs if why.maybe_cracked(*pair) for key in pair)


def full_results(store: Store, shafts: Iterable[StockShaft]) -> dict[int, MeasuredResult]:
    """Return the whole results of shafts.

    Parameters
    ----------
    store : Store
        The open store.
    shafts : Iterable[StockShaft]
        The shafts.

    Returns
    -------
    dict[int, MeasuredResult]
        Their results by number of the shaft.
    """
    return results_by_number(store, [shaft.result for shaft in shafts])


def _counting(records: StockRecords, why: _Reasons) -> list[StandingMeasurement]:
    """Return the measurement of each number that counts, the worst where several stand side by side."""
    side_by_side: dict[int, list[StandingMeasurement]] = {}
    for row in records.standing():
        side_by_side.setdefault(row.shaft, []).append(row)
    side_by_side = _all_labelled(side_by_side, why.same)
    why.contradicted.update(shaft for shaft, rows in side_by_side.items() if _contradict(rows))
    return [rows[0] if len(rows) == 1 else min(rows, key=why.worst_first) for rows in side_by_side.values()]


def _all_labelled(
    rows: Mapping[int, Sequence[StandingMeasurement]], same: Identities
) -> dict[int, list[StandingMeasurement]]:
    """Return the measurements of each number, those without a label with that of the shaft's other numbers."""
    labels = {row.shaft: row.label for those in rows.values() for row in those if row.label}
    return {
        number: [row if row.label else replace(row, label=label_among(same.numbers(number), labels)) for row in those]
        for number, those in rows.items()
    }


def label_among(numbers: Iterable[int], labels: Mapping[int, str]) -> str:
    """Return the label of a shaft that was given under some of its numbers.

    Parameters
    ----------
    numbers : Iterable[int]
        Its numbers, ascending.
    labels : Mapping[int, str]
        Labels by number, without empty ones.

    Returns
    -------
    str
        The label of the highest number that has one, empty if none has.

    Examples
    --------
    >>> label_among((16, 304), {16: "B-2"}), label_among((16, 304), {})
    ('B-2', '')
    """
    return next((labels[number] for number in sorted(numbers, reverse=True) if number in labels), "")


def _contradict(rows: Sequence[StandingMeasurement]) -> bool:
    """Return True if measurements of one shaft differ by more than their uncertainty, or lead into different bins.

    Bins are compared only between spines of one definition: near a border another definition is another bin.
    """
    measured = [
        (row, row.spine_thou, row.u_spine_thou)
        for row in rows
        if row.spine_thou is not None and row.u_spine_thou is not None and not row.listed
    ]
    return any(
        (row.bin != other.bin and row.definition == other.definition)
        or abs(spine - other_spine) > AGREE_SIGMAS * math.hypot(u, other_u)
        for (row, spine, u), (other, other_spine, other_u) in combinations(measured, 2)
    )


def _shaft(row: StandingMeasurement, weight_g: float | None) -> StockShaft | None:
    """Return the shaft of a row, None if it has no spine."""
    if row.spine_thou is None or row.u_spine_thou is None or not math.isfinite(row.spine_thou):
        return None
    return StockShaft(
        row.shaft, row.label, row.result, row.bin, row.spine_thou, row.u_spine_thou, row.spread_thou,
        None if row.runout_mm is None else row.runout_mm / MM_PER_THOU,
        None if weight_g is None else weight_g / GRAM_PER_GRAIN, row.definition,
        row.dof_spine, row.older_lb, row.u_older_lb,
    )  # fmt: skip


@dataclass(frozen=True)
class _Reasons:
    """Everything that speaks against shafts.

    `suspect` are measurements that a check speaks against, `lost` those whose shafts have no known bin, both by number
    of the run. What is by number of a shaft counts for all its numbers. `cracked` and `vouched` give the newest run
    that suspects a crack, and the run that a person vouched for.
    """

    same: Identities
    standards: frozenset[int]
    taken: frozenset[int]
    shipped: frozenset[int]
    spent: Mapping[int, bool]
    suspect: frozenset[int]
    lost: frozenset[int]
    cracked: Mapping[int, int]
    vouched: Mapping[int, int]
    contradicted: set[int] = field(default_factory=set)

    def of(self, row: StandingMeasurement) -> str | None:
        """Return the first reason against a shaft, None if there is none."""
        numbers = self.same.numbers(row.shaft)
        found = (
            (not self.standards.isdisjoint(numbers), STANDARD),
            (self.maybe_cracked(row.shaft), CRACKED),  # before everything else: this one can hurt somebody
            (not self.shipped.isdisjoint(numbers), SHIPPED),
            (not self.taken.isdisjoint(numbers), IN_A_SET),
            (self._is_spent(numbers), SPENT),
            (row.listed, LISTED),
            (row.spine_thou is None and row.outcome == Outcome.DOUBTFUL, UNMEASURED),
            (row.outcome == Outcome.DOUBTFUL and not row.repeat_helps, NO_REPEAT_HELPS),
            (row.outcome in OUTCOMES, OUTCOMES.get(row.outcome)),
            (row.run in self.suspect, SUSPECT),
            (row.run in self.lost, UNKNOWN),
            (row.shaft in self.contradicted, CONTRADICTED),
            (row.definition != DEFINITION and not math.isfinite(row.spine_thou or 0.0), STATED_OTHERWISE),
            (row.spine_thou is None or not math.isfinite(row.spine_thou) or row.u_spine_thou is None, UNMEASURED),
        )
        return next((reason for applies, reason in found if applies), None)

    def is_taken(self, shaft: int) -> bool:
        """Return True if a shaft is in a set or spent."""
        numbers = self.same.numbers(shaft)
        return not self.taken.isdisjoint(numbers) or self._is_spent(numbers)

    def maybe_cracked(self, *shafts: int) -> bool:
        """Return True if a shaft with these numbers, known or likely, may be cracked and was not vouched for since."""
        numbers = [number for shaft in shafts for number in self.same.numbers(shaft)]
        vouched = max(self.vouched.get(number, -1) for number in numbers)
        return any(self.cracked.get(number, -1) > vouched for number in numbers)

    def _is_spent(self, numbers: Iterable[int]) -> bool:
        """Return True if one of these numbers is marked as spent."""
        return any(self.spent.get(number, False) for number in numbers)

    def worst_first(self, row: StandingMeasurement) -> tuple[bool, bool, int, bool, int]:
        """Return the sort key of measurements of one shaft that stand side by side; the first one counts."""
        worst = WORST_FIRST.index(row.outcome)
        return row.listed, self.of(row) is None, worst, row.origin != Origin.MEASURED, -row.run


def _reasons(records: StockRecords) -> _Reasons:
    """Read everything that speaks against shafts."""
    return _Reasons(
        known_identities(records), records.standards(), records.in_sets(), records.shipped(), records.spent(),
        records.suspect(), records.lost(), records.cracked(), records.vouched(),
    )  # fmt: skip


def _newest_weights(records: StockRecords, same: Identities) -> dict[int, float]:
    """Return the newest weight of each shaft in g, under all its numbers."""
    return {number: weight_g for shaft, weight_g in records.weights_g() for number in same.numbers(shaft)}
