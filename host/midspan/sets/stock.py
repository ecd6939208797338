"""The stock: every measured shaft by its newest result, and those that are left out of sets with the reason.

A shaft may have several numbers (identity): it is there once, by the newest of them, and what speaks against it under
one number does under all. Of shafts that are likely one (twins) at most one is there. The measurement that no other
supersedes counts, and of that the newest result, so that readings made again under a better calibration count and old
ones do not come back (measurements). Where several stand side by side the worse counts, and two that contradict each
other are no stock. Only what was accepted is: a shaft whose hysteresis hints at a crack must not get into anybody's
dozen.
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
from midspan.sets.identity import Identities, Pair
from midspan.sets.limits import Array, Limits
from midspan.sets.twins import Twins, find_twins, known_identities
from midspan.store.database import WORST_FIRST, Store
from midspan.store.evaluation import Origin, StoredResult
from midspan.store.stock_records import StandingMeasurement, StockRecords, results_by_number
from midspan.store.stored_result import MeasuredResult

OUTCOMES = {
    Outcome.DOUBTFUL: "doubtful, or not judged by any bands: measure it again",
    Outcome.REJECTED: "rejected",
    Outcome.INSTRUMENT_FAULT: "measured while the gauge was at fault: measure it again",
}
STANDARD, IN_A_SET, SPENT = "a check standard", "in a set already", "marked as spent"
UNMEASURED, SUSPECT = "not measured", "suspect since a check standard was out: measure it again"
UNKNOWN = "nobody knows where it went"
CRACKED = "suspected of a crack"
SAME = "the same shaft as one with a newer number"
LIKELY = "likely the same shaft as another: see midspan sets twins"
LIKELY_CRACKED = "likely the same shaft as one that is suspected of a crack: see midspan sets twins"
TWICE = "it is in a set under another of its numbers too"
CONTRADICTED = "two measurements contradict each other: measure it again"
AGREE_SIGMAS = 3.0  # standard uncertainties by which two measurements of one shaft may differ


@dataclass(frozen=True, slots=True)
class StockShaft:
    """A shaft as sets see it; each in its unit, None where it was not measured. `u_spine_thou` at k = 1."""

    shaft: int
    label: str
    result: int
    bin: str | None
    spine_thou: float
    u_spine_thou: float
    spread_thou: float | None
    runout_thou: float | None
    weight_gr: float | None

    @property
    def name(self) -> str:
        """Number and label."""
        return f"{self.shaft} {self.label}".strip()


@dataclass(frozen=True)
class Stock:
    """Shafts by their number, and by reason the numbers of those left out.

    `likely` are pairs of numbers of likely one shaft, as far as one of both was asked for; `unsure` are shafts of which
    nobody can tell whether they are there under another number too, by reason.
    """

    shafts: tuple[StockShaft, ...]
    left_out: Mapping[str, tuple[int, ...]]
    likely: tuple[Pair, ...] = ()
    unsure: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def fit_for(self, limits: Limits) -> tuple[tuple[StockShaft, ...], Array, dict[str, tuple[int, ...]]]:
        """Shafts that have all that limits ask of, with these values [shafts, quantities], and those left out now."""
        left_out = {reason: list(numbers) for reason, numbers in self.left_out.items()}
        kept = []
        for one in self.shafts:
            missing = next((quantity.name for quantity in limits.quantities if quantity.of(one) is None), None)
            if missing is None:
                kept.append(one)
            else:
                what = "not weighed" if missing == "weight_gr" else f"its {missing.partition('_')[0]} was not measured"
                left_out.setdefault(what, []).append(one.shaft)
        return tuple(kept), values_of(kept, limits), {reason: tuple(those) for reason, those in left_out.items()}


def values_of(shafts: Collection[StockShaft], limits: Limits) -> Array:
    """Values of shafts that have them all [shafts, quantities], in the order and units of limits.quantities."""
    rows = [[quantity.of(one) for quantity in limits.quantities] for one in shafts]
    return np.array(rows, float).reshape(len(rows), len(limits.quantities))


def read_stock(store: Store, *, batches: Collection[int] = (), bins: Collection[str] = ()) -> Stock:
    """The stock of a store, or that part of it that some batches and bins hold."""
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
            one, key = _shaft(row, weights.get(row.shaft)), why.same.key(row.shaft)
            reason = against.get(key)
            if reason != STANDARD and row is not newest[key]:
                reason = SAME
            reason = reason or (LIKELY if key in likely_gone else None)
            if reason is not None:
                left_out.setdefault(reason, []).append(row.shaft)
            elif one is not None:
                kept.append(one)
    return Stock(
        tuple(kept),
        {reason: tuple(those) for reason, those in left_out.items()},
        _among(twins.likely, {why.same.key(row.shaft) for row in asked}),
        # Within one batch each shaft has a number of its own.
        _in_part(twins.unsure, kept, why.same) if len({row.batch for row in asked}) > 1 else {},
    )


def _age(row: StandingMeasurement) -> tuple[bool, int]:
    """Sort key of measurements of different numbers: the newest last, what was measured here after the rest."""
    return row.origin == Origin.MEASURED, row.run


def _newest_rows(rows: Iterable[StandingMeasurement], same: Identities) -> dict[int, StandingMeasurement]:
    """Return the newest measurement of each shaft by its key."""
    return {same.key(row.shaft): row for row in sorted(rows, key=_age)}


def _against(
    rows: Iterable[StandingMeasurement], newest: Mapping[int, StandingMeasurement], why: _Reasons
) -> dict[int, str]:
    """Return what the newest measurement, or one imported since, which knew nothing of it, says against each shaft."""
    keyed = [(why.same.key(row.shaft), row) for row in rows]
    reasons = [(key, why.of(row)) for key, row in keyed if row.run >= newest[key].run]
    return {key: reason for key, reason in reasons if reason is not None}


def _likely_gone(
    asked: Iterable[StandingMeasurement], newest: Mapping[int, StandingMeasurement], twins: Twins, why: _Reasons
) -> set[int]:
    """Return keys of shafts that likely stand here under a newer number, or are gone under another one."""
    here = {why.same.key(row.shaft) for row in asked}
    found = set()
    for pair in twins.likely:
        older, newer = sorted(pair, key=lambda key: _age(newest[key]))
        cracked = why.maybe_cracked(*pair)
        # Nobody knows where the older one went, but it was there when the newer one was measured.
        if cracked or newer in here or why.is_taken(newer) or newest[newer].run in why.lost:
            found.add(older)
        if cracked or why.is_taken(older):
            found.add(newer)
    return found


def _among(pairs: Iterable[Pair], keys: Collection[int]) -> tuple[Pair, ...]:
    return tuple(pair for pair in pairs if not set(pair).isdisjoint(keys))


def _in_part(
    unsure: Mapping[str, tuple[int, ...]], part: Iterable[StockShaft], same: Identities
) -> dict[str, tuple[int, ...]]:
    keys = {same.key(one.shaft) for one in part}
    found = {reason: tuple(number for number in those if number in keys) for reason, those in unsure.items()}
    return {reason: those for reason, those in found.items() if those}


def each_once(store: Store, results: Iterable[StoredResult]) -> list[StoredResult]:
    """Of each shaft the newest of these results, none of a check standard: a heap of readings is no stock of shafts.

    Of measurements that knew nothing of each other the one that was made here counts.
    """
    with StockRecords.of(store) as records:
        standards, same = records.standards(), known_identities(records)
    stock = [one for one in results if one.run.shaft not in standards]
    stock.sort(key=lambda one: (one.origin is Origin.MEASURED, one.run_id, one.id))
    return list({same.key(one.run.shaft): one for one in stock}.values())


def shafts_of(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Shafts by number as they were measured last, whatever speaks against taking them; StoreError when one was not."""
    found = shafts_measured(store, numbers)
    missing = [number for number in numbers if number not in found]
    if missing:
        raise StoreError(f"{store.place}: shaft {missing[0]} has no result; measure it first")
    return found


