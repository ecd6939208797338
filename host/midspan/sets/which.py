"""Ask a store which known shaft a measurement is of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from midspan.base.errors import StoreError
from midspan.measurement.result_form import ResultKind
from midspan.sets.fingerprint import ENOUGH_REPEATS, Repeats, prints_of, repeats_of
from midspan.sets.measured_stock import Condition, MeasuredStock
from midspan.sets.recognise import UNKNOWN_BEFOREHAND, KnownShafts, Naming, Recognition, recognise
from midspan.store.comparable import ComparableResult
from midspan.store.database import Store
from midspan.store.identity import Identities, known_identities
from midspan.store.older_spines import CURRENT
from midspan.store.stock_records import StockRecords

EVALUATED = (ResultKind.GAUGE, ResultKind.HAND_BENCH)  # kinds that are evaluated from readings
MS_A_DAY = 86_400_000
LIKELY_IF_USED = 0.2  # probability from which a shaft that use may have changed is worth a word
EARLIER_VERSION = "measured by an earlier version of Midspan: midspan recompute makes them comparable"


@dataclass(frozen=True)
class Which:
    """Which known shaft a measurement is of, and what that rests on.

    Parameters
    ----------
    asked : ComparableResult
        The measurement.
    found : Recognition
        The answer.
    if_used : Recognition | None
        The answer if shafts may have changed with use, where that names a shaft and the answer is not sure of one;
        None elsewhere.
    by_number : Mapping[int, ComparableResult]
        Results of the known shafts, by number.
    same : Identities
        Numbers that belong to one shaft by labels and statements.
    left_out : Mapping[str, int]
        Numbers of known shafts that were not compared, by reason.
    """

    asked: ComparableResult
    found: Recognition
    if_used: Recognition | None
    by_number: Mapping[int, ComparableResult]
    same: Identities
    left_out: Mapping[str, int]

    @property
    def joined(self) -> tuple[int, ...]:
        """Other numbers that a label or a person says are this shaft."""
        return tuple(number for number in self.same.numbers(self.asked.shaft) if number != self.asked.shaft)

    def days_since(self, shaft: int) -> float | None:
        """Return how long before this measurement a known shaft was measured.

        Parameters
        ----------
        shaft : int
            Number of a known shaft.

        Returns
        -------
        float | None
            Days, None if either result has no date.
        """
        then, now = self.by_number[shaft].at_ms, self.asked.at_ms
        return None if then is None or now is None else (now - then) / MS_A_DAY

    def is_same_calibration(self, shaft: int) -> bool:
        """Return True if a known shaft was measured by the same gauge under the same calibration.

        Parameters
        ----------
        shaft : int
            Number of a known shaft.

        Returns
        -------
        bool
            False for another gauge, calibration or evaluation.
        """
        return Condition.of(self.by_number[shaft]) == Condition.of(self.asked)


def which_shaft(
    store: Store, shaft: int | None = None, used: bool = False, unknown: float = UNKNOWN_BEFOREHAND
) -> Which:
    """Return which known shaft the newest measurement of a number is of.

    Parameters
    ----------
    store : Store
        The open store.
    shaft : int | None
        Number of the shaft asked about; None for the newest measurement of all.
    used : bool
        True to allow for what use may have changed.
    unknown : float
        Probability beforehand that it was never measured under another number.

    Returns
    -------
    Which
        The answer.

    Raises
    ------
    StoreError
        Nothing was measured (code "never_measured").
    """
    with StockRecords.of(store) as records:
        same, results = known_identities(records), records.comparable()
    asked = _asked(results, shaft, store)
    chosen, left_out = _chosen(results, asked, same)
    known, repeats = _known_shafts(chosen, asked, MeasuredStock.sorted(results, same))
    print_asked = prints_of([asked])
    (found,) = recognise(print_asked, known, repeats, used, unknown)
    if_used = None
    if not used and found.naming is not Naming.SURE:
        (changed,) = recognise(print_asked, known, repeats, True, unknown)
        if changed.candidates and changed.candidates[0].probability >= LIKELY_IF_USED:
            if_used = changed
    return Which(asked, found, if_used, {row.shaft: row for row in chosen}, same, left_out)


def _asked(results: Sequence[ComparableResult], shaft: int | None, store: Store) -> ComparableResult:
    """Return the result of the newest measurement of a shaft, or of all."""
    own = [row for row in results if shaft is None or row.shaft == shaft]
    if not own:
        whose = "no shaft" if shaft is None else f"shaft {shaft} was not"
        raise StoreError(
            f"{store.place}: {whose} {'was ' if shaft is None else ''}measured with a result; measure it first",
            code="never_measured",
        )
    return max(reversed(own), key=lambda row: row.run)  # of its newest run the newest result


def _chosen(
    results: Sequence[ComparableResult], asked: ComparableResult, same: Identities
) -> tuple[list[ComparableResult], dict[str, int]]:
    """Return for each known shaft the result to compare, and how many shafts cannot be compared, by reason.

    A result under the same calibration tells more than any other, and one with all its waves more than a spine.
    """
    condition = Condition.of(asked)
    best: dict[int, tuple[tuple[bool, bool], ComparableResult]] = {}
    older: set[int] = set()
    for row in results:
        key = same.key(row.shaft)
        if row.shaft == asked.shaft or row.standard is not None or same.are_two(asked.shaft, row.shaft):
            continue
        if row.kind in EVALUATED and row.evaluation not in (*CURRENT, asked.evaluation):
            older.add(key)
            continue
        rank = (Condition.of(row) == condition, row.is_whole)
        if key not in best or rank >= best[key][0]:
            best[key] = rank, row
    left = len(older - best.keys())
    return [row for _, row in best.values()], {EARLIER_VERSION: left} if left else {}


def _known_shafts(
    chosen: Sequence[ComparableResult], asked: ComparableResult, measured: MeasuredStock
) -> tuple[list[KnownShafts], Repeats | None]:
    """Return the known shafts by condition, and how well the gauge that measured the shaft asked about repeats."""
    groups: dict[tuple[Condition, bool], list[ComparableResult]] = {}
    for row in chosen:
        groups.setdefault((Condition.of(row), row.is_whole), []).append(row)
    of_all = repeats_of([traits for condition in measured.again for traits in measured.repeated(condition)])

    def repeats(condition: Condition) -> Repeats | None:
        own = repeats_of(measured.repeated(condition))
        return own if own is not None and own.dof >= ENOUGH_REPEATS else _elsewhere(condition, of_all)

    whose = Condition.of(asked)
    known = [
        KnownShafts([row.shaft for row in rows], prints_of(rows), repeats(condition), condition == whose)
        for (condition, _), rows in groups.items()
    ]
    return known, repeats(whose)


def _elsewhere(condition: Condition, of_all: Repeats | None) -> Repeats | None:
    """Return how mountings repeat on all gauges; None for a hand bench, whose readings repeat otherwise."""
    return of_all if condition.kind is ResultKind.GAUGE else None
