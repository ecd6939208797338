"""Everything that store and journal hold of one night, read once: values only, for whoever tells of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from midspan.base.errors import StoreError
from midspan.decision.bands import Bands
from midspan.sorting.plan import SortPlan
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.transit import JudgedResult, NightOnRecord, RunEvent, StandardCheck, Transit, TransitStage


@dataclass(frozen=True)
class NightRecord:
    """One night. `measured` is by the numbers of results, `suspects` by shaft with the checks that say so.

    `bands` are None for a night whose plan was kept without them, `calibrations` the ids that its results name, in the
    order they came.
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
        """The shafts that were to be sorted, check standards and feeds that brought nothing left out."""
        return tuple(one for one in self.transits if one.standard is None and one.stage is not TransitStage.NO_SHAFT)

    def result_of(self, transit: Transit) -> JudgedResult | None:
        """What a shaft was last judged by, None when it never was."""
        return None if transit.result is None else self.measured.get(transit.result)


def read_night(store: Store, number: int | None) -> NightRecord:
    """A night by its number, the newest when that is None.

    Raises StoreError when there is no such night, and when its plan is not one that this version knows.
    """
    journal = Journal(store)
    nights = {night.id: night for night in journal.nights()}
    if not nights:
        raise StoreError(f"{store.place}: no night was sorted into it; name the database that the plan names")
    if number is not None and number not in nights:
        raise StoreError(f"{store.place}: there is no night {number}; the last one is {max(nights)}")
    night = nights[max(nights) if number is None else number]
    plan, bands = _plan_of(store, night)
    return read_on(store, NightRecord(night, plan, bands, (), (), (), {}, {}, ()))


def read_on(store: Store, record: NightRecord) -> NightRecord:
    """The same night as it stands now. Shafts that were over stay as they were read: nothing changes of them."""
    journal, night = Journal(store), record.night
    over = tuple(takewhile(lambda one: not one.is_open, record.transits))
    above = over[-1].shaft if over else 0
    measured = journal.judged_results(night.id, above)
    calibrations = (judged.calibration for judged in measured.values() if judged.calibration is not None)
    return NightRecord(
        night, record.plan, record.bands, (*over, *journal.transits(night.id, above)),
        tuple(journal.events(night.id)), tuple(journal.checks(night=night.id)), journal.suspects(night.id),
        {**record.measured, **measured}, tuple(dict.fromkeys((*record.calibrations, *calibrations))),
    )  # fmt: skip


def _plan_of(store: Store, night: NightOnRecord) -> tuple[SortPlan, Bands | None]:
    kept: dict[str, Any] = dict(night.plan)
    bands = kept.pop("bands", None)
    try:
        return SortPlan.model_validate(kept), None if bands is None else Bands.model_validate(bands)
    except ValueError as error:  # pydantic's errors are of this kind
        raise StoreError(f"{store.place}: the plan of night {night.id} is not one of this version's") from error
