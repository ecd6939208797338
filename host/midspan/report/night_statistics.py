"""What a night came to, worked out of its record: where the shafts lie, what is unsure, how fast it went."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median, stdev

from midspan.decision.decision import Outcome
from midspan.report.night_data import NightRecord
from midspan.sorting import plan as sort_plan
from midspan.sorting.night_settings import NONE, Settings, settings, spells
from midspan.sorting.tally import tally_of
from midspan.store.transit import RunEventKind, Transit, TransitStage

MOST_DAYS = (
    14  # of a night that was gone on with after a week away; what spans more was written by a clock that was set
)
BACK_MS = 60_000  # a clock that is corrected gently never goes back as much
LONG_PAUSE = 5.0  # times the usual time for a shaft; a shaft that is measured twice takes twice that time
HOUR_MS = 3_600_000


@dataclass(frozen=True)
class PlaceCount:
    """One place in the morning. `here` are the shafts that were seen to fall there, `unsure` those that may have.

    `along` brought a second one with them that was not measured. `now` is what should lie there, those that may have
    fallen there included and what was taken away in the night left out.
    """

    number: int
    name: str
    plan: sort_plan.Place | None  # None for a place of an earlier plan
    here: tuple[Transit, ...]
    unsure: tuple[Transit, ...]
    now: int
    emptied: int
    spines_thou: tuple[float, ...]

    @property
    def is_bin(self) -> bool:
        """Whether it takes a bin of the bands."""
        return self.plan is not None and self.plan.bin is not None

    @property
    def use(self) -> str:
        """What it is for, "bin" for a bin of the bands and nothing where nobody knows."""
        return "bin" if self.is_bin else (self.plan and self.plan.use) or ""

    @property
    def holds(self) -> int | None:
        """How many shafts it has room for."""
        return None if self.plan is None else self.plan.holds

    @property
    def along(self) -> tuple[Transit, ...]:
        """Shafts here that came with a second one."""
        return tuple(one for one in self.here if one.passed > 1)

    @property
    def fell(self) -> int:
        """How many shafts the chute saw fall here in the whole night."""
        return sum(one.passed for one in self.here)

    @property
    def is_sure(self) -> bool:
        """Whether journal and chute agree on every shaft here."""
        return not self.unsure and not self.along

    @property
    def mean_thou(self) -> float | None:
        """Mean spine of the shafts here that were measured."""
        return fmean(self.spines_thou) if self.spines_thou else None

    @property
    def sd_thou(self) -> float | None:
        """Standard deviation of these spines."""
        return stdev(self.spines_thou) if len(self.spines_thou) > 1 else None


@dataclass(frozen=True)
class Suspects:
    """Suspect shafts of one place, in the order they fell; `all_last` when no other fell after the first of them."""

    place: str
    numbers: tuple[int, ...]
    all_last: bool

    @property
    def words(self) -> str:
        """Which they are, for somebody who stands before the place."""
        return f"the last {len(self.numbers)}" if self.all_last else f"{len(self.numbers)} of those there"


def suspects(record: NightRecord, found: Iterable[PlaceCount]) -> list[Suspects]:
    """Suspect shafts of the stock by place, and those that are in none."""
    groups = []
    for place in found:
        fell = sorted((*place.here, *place.unsure), key=lambda one: one.shaft)
        numbers = tuple(one.shaft for one in fell if one.shaft in record.suspects)
        all_last = not place.emptied and numbers == tuple(one.shaft for one in fell[len(fell) - len(numbers) :])
        groups.append(Suspects(place.name, numbers, all_last))
    nowhere = tuple(one.shaft for one in record.stock if one.place is None and one.shaft in record.suspects)
    return [one for one in (*groups, Suspects("in no place", nowhere, all_last=False)) if one.numbers]


def places(record: NightRecord) -> list[PlaceCount]:
    """Every place of the plan, and others that shafts went to under an earlier plan, in the order of their numbers."""
    known = {one.number: one for one in record.plan.place}
    fell: dict[int, list[Transit]] = {number: [] for number in known}
    for transit in record.transits:
        if transit.place is not None and not transit.is_open:
            fell.setdefault(transit.place, []).append(transit)
    outcomes = {number: one.decision.outcome for number, one in record.measured.items()}
    now = tally_of(record.plan, list(record.transits), outcomes, list(record.events)).places
    emptied = Counter(one.place for one in record.events if one.kind is RunEventKind.EMPTIED)
    found = []
    for number, some in sorted(fell.items()):
        here = tuple(one for one in some if one.stage is TransitStage.IN_BIN)
        unsure = tuple(one for one in some if one.stage is TransitStage.UNCERTAIN)
        spines = tuple(spine for one in here if (spine := spine_of(record, one)) is not None)
        name = record.plan.place_called(number)
        found.append(PlaceCount(number, name, known.get(number), here, unsure, now[number], emptied[number], spines))
    return found


@dataclass(frozen=True)
class JudgedUnder:
    """Shafts and check standards that were judged under the same settings, by their numbers."""

    numbers: tuple[int, ...]
    settings: Settings


def judged_under(record: NightRecord) -> list[JudgedUnder]:
    """What the verdicts of the night rest on, from spell to spell; the settings that changed in it alone.

    None when all of it rests on the same.
    """
    plan = record.plan.model_dump(mode="json", by_alias=True)
    found = spells(settings(plan, next(iter(record.calibrations), None)), record.events)
    if len(found) < 2:
        return []
    names = [name for name in found[-1].settings if len({one.settings.get(name, NONE) for one in found}) > 1]
    until = [one.after for one in found[1:]] + [max((one.shaft for one in record.transits), default=0)]
    return [
        JudgedUnder(
            tuple(one.shaft for one in record.transits if one.result is not None and spell.after < one.shaft <= last),
            {name: spell.settings.get(name, NONE) for name in names},
        )
        for spell, last in zip(found, until, strict=True)
    ]


def spine_of(record: NightRecord, transit: Transit) -> float | None:
    """Spine in thou that a shaft was judged by, None when it has none."""
    result = record.result_of(transit)
    return None if result is None else result.spine_thou


def not_measured(record: NightRecord) -> list[Transit]:
    """Shafts of the stock that have come to their end without a spine."""
    return [one for one in record.stock if not one.is_open and spine_of(record, one) is None]


def went_to(record: NightRecord, outcome: Outcome) -> list[Transit]:
    """Measured shafts of the stock with this outcome."""
    results = ((one, record.result_of(one)) for one in record.stock)
    return [
        one
        for one, result in results
        if result and result.spine_thou is not None and result.decision.outcome is outcome
    ]


def last_ms(record: NightRecord) -> int:
    """When the last thing was noted."""
    steps = (step.at_ms for one in record.transits for step in one.steps)
    return max(record.night.begun_ms, *steps, *(one.at_ms for one in record.events))


def keeps_time(record: NightRecord) -> bool:
    """Whether a night's times make sense: none lies before one that was noted earlier, and all within MOST_DAYS."""
    begun = record.night.begun_ms
    stepped = [begun, *(step.at_ms for one in record.transits for step in one.steps)]
    happened = [begun, *(one.at_ms for one in record.events)]
    in_order = all(after > before - BACK_MS for some in (stepped, happened) for before, after in pairwise(some))
    return in_order and last_ms(record) - begun <= 24 * MOST_DAYS * HOUR_MS