def shafts_measured(store: Store, numbers: Collection[int]) -> dict[int, StockShaft]:
    """Those of the shafts that have a result, by number."""
    with StockRecords.of(store) as records:
        why = _reasons(records)
        weights = _newest_weights(records, why.same)
        rows = _counting(records, why)
        found = {row.shaft: _shaft(row, weights.get(row.shaft)) for row in rows if row.shaft in numbers}
    return {number: one for number, one in found.items() if one is not None}


def spoken_against(store: Store, numbers: Collection[int]) -> dict[int, str]:
    """What speaks against shafts by now, by number: a shaft of a set may have been found cracked since it was taken."""
    with StockRecords.of(store) as records:
        why = _reasons(records)
        taken, why = why.taken, replace(why, taken=frozenset())
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
    """What speaks against a shaft though its own verdict does not say it, None when nothing does."""
    reason = spoken_against(store, [shaft]).get(shaft)
    return None if reason == UNMEASURED or reason in OUTCOMES.values() else reason


def _likely_cracked(records: StockRecords, why: _Reasons) -> frozenset[int]:
    """Return keys of shafts whose likely twins are suspected of a crack."""
    pairs = find_twins(records, why.same).likely
    return frozenset(key for pair in pairs if why.maybe_cracked(*pair) for key in pair)


def full_results(store: Store, shafts: Iterable[StockShaft]) -> dict[int, MeasuredResult]:
    """Return the results of shafts by their number, whole."""
    return results_by_number(store, [shaft.result for shaft in shafts])


