"""Everything that the store holds about one run of sorting, read once; values only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from midspan.base.errors import StoreError
from midspan.decision.bands import Bands
from midspan.sorting.account import Account, account_of, with_spine
from midspan.sorting.plan import SortPlan
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.transit import JudgedResult, NightOnRecord, RunEvent, StandardCheck, Transit, TransitStage


@dataclass(frozen=True)
class NightRecord:
    """One run of sorting, as the store holds it.

    Parameters
    ----------
    night : NightOnRecord
        Number, gauge, plan and beginning of the run.
    plan : SortPlan
        What it was to do.
    bands : Bands or None
        Bands it judged by, None for a run whose plan was kept without them.
    transits : tuple[Transit, ...]
        Every shaft and check standard, in the order they were fed.
    events : tuple[RunEvent, ...]
        Everything else that happened, oldest first.
    checks : tuple[StandardCheck, ...]
        Measurements of check standards, oldest first.
    suspects : Mapping[int, list[int]]
        Shafts in doubt through a failed check, with the numbers of those checks.
    measured : Mapping[int, JudgedResult]
        Results by their numbers.
    calibrations : tuple[str, ...]
        Ids of the calibrations of these results, in the order they came.
    """

    night: NightOnRecord
    plan: SortPlan
    bands: Bands | None
    transits: tuple[Transit, ...]
    events: tuple[RunEvent, ...]
    checks: tuple[StandardCheck, ...]
    suspects: Mapping[int, list[int]]
    measured: Mapping[int, JudgedResult]
    calibrations: tuple[str, ...]

    @property
    def stock(self) -> tuple[Transit, ...]:
        """Shafts to be sorted: no check standards, and no feeds that brought nothing."""
        return tuple(
            transit
            for transit in self.transits
            if transit.standard is None and transit.stage is not TransitStage.NO_SHAFT
        )

    @property
    def account(self) -> Account:
        """Every shaft of the stock once: where it is, and whether it was measured."""
        return account_of(self.transits, with_spine(self.measured))

    def result_of(self, transit: Transit) -> JudgedResult | None:
        """Return the result that a shaft was judged by last.

        Parameters
        ----------
        transit : Transit
            The shaft.

        Returns
        -------
        JudgedResult or None
            The result, None if the shaft was never judged.
        """
        return None if transit.result is None else self.measured.get(transit.result)


def read_night(store: Store, number: int | None) -> NightRecord:
    """Read a run by its number.

    Parameters
    ----------
    store : Store
        The open store.
    number : int or None
        Its number, None for the newest.

    Returns
    -------
    NightRecord
        The run as it is now.

    Raises
    ------
    StoreError
        There is no such run, or its plan is not of this version.
    """
    journal = Journal(store)
    nights = {night.id: night for night in journal.nights()}
    if not nights:
        words = f"{store.place}: no sorting run yet; start one with: midspan sort night.toml"
        raise StoreError(words, code="no_night")
    if number is not None and number not in nights:
        words = f"{store.place}: there is no run {number}; the newest is run {max(nights)}"
        raise StoreError(words, code="unknown_night")
    night = nights[max(nights) if number is None else number]
    plan, bands = _plan_of(store, night)
    return read_on(store, NightRecord(night, plan, bands, (), (), (), {}, {}, ()))


def read_on(store: Store, record: NightRecord) -> NightRecord:
    """Read what has happened in a run since it was read last.

    Shafts that were done stay as they were read, because nothing changes about them.

    Parameters
    ----------
    store : Store
        The open store.
    record : NightRecord
        The run as it was read last.

    Returns
    -------
    NightRecord
        The run as it is now.
    """
    journal, night = Journal(store), record.night
    over = tuple(takewhile(lambda transit: not transit.is_open, record.transits))
    above = over[-1].shaft if over else 0
    measured = journal.judged_results(night.id, above)
    calibrations = (judged.calibration for judged in measured.values() if judged.calibration is not None)
    return NightRecord(
        night, record.plan, record.bands, (*over, *journal.transits(night.id, above)),
        tuple(journal.events(night.id)), tuple(journal.checks(night=night.id)), journal.suspects(night.id),
        {**record.measured, **measured}, tuple(dict.fromkeys((*record.calibrations, *calibrations))),
    )  # fmt: skip


def _plan_of(store: Store, night: NightOnRecord) -> tuple[SortPlan, Bands | None]:
    """Return plan and bands of a run; the bands are None where the plan was kept without them."""
    kept: dict[str, Any] = dict(night.plan)
    bands = kept.pop("bands", None)
    try:
        return SortPlan.model_validate(kept), None if bands is None else Bands.model_validate(bands)
    except ValueError as error:  # the base class of pydantic's errors
        words = f"{store.place}: this version cannot read the plan of run {night.id}; use the version that sorted it"
        raise StoreError(words, code="unknown_plan") from error