@dataclass(frozen=True)
class Pace:
    """How fast it went: shafts an hour over the whole night, seconds for a shaft, and the pauses of note.

    Where the night's times make no sense (keeps_time) the seconds for a shaft still do.
    """

    shafts: int
    hours: float
    usual_s: float | None
    pauses: tuple[tuple[int, int], ...]  # from and to, ms

    @property
    def per_hour(self) -> float | None:
        """Shafts an hour, pauses included; None for a night of no length."""
        return self.shafts / self.hours if self.hours > 0 else None

    @property
    def waited_hours(self) -> float:
        """Length of all pauses together."""
        return sum(end - begin for begin, end in self.pauses) / HOUR_MS


def pace(record: NightRecord) -> Pace:
    """The pace of a night, by the times at which shafts came to their end."""
    ends = [at_ms for at_ms, _ in ended(record)]
    steps = [(begin, end) for begin, end in pairwise([record.night.begun_ms, *ends]) if end > begin]
    usual = median(end - begin for begin, end in steps) if steps else None
    pauses = tuple((begin, end) for begin, end in steps if usual is not None and end - begin > LONG_PAUSE * usual)
    hours = (last_ms(record) - record.night.begun_ms) / HOUR_MS
    return Pace(len(ends), hours, None if usual is None else usual / 1000, pauses)


def ended(record: NightRecord) -> list[tuple[int, int]]:
    """When each shaft of the stock came to its end, in ms, with its number."""
    return [(one.steps[-1].at_ms, one.shaft) for one in record.stock if not one.is_open]


def rate_text(shafts: int, passed_s: float, left: int | None) -> str:
    """How fast it goes and how long it will take.

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
