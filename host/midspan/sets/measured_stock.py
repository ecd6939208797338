"""All measured shafts, sorted by gauge and calibration: within these, results are compared by what repeats."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Self

from midspan.measurement.result_form import ResultKind
from midspan.sets.fingerprint import prints_of
from midspan.sets.limits import Array
from midspan.store.comparable import ComparableResult
from midspan.store.evaluation import Origin
from midspan.store.identity import Identities
from midspan.store.stock_records import StockRecords


@dataclass(frozen=True)
class Condition:
    """Instrument, calibration and evaluation of a result.

    Parameters
    ----------
    kind : ResultKind
        Kind of the result.
    gauge : str
        Name of the gauge.
    calibration : str | None
        Id of the calibration.
    evaluation : str | None
        Version of the evaluation.
    """

    kind: ResultKind
    gauge: str
    calibration: str | None
    evaluation: str | None

    @classmethod
    def of(cls, result: ComparableResult) -> Self:
        """Return the condition of a result.

        Parameters
        ----------
        result : ComparableResult
            The result.

        Returns
        -------
        Condition
            Its condition.
        """
        return cls(result.kind, result.gauge or "", result.calibration, result.evaluation)

    @property
    def words(self) -> str:
        """Gauge and calibration, for a message."""
        return f"gauge {self.gauge} under calibration {self.calibration}"


@dataclass(frozen=True)
class MeasuredStock:
    """Results of all shafts by condition.

    Parameters
    ----------
    stock : Mapping[Condition, Mapping[int, ComparableResult]]
        Newest whole result of each shaft by its lowest number, by condition; check standards are left out.
    again : Mapping[Condition, Mapping[tuple[object, int], ComparableResult]]
        Newest whole result of each shaft in each batch, and of each passage of a check standard.
    slight : Mapping[int, ComparableResult]
        Newest result of each shaft that says little more than its spine, by the number of the shaft.
    """

    stock: Mapping[Condition, Mapping[int, ComparableResult]]
    again: Mapping[Condition, Mapping[tuple[object, int], ComparableResult]]
    slight: Mapping[int, ComparableResult]

    @classmethod
    def of(cls, records: StockRecords, same: Identities) -> Self:
        """Read the results of a store.

        Parameters
        ----------
        records : StockRecords
            Open records of the stock.
        same : Identities
            Numbers known to belong to one shaft.

        Returns
        -------
        MeasuredStock
            The results.
        """
        return cls.sorted(records.comparable(), same)

    @classmethod
    def sorted(cls, results: Iterable[ComparableResult], same: Identities) -> Self:
        """Sort results by their conditions.

        Parameters
        ----------
        results : Iterable[ComparableResult]
            Results, the oldest first.
        same : Identities
            Numbers known to belong to one shaft.

        Returns
        -------
        MeasuredStock
            The results by condition.
        """
        stock: dict[Condition, dict[int, ComparableResult]] = {}
        again: dict[Condition, dict[tuple[object, int], ComparableResult]] = {}
        slight: dict[int, ComparableResult] = {}
        for row in results:
            if not row.is_whole:
                slight[row.shaft] = row
                continue
            condition = Condition.of(row)
            # The newest of each batch counts. A check standard gets a new number each time. A result from an archive
            # may rest on the same readings, so it is no repeat.
            if row.origin == Origin.MEASURED:
                once = (row.standard, row.shaft) if row.standard else (row.shaft, row.batch)
                again.setdefault(condition, {})[once] = row
            if row.standard is None:
                stock.setdefault(condition, {})[same.key(row.shaft)] = row
        return cls(stock, again, slight)

    @property
    def conditions(self) -> list[Condition]:
        """Conditions, that with the most shafts first."""
        return sorted(self.stock, key=lambda condition: -len(self.stock[condition]))

    def repeated(self, condition: Condition) -> list[Array]:
        """Return the traits of what was measured more than once.

        Parameters
        ----------
        condition : Condition
            Gauge and calibration.

        Returns
        -------
        list[Array]
            Traits of each, shape (times, 7); see `Fingerprints.traits`.
        """
        groups: dict[object, list[ComparableResult]] = {}
        for (whose, _), row in self.again.get(condition, {}).items():
            groups.setdefault(whose, []).append(row)
        return [prints_of(rows).traits for rows in groups.values() if len(rows) > 1]

    def apart(self) -> list[tuple[str, list[int]]]:
        """Return the shafts that cannot be compared with most of the others.

        Returns
        -------
        list[tuple[str, list[int]]]
            Reason and numbers of shafts; those of the condition with the most shafts come in no reason.
        """
        if not self.stock:
            return []
        first, *rest = self.conditions
        done = set(self.stock[first])
        found = []
        for condition in rest:
            others = [shaft for shaft in self.stock[condition] if shaft not in done]
            found.append((f"measured by {condition.words}, most others by {first.words}", others))
            done |= set(others)
        return [*found, ("the result says too little of it", sorted(self.slight.keys() - done))]
