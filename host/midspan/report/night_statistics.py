"""Figures of a run, worked out from its record: where the shafts are, what is uncertain, how fast it went."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median, stdev

from midspan.decision.decision import Outcome
from midspan.report.night_data import NightRecord
from midspan.sorting import plan as sort_plan
from midspan.sorting.account import shafts_in
from midspan.sorting.night_settings import NONE, Settings, settings, spells
from midspan.sorting.tally import tally_of
from midspan.store.transit import RunEventKind, Transit, TransitStage

MOST_DAYS = 14  # even a run resumed after a week is shorter; a longer one means that the clock was set
BACK_MS = 60_000  # a clock that is corrected gradually never goes back as far
LONG_PAUSE = 5.0  # in usual times for a shaft; a shaft that is measured twice takes two of them
HOUR_MS = 3_600_000


@dataclass(frozen=True)
class PlaceCount:
    """A place and the shafts that fell there during a run.

    Parameters
    ----------
    number : int
        Number of the place.
    name : str
        Its number and purpose, as people know it.
    plan : Place or None
        The place in the plan, None for a place of an earlier plan.
    here : tuple[Transit, ...]
        Shafts that were seen to fall there.
    unsure : tuple[Transit, ...]
        Shafts that may have fallen there.
    sent : int
        Shafts of the stock that were sent there, all that came along included.
    confirmed : int
        Those of them that the chute saw fall there.
    now : int
        How many should be there now: check standards too, without what was taken away during the run.
    emptied : int
        How often it was emptied.
    spines_thou : tuple[float, ...]
        Spines of the measured shafts in `here`, thou.
    """

    number: int
    name: str
    plan: sort_plan.Place | None  # None for a place of an earlier plan
    here: tuple[Transit, ...]
    unsure: tuple[Transit, ...]
    sent: int
    confirmed: int
    now: int
    emptied: int
    spines_thou: tuple[float, ...]

    @property
    def is_bin(self) -> bool:
        """True if it takes a bin of the bands."""
        return self.plan is not None and self.plan.bin is not None

    @property
    def use(self) -> str:
        """Its purpose: "bin" for a bin of the bands, an empty text if unknown."""
        return "bin" if self.is_bin else (self.plan and self.plan.use) or ""

    @property
    def holds(self) -> int | None:
        """Number of shafts it has room for, None if unknown."""
        return None if self.plan is None else self.plan.holds

    @property
    def along(self) -> tuple[Transit, ...]:
        """Shafts here that fell together with a second shaft, which was not measured."""
        return tuple(shaft for shaft in self.here if shafts_in(shaft) > 1)

    @property
    def is_sure(self) -> bool:
        """True if journal and chute agree on every shaft here."""
        return not self.unsure and not self.along

    @property
    def mean_thou(self) -> float | None:
        """Mean spine of the measured shafts here, thou; None if there are none."""
        return fmean(self.spines_thou) if self.spines_thou else None

    @property
    def sd_thou(self) -> float | None:
        """Standard deviation of these spines, thou; None for fewer than two."""
        return stdev(self.spines_thou) if len(self.spines_thou) > 1 else None


@dataclass(frozen=True)
class Suspects:
    """Suspect shafts of one place in the order they fell; `all_last` if no other shaft fell after the first of them.

    Parameters
    ----------
    place : str
        Name of the place.
    numbers : tuple[int, ...]
        Numbers of the shafts.
    all_last : bool
        True if they fell last.
    """

    place: str
    numbers: tuple[int, ...]
    all_last: bool

    @property
    def words(self) -> str:
        """Description of the shafts for a person at the place."""
        return f"the last {len(self.numbers)}" if self.all_last else f"{len(self.numbers)} of those there"


def suspects(record: NightRecord, found: Iterable[PlaceCount]) -> list[Suspects]:
    """Return the suspect shafts of the stock by place, then those that are in no place.

    Parameters
    ----------
    record : NightRecord
        The run.
    found : Iterable[PlaceCount]
        Its places, as `places` counts them.

    Returns
    -------
    list[Suspects]
        Places with suspect shafts.
    """
    groups = []
    for place in found:
        fell = sorted((*place.here, *place.unsure), key=lambda shaft: shaft.shaft)
        numbers = tuple(transit.shaft for transit in fell if transit.shaft in record.suspects)
        all_last = not place.emptied and numbers == tuple(transit.shaft for transit in fell[len(fell) - len(numbers) :])
        groups.append(Suspects(place.name, numbers, all_last))
    nowhere = tuple(
        transit.shaft for transit in record.stock if transit.place is None and transit.shaft in record.suspects
    )
    return [group for group in (*groups, Suspects("in no place", nowhere, all_last=False)) if group.numbers]


def places(record: NightRecord) -> list[PlaceCount]:
    """Count every place of the plan, and places of an earlier plan that shafts went to.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    list[PlaceCount]
        In the order of their numbers.
    """
    known = {place.number: place for place in record.plan.place}
    fell: dict[int, list[Transit]] = {number: [] for number in known}
    for transit in record.transits:
        if transit.place is not None and not transit.is_open:
            fell.setdefault(transit.place, []).append(transit)
    outcomes = {number: judged.decision.outcome for number, judged in record.measured.items()}
    now = tally_of(record.plan, list(record.transits), outcomes, list(record.events)).places
    emptied = Counter(event.place for event in record.events if event.kind is RunEventKind.EMPTIED)
    found, account = [], record.account
    for number, some in sorted(fell.items()):
        here = tuple(transit for transit in some if transit.stage is TransitStage.IN_BIN)
        unsure = tuple(transit for transit in some if transit.stage is TransitStage.UNCERTAIN)
        spines = tuple(spine for transit in here if (spine := spine_of(record, transit)) is not None)
        name = record.plan.place_called(number)
        sent, seen = account.sent_to(number), account.confirmed[number]
        there = PlaceCount(
            number, name, known.get(number), here, unsure, sent, seen, now[number], emptied[number], spines
        )  # fmt: skip
        found.append(there)
    return found


@dataclass(frozen=True)
class JudgedUnder:
    """Numbers of the shafts and check standards that were judged under the same settings.

    Parameters
    ----------
    numbers : tuple[int, ...]
        Numbers of the shafts.
    settings : Settings
        The settings that changed during the run.
    """

    numbers: tuple[int, ...]
    settings: Settings


def judged_under(record: NightRecord) -> list[JudgedUnder]:
    """Return the settings that changed during a run, with the shafts judged under each of them.

    The list is empty if nothing changed.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    list[JudgedUnder]
        In the order of the run.
    """
    plan = record.plan.model_dump(mode="json", by_alias=True)
    found = spells(settings(plan, next(iter(record.calibrations), None)), record.events)
    if len(found) < 2:
        return []
    names = [name for name in found[-1].settings if len({spell.settings.get(name, NONE) for spell in found}) > 1]
    until = [spell.after for spell in found[1:]] + [max((transit.shaft for transit in record.transits), default=0)]
    return [
        JudgedUnder(
            tuple(
                transit.shaft
                for transit in record.transits
                if transit.result is not None and spell.after < transit.shaft <= last
            ),
            {name: spell.settings.get(name, NONE) for name in names},
        )
        for spell, last in zip(found, until, strict=True)
    ]


def spine_of(record: NightRecord, transit: Transit) -> float | None:
    """Return the spine that a shaft was judged by, thou; None if it has none.

    Parameters
    ----------
    record : NightRecord
        The run.
    transit : Transit
        The shaft.

    Returns
    -------
    float or None
        Spine, thou.
    """
    result = record.result_of(transit)
    return None if result is None else result.spine_thou


def not_measured(record: NightRecord) -> list[Transit]:
    """Return the shafts of the stock that are done and have no spine.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    list[Transit]
        In the order they were fed.
    """
    return [transit for transit in record.stock if not transit.is_open and spine_of(record, transit) is None]


def went_to(record: NightRecord, outcome: Outcome) -> list[Transit]:
    """Return the measured shafts of the stock with an outcome.

    Parameters
    ----------
    record : NightRecord
        The run.
    outcome : Outcome
        The outcome.

    Returns
    -------
    list[Transit]
        In the order they were fed.
    """
    results = ((transit, record.result_of(transit)) for transit in record.stock)
    return [
        transit
        for transit, result in results
        if result and result.spine_thou is not None and result.decision.outcome is outcome
    ]


def last_ms(record: NightRecord) -> int:
    """Return the time of the last entry, ms since 1970.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    int
        Time, ms since 1970.
    """
    steps = (step.at_ms for transit in record.transits for step in transit.steps)
    return max(record.night.begun_ms, *steps, *(event.at_ms for event in record.events))


def keeps_time(record: NightRecord) -> bool:
    """Return True if no time lies before an earlier one and all lie within MOST_DAYS.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    bool
        False if the clock was set during the run.
    """
    begun = record.night.begun_ms
    stepped = [begun, *(step.at_ms for transit in record.transits for step in transit.steps)]
    happened = [begun, *(event.at_ms for event in record.events)]
    in_order = all(after > before - BACK_MS for some in (stepped, happened) for before, after in pairwise(some))
    return in_order and last_ms(record) - begun <= 24 * MOST_DAYS * HOUR_MS


@dataclass(frozen=True)
class Pace:
    """Pace of a run: shafts done, hours, seconds for a shaft, and the long pauses.

    Seconds for a shaft make sense even where the times do not (see `keeps_time`).

    Parameters
    ----------
    shafts : int
        Shafts done.
    hours : float
        Duration of the run, h.
    usual_s : float or None
        Median time for a shaft, s; None without shafts.
    pauses : tuple[tuple[int, int], ...]
        Beginning and end of each long pause, ms since 1970.
    """

    shafts: int
    hours: float
    usual_s: float | None
    pauses: tuple[tuple[int, int], ...]  # from and to, ms

    @property
    def per_hour(self) -> float | None:
        """Shafts an hour with pauses included, None for a run of no duration."""
        return self.shafts / self.hours if self.hours > 0 else None

    @property
    def waited_hours(self) -> float:
        """Length of all pauses together, hours."""
        return sum(end - begin for begin, end in self.pauses) / HOUR_MS


def pace(record: NightRecord) -> Pace:
    """Return the pace of a run by the times at which its shafts were done.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    Pace
        The pace.
    """
    ends = [at_ms for at_ms, _ in ended(record)]
    steps = [(begin, end) for begin, end in pairwise([record.night.begun_ms, *ends]) if end > begin]
    usual = median(end - begin for begin, end in steps) if steps else None
    pauses = tuple((begin, end) for begin, end in steps if usual is not None and end - begin > LONG_PAUSE * usual)
    hours = (last_ms(record) - record.night.begun_ms) / HOUR_MS
    return Pace(len(ends), hours, None if usual is None else usual / 1000, pauses)


def ended(record: NightRecord) -> list[tuple[int, int]]:
    """Return when each shaft of the stock was done, ms since 1970, with its number.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    list[tuple[int, int]]
        Time, ms since 1970, and number of each shaft.
    """
    return [(transit.steps[-1].at_ms, transit.shaft) for transit in record.stock if not transit.is_open]


def rate_text(shafts: int, passed_s: float, left: int | None) -> str:
    """Return how fast shafts pass and how long the rest will take; an empty text while nothing is known.

    Parameters
    ----------
    shafts : int
        Shafts done so far.
    passed_s : float
        Time they took, s.
    left : int or None
        Shafts still to come, None if unknown.

    Returns
    -------
    str
        Shafts an hour, and the time left if `left` is known.

    Examples
    --------
    >>> rate_text(30, 900.0, 60), rate_text(0, 5.0, None)
    ('120 an hour, 0 h 30 min left', '')
    """
    if not shafts or passed_s <= 0:
        return ""
    per_hour = 3600 * shafts / passed_s
    if left is None:
        return f"{per_hour:.0f} an hour"
    minutes = round(60 * left / per_hour)
    return f"{per_hour:.0f} an hour, {minutes // 60} h {minutes % 60:02d} min left"