def _counting(records: StockRecords, why: _Reasons) -> list[StandingMeasurement]:
    """Return the measurement of each shaft that counts, by its number."""
    side_by_side: dict[int, list[StandingMeasurement]] = {}
    for row in records.standing():
        side_by_side.setdefault(row.shaft, []).append(row)
    why.contradicted.update(shaft for shaft, rows in side_by_side.items() if _contradict(rows))
    return [rows[0] if len(rows) == 1 else min(rows, key=why.worst_first) for rows in side_by_side.values()]


def _contradict(rows: Sequence[StandingMeasurement]) -> bool:
    """Return whether measurements of one shaft differ by more than their uncertainty, or lead into different bins."""
    measured = [
        (row.bin, row.spine_thou, row.u_spine_thou)
        for row in rows
        if row.spine_thou is not None and row.u_spine_thou is not None
    ]
    return any(
        bin_name != other_bin or abs(spine - other_spine) > AGREE_SIGMAS * math.hypot(u, other_u)
        for (bin_name, spine, u), (other_bin, other_spine, other_u) in combinations(measured, 2)
    )


def _shaft(row: StandingMeasurement, weight_g: float | None) -> StockShaft | None:
    """The shaft of a row; None when it has no spine."""
    if row.spine_thou is None or row.u_spine_thou is None or not math.isfinite(row.spine_thou):
        return None
    return StockShaft(
        row.shaft, row.label, row.result, row.bin, row.spine_thou, row.u_spine_thou, row.spread_thou,
        None if row.runout_mm is None else row.runout_mm / MM_PER_THOU,
        None if weight_g is None else weight_g / GRAM_PER_GRAIN,
    )  # fmt: skip


@dataclass(frozen=True)
class _Reasons:
    """Why shafts are left out. `suspect` are measurements that a check speaks against, `lost` those of shafts of which
    nobody knows where they went, both by the number of the run. What is by the number of a shaft counts for all numbers
    that it has; `cracked` and `vouched` give the newest run that suspects a crack, and the one somebody vouched for.
    """

    same: Identities
    standards: frozenset[int]
    taken: frozenset[int]
    spent: Mapping[int, bool]
    suspect: frozenset[int]
    lost: frozenset[int]
    cracked: Mapping[int, int]
    vouched: Mapping[int, int]
    contradicted: set[int] = field(default_factory=set)

    def of(self, row: StandingMeasurement) -> str | None:
        """The first reason against a shaft, None when there is none."""
        numbers = self.same.numbers(row.shaft)
        found = (
            (not self.standards.isdisjoint(numbers), STANDARD),
            (not self.taken.isdisjoint(numbers), IN_A_SET),
            (self._is_spent(numbers), SPENT),
            (self.maybe_cracked(row.shaft), CRACKED),
            (row.spine_thou is None and row.outcome == Outcome.DOUBTFUL, UNMEASURED),
            (row.outcome in OUTCOMES, OUTCOMES.get(row.outcome)),
            (row.run in self.suspect, SUSPECT),
            (row.run in self.lost, UNKNOWN),
            (row.shaft in self.contradicted, CONTRADICTED),
            (row.spine_thou is None or not math.isfinite(row.spine_thou) or row.u_spine_thou is None, UNMEASURED),
        )
        return next((reason for so, reason in found if so), None)

    def is_taken(self, shaft: int) -> bool:
        """Whether a shaft is in a set or spent."""
        numbers = self.same.numbers(shaft)
        return not self.taken.isdisjoint(numbers) or self._is_spent(numbers)

    def maybe_cracked(self, *shafts: int) -> bool:
        """Whether what is one shaft, known or likely, may be cracked, and nobody vouched for it since."""
        numbers = [number for shaft in shafts for number in self.same.numbers(shaft)]
        vouched = max(self.vouched.get(number, -1) for number in numbers)
        return any(self.cracked.get(number, -1) > vouched for number in numbers)

    def _is_spent(self, numbers: Iterable[int]) -> bool:
        return any(self.spent.get(number, False) for number in numbers)

    def worst_first(self, row: StandingMeasurement) -> tuple[bool, int, bool, int]:
        """Sort key of measurements of one shaft that stand side by side: the one that counts comes first."""
        worst = WORST_FIRST.index(row.outcome)
        return self.of(row) is None, worst, row.origin != Origin.MEASURED, -row.run


def _reasons(records: StockRecords) -> _Reasons:
    return _Reasons(
        known_identities(records), records.standards(), records.in_sets(), records.spent(), records.suspect(),
        records.lost(), records.cracked(), records.vouched(),
    )  # fmt: skip


def _newest_weights(records: StockRecords, same: Identities) -> dict[int, float]:
    """Return the newest weight of each shaft in g, under all numbers that it has."""
    return {number: weight_g for shaft, weight_g in records.weights_g() for number in same.numbers(shaft)}
