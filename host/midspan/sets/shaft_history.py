"""Everything on record about one shaft: measurements with voids, labels, details, sets, weights, other numbers."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.base.units import GRAM_PER_GRAIN
from midspan.sets.registry import Sets
from midspan.sets.stock import label_among, spoken_against
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import Detail, details_of
from midspan.store.evaluation import StoredResult
from midspan.store.identity import known_identities
from midspan.store.lookup import counting
from midspan.store.records import StatedIdentity
from midspan.store.stock_records import StockRecords
from midspan.store.voids import VoidRecord, void_runs


@dataclass(frozen=True, slots=True)
class MeasurementOnRecord:
    """A measurement of a shaft with its newest result.

    Parameters
    ----------
    stored : StoredResult
        Its newest result.
    void : VoidRecord | None
        Who said that it does not count, and why; None if it is not void.
    stands : bool
        True if it is not void and no other supersedes it.
    counts : bool
        True for the one whose result counts for the shaft.
    """

    stored: StoredResult
    void: VoidRecord | None
    stands: bool
    counts: bool


@dataclass(frozen=True, slots=True)
class SetMembership:
    """A set that a shaft is or was in.

    Parameters
    ----------
    name : str
        Name of the set.
    joined_ms : int
        When it joined, UTC in ms since 1970.
    left : str | None
        Why it left, None while it is in the set.
    """

    name: str
    joined_ms: int
    left: str | None


@dataclass(frozen=True)
class ShaftHistory:
    """What is on record about a shaft, under all its numbers.

    Parameters
    ----------
    numbers : tuple[int, ...]
        Its numbers, ascending.
    label : str
        Its label, empty without one.
    earlier_labels : tuple[str, ...]
        Labels that it had before, each once.
    measurements : tuple[MeasurementOnRecord, ...]
        Oldest first.
    details : tuple[Detail, ...]
        What was said of it, oldest first; a label that was written under several numbers once.
    sets : tuple[SetMembership, ...]
        Sets, in the order it joined.
    weights_gr : tuple[float, ...]
        Weights, grains, oldest first; the last counts.
    against : str | None
        Why it is no stock, None if it is.
    joined : tuple[StatedIdentity, ...]
        What was said of its numbers, oldest first.
    """

    numbers: tuple[int, ...]
    label: str
    earlier_labels: tuple[str, ...]
    measurements: tuple[MeasurementOnRecord, ...]
    details: tuple[Detail, ...]
    sets: tuple[SetMembership, ...]
    weights_gr: tuple[float, ...]
    against: str | None
    joined: tuple[StatedIdentity, ...]

    @property
    def shaft(self) -> int:
        """Number under which the measurement that counts was made, else the highest."""
        return next((each.stored.run.shaft for each in self.measurements if each.counts), self.numbers[-1])


def shaft_history(store: Store, shaft: int) -> ShaftHistory:
    """Return everything that is on record about a shaft.

    Parameters
    ----------
    store : Store
        Open database.
    shaft : int
        Any number of the shaft, which was measured.

    Returns
    -------
    ShaftHistory
        The record.
    """
    with StockRecords.of(store) as records:
        numbers = known_identities(records).numbers(shaft)
        weights_g = [weight_g for number, weight_g in records.weights_g() if number in numbers]
        joined = [said for said in records.stated_identities() if said.shaft in numbers or said.other in numbers]
        own_labels = records.own_labels(numbers)
    measurements = _measurements(store, numbers)
    standing = [each.stored.run for each in measurements if each.stands]
    details = _each_once(details_of(store, numbers))
    label = next((each.stored.run.label for each in measurements if each.counts), measurements[-1].stored.run.label)
    label = label or label_among(numbers, {run.shaft: run.label for run in standing if run.label})
    said = [detail.value for detail in details if detail.kind is DetailKind.LABEL and detail.value]
    return ShaftHistory(
        numbers, label, tuple(name for name in dict.fromkeys([*own_labels, *said]) if name not in ("", label)),
        measurements, details, _memberships(store, numbers), tuple(weight / GRAM_PER_GRAIN for weight in weights_g),
        next(iter(spoken_against(store, numbers[-1:]).values()), None), tuple(joined),
    )  # fmt: skip


def _measurements(store: Store, numbers: tuple[int, ...]) -> tuple[MeasurementOnRecord, ...]:
    """Return the measurements of the numbers of a shaft, oldest first."""
    newest = {stored.run_id: stored for number in numbers for stored in store.history(number)}
    standing = {stored.run_id for number in numbers for stored in store.standing(number)}
    voids, counts = void_runs(store, numbers), counting(store, numbers[0])
    return tuple(
        MeasurementOnRecord(newest[run], voids.get(run), run in standing, counts is not None and run == counts.run_id)
        for run in sorted(newest)
    )


def _memberships(store: Store, numbers: tuple[int, ...]) -> tuple[SetMembership, ...]:
    """Return the sets that a shaft is or was in, in the order it joined."""
    found = [
        SetMembership(kept.name, member.joined_ms, member.left)
        for kept in Sets(store).all()
        for member in kept.members
        if member.shaft in numbers
    ]
    return tuple(sorted(found, key=lambda membership: membership.joined_ms))


def _each_once(details: list[Detail]) -> tuple[Detail, ...]:
    """Return details with a label that was written under all numbers of a shaft once."""
    found = {(each.at_ms, each.kind, each.value, each.shaft if each.kind is not DetailKind.LABEL else 0): each
             for each in reversed(details)}  # fmt: skip
    return tuple(reversed(found.values()))
