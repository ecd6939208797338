"""Groups of shafts read from the store for a comparison: each shaft once, by its newest measurement in the group.

A measurement that a later one superseded takes part where days, batches or gauges are asked for: so a dozen of last
year is found as it was then. Void measurements are ignored; check standards, and measurements of a gauge at fault or in
doubt, are left out and counted.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.formatting import printable
from midspan.base.units import GRAM_PER_GRAIN, MM_PER_THOU
from midspan.decision.decision import Outcome
from midspan.sets.common_errors import CommonErrors, Indices, common_errors
from midspan.sets.difference_uncertainty import MemberResult
from midspan.sets.limits import Array
from midspan.sets.registry import Sets
from midspan.sets.selection import ConditionKind, Selection, ShaftCondition
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind, SetDetailKind
from midspan.store.evaluation import Origin
from midspan.store.group_records import GroupRecords, MeasuredColumns
from midspan.store.identity import Identities, known_identities
from midspan.store.set_records import WeightRecord

QUANTITIES = ("spine_thou", "spread_thou", "runout_thou", "weight_gr")
FEWEST = 2  # shafts: fewer have no scatter
SHOWN_NAMES = 6
STANDARD, FAULT = "check standards", "measured while the gauge was at fault"
SUSPECT, NOT_MEASURED = "in doubt since a check standard was out", "not measured"
STATED_OTHERWISE = "stated for other supports: evaluate their readings again"


@dataclass(frozen=True)
class ShaftGroup:
    """A group of shafts, each once; all arrays have the shape (shafts,) and one order.

    Parameters
    ----------
    name : str
        The selection as it was asked for.
    keys : Indices
        Lowest number of each shaft, which stands for all its numbers; ascending.
    shafts : Indices
        Number under which each was measured.
    labels : tuple[str, ...]
        Their labels, empty where they have none.
    results : Indices
        Numbers of the results.
    rows : Indices
        Rows of the results in the common errors.
    values : Mapping[str, Array]
        Values by QUANTITIES, not a number where unknown.
    u_values : Mapping[str, Array]
        Standard uncertainties, in the same way.
    left_out : Mapping[str, int]
        How many shafts are left out, by reason.
    """

    name: str
    keys: Indices
    shafts: Indices
    labels: tuple[str, ...]
    results: Indices
    rows: Indices
    values: Mapping[str, Array]
    u_values: Mapping[str, Array]
    left_out: Mapping[str, int]


def read_groups(store: Store, selections: Sequence[Selection]) -> tuple[list[ShaftGroup], CommonErrors]:
    """Read groups of shafts, and the errors that their spines have in common.

    Parameters
    ----------
    store : Store
        The open store.
    selections : Sequence[Selection]
        Which shafts each group has.

    Returns
    -------
    tuple of list[ShaftGroup] and CommonErrors
        The groups in the order given, and the common errors of all their results.

    Raises
    ------
    ReadingsError
        A name is not known (code "unknown_name"), or a group has fewer than two shafts (code "few_shafts").
    StoreError
        A set is not known, or the store cannot be read.
    """
    members = _members_of_sets(store, selections)
    with GroupRecords.of(store) as records:
        reader = _GroupReader(records, members)
        groups = [reader.group(selection) for selection in selections]
        return groups, reader.common()


def _members_of_sets(store: Store, selections: Sequence[Selection]) -> dict[str, tuple[int, ...]]:
    """Return the numbers of the shafts of each set that is asked for, by its name."""
    conditions = (condition for selection in selections for condition in selection.conditions)
    names = {condition.value for condition in conditions if condition.kind is ConditionKind.SET}
    return {name: Sets(store).named(name).present for name in names}


class _GroupReader:
    """Chooses measurements for groups within one transaction."""

    def __init__(self, records: GroupRecords, members: Mapping[str, tuple[int, ...]]) -> None:
        self._records, self._members = records, members
        self._same: Identities = known_identities(records)
        self._measured, self._batches = records.measured(), records.batches()
        self._standards, self._suspect = records.standards(), records.suspect()
        self._weighed = records.weighed()
        self._rows: dict[int, int] = {}  # by number of the result
        self._chosen: list[MeasuredColumns] = []

    def group(self, selection: Selection) -> ShaftGroup:
        """Return the group of a selection."""
        tests = [self._test(condition) for condition in selection.conditions]
        counting: dict[int, MeasuredColumns] = {}
        against: dict[int, str] = {}
        for row in self._measured:
            if not (selection.holds(row.started_ms) and all(test(row) for test in tests)):
                continue
            key, reason = self._same.key(row.shaft), self._against(row)
            if reason is not None:
                against[key] = reason
            elif key not in counting or _age(row) >= _age(counting[key]):
                counting[key] = row
        left_out: dict[str, int] = {}
        for key, reason in against.items():
            if key not in counting:
                left_out[reason] = left_out.get(reason, 0) + 1
        if len(counting) < FEWEST:
            raise ReadingsError(_too_few(selection, len(counting), left_out), code="few_shafts")
        return self._made(selection, dict(sorted(counting.items())), left_out)

    def _against(self, row: MeasuredColumns) -> str | None:
        """Return why a measurement takes no part, None if it does."""
        if not self._standards.isdisjoint(self._same.numbers(row.shaft)):
            return STANDARD
        if row.outcome is Outcome.INSTRUMENT_FAULT:
            return FAULT
        if row.run in self._suspect:
            return SUSPECT
        if row.spine_thou is None or row.u_spine_thou is None:
            return NOT_MEASURED
        return None if np.isfinite(row.spine_thou) and np.isfinite(row.u_spine_thou) else STATED_OTHERWISE

    def _made(
        self, selection: Selection, counting: Mapping[int, MeasuredColumns], left_out: Mapping[str, int]
    ) -> ShaftGroup:
        """Return the group of these measurements by shaft."""
        rows = list(counting.values())
        for row in rows:
            if self._rows.setdefault(row.result, len(self._chosen)) == len(self._chosen):
                self._chosen.append(row)
        weights = self._weights(selection)
        weight = [weights.get(key) for key in counting]
        values = {
            "spine_thou": _array(row.spine_thou for row in rows),
            "spread_thou": _array(row.spread_thou for row in rows),
            "runout_thou": _array(row.runout_mm for row in rows) / MM_PER_THOU,
            "weight_gr": _array(None if each is None else each.weight_g for each in weight) / GRAM_PER_GRAIN,
        }
        u_values = {
            "spine_thou": _array(row.u_spine_thou for row in rows),
            "spread_thou": _array(row.u_spread_thou for row in rows),
            "runout_thou": _array(row.u_runout_mm for row in rows) / MM_PER_THOU,
            "weight_gr": _array(None if each is None else each.u_weight_g for each in weight) / GRAM_PER_GRAIN,
        }
        return ShaftGroup(
            selection.words, np.array(list(counting), np.intp), np.array([row.shaft for row in rows], np.intp),
            tuple(row.label for row in rows), np.array([row.result for row in rows], np.intp),
            np.array([self._rows[row.result] for row in rows], np.intp), values, u_values, left_out,
        )  # fmt: skip

    def _weights(self, selection: Selection) -> dict[int, WeightRecord]:
        """Return the newest weight of each shaft within the days asked for, by its key."""
        return {self._same.key(found.shaft): found for at_ms, found in self._weighed if selection.holds(at_ms)}

    def common(self) -> CommonErrors:
        """Return the common errors of all measurements chosen so far."""
        return common_errors(len(self._chosen), self._with_causes())

    def _with_causes(self) -> Iterator[tuple[int, int, MemberResult]]:
        """Yield row, batch and result of each measurement chosen."""
        leads_mm = self._records.leads_mm()
        for number, result in self._records.causes([row.result for row in self._chosen]):
            place = self._rows[number]
            row = self._chosen[place]
            lead_mm = leads_mm.get(result.calibration or "")
            yield place, row.batch, MemberResult(row.u_spine_thou or 0.0, result, lead_mm)

    def _test(self, condition: ShaftCondition) -> Callable[[MeasuredColumns], bool]:
        """Return what tells whether a measurement meets a condition; days are tested by the selection."""
        value = condition.value
        match condition.kind:
            case ConditionKind.BATCH:
                batches = self._batch(value)
                return lambda row: row.batch in batches
            case ConditionKind.GAUGE:
                results = self._of_gauge(value)
                return lambda row: row.result in results
            case ConditionKind.LABEL:
                part = value.casefold()
                return lambda row: part in row.label.casefold()
            case ConditionKind.NUMBERS:
                ranges, same = condition.ranges, self._same
                return lambda row: any(number in each for number in same.numbers(row.shaft) for each in ranges)
            case ConditionKind.SET:
                return self._among(self._members[value])
            case ConditionKind.ORDER:
                return self._among(self._said(condition, DetailKind.ORDER, SetDetailKind.ORDER))
            case ConditionKind.CUSTOMER:
                return self._among(self._said(condition, DetailKind.CUSTOMER, SetDetailKind.CUSTOMER))
            case _:
                return lambda row: True

    def _among(self, shafts: Collection[int]) -> Callable[[MeasuredColumns], bool]:
        """Return what tells whether a measurement is of one of these shafts, under any of its numbers."""
        keys = {self._same.key(shaft) for shaft in shafts}
        return lambda row: self._same.key(row.shaft) in keys

    def _batch(self, value: str) -> frozenset[int]:
        """Return the numbers of the batch of a number or name."""
        wanted = value.casefold()
        by_number = value.isdecimal() and int(value) in self._batches
        named = (number for number, name in self._batches.items() if name.casefold() == wanted)
        found = frozenset({int(value)} if by_number else named)
        if not found:
            newest = (f"{number} {name}" for number, name in sorted(self._batches.items(), reverse=True))
            raise _unknown(f"no batch {value!r}", "the newest are", newest)
        return found

    def _of_gauge(self, value: str) -> frozenset[int]:
        """Return the numbers of the results of a gauge."""
        named, wanted = self._records.gauges(), value.casefold()
        found = frozenset(result for result, gauge in named.items() if gauge.casefold() == wanted)
        if not found:
            raise _unknown(f"no result of a gauge {value!r}", "gauges are", sorted(set(named.values())))
        return found

    def _said(self, condition: ShaftCondition, of_shaft: DetailKind, of_set: SetDetailKind) -> set[int]:
        """Return the shafts of an order or customer: told of the shaft, or of the set that it is in."""
        wanted = condition.value.casefold()
        shafts, sets = self._records.said_of_shafts(of_shaft), self._records.said_of_sets(of_set)
        found = {shaft for shaft, said in shafts.items() if said.casefold() == wanted}
        those = {number for number, said in sets.items() if said.casefold() == wanted}
        present = self._records.present_in_sets()
        found |= {shaft for shaft, number in present.items() if number in those}
        if not found:
            known = dict.fromkeys([*reversed(sets.values()), *reversed(shafts.values())])
            raise _unknown(f"no shaft of {condition.words}", "the newest are", known)
        return found


def _age(row: MeasuredColumns) -> tuple[bool, int]:
    """Return the sort key of measurements of one shaft: imported before those made here, then by age."""
    return row.origin is Origin.MEASURED, row.run


def _array(values: Iterator[float | None]) -> Array:
    """Return values with not a number for what is unknown."""
    return np.array([np.nan if value is None else value for value in values], float)


def _too_few(selection: Selection, number: int, left_out: Mapping[str, int]) -> str:
    """Return why a group is too small, and which shafts were left out of it."""
    why = "; ".join(f"left out: {count} {reason}" for reason, count in left_out.items())
    has = "no measured shaft" if not number else "only one measured shaft"
    return f"{printable(selection.words)}: {has}, a comparison needs {FEWEST}" + (f"; {why}" if why else "")


def _unknown(what: str, which: str, known: Collection[str] | Iterator[str]) -> ReadingsError:
    """Return the error for a name that is not known, with names that are."""
    names = [printable(name) for name in known]
    listed = ", ".join(names[:SHOWN_NAMES]) or "none yet"
    return ReadingsError(f"{printable(what)}; {which}: {listed}", code="unknown_name")
