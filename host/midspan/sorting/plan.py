"""The plan of a night: which gauge sorts what into which places, how it is checked, and when it stops.

A place is one stop of the bin selector, numbered from 1. Files are named from the folder of the plan.

>>> plan = SortPlan.model_validate(EXAMPLE)
>>> plan.bin_places("500"), plan.place_for("recheck").number, plan.standards_in_slot
([1], 2, ())
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands
from midspan.sorting.gauge_health import WatchLimits
from midspan.sorting.notices import NoticeSettings

EXAMPLE = {
    "gauge": {"name": "bench", "port": "PORT", "calibration": "gauge.toml"},
    "sort": {"bands": "bands.toml", "crack_hysteresis_pct": 1.5},
    "place": [
        {"number": 1, "bin": "500", "holds": 40},
        {"number": 2, "use": "recheck", "holds": 20},
        {"number": 3, "use": "rejected", "holds": 20},
        {"number": 4, "use": "cracked", "holds": 10},
    ],
}
Use = Literal["recheck", "rejected", "cracked", "standard"]
NEEDED: tuple[Use, ...] = ("recheck", "rejected", "cracked")
Name = Annotated[str, Field(min_length=1, max_length=32)]
File = Annotated[str, Field(min_length=1)]
Count = Annotated[int, Field(ge=1, le=10_000)]


class GaugePart(Section):
    """The gauge: its own name, by which it is known again on another port, where to look first, its calibration."""

    name: Name
    port: File
    calibration: File


class SortPart(Section):
    """What is sorted by which bands, and where everything is kept.

    `measure_again` is how often a doubtful or unmeasured shaft is measured once more before it goes to recheck.
    A hysteresis beyond `crack_hysteresis_pct` hints at a crack: the shaft goes to its own place, whatever else it
    measures. `loaded` is how many shafts were put into the hopper; it serves the time left and nothing else.
    """

    bands: File
    archive: File = "readings.avro"
    store: File = "results.db"
    measure_again: Annotated[int, Field(ge=0, le=10)] = 1
    crack_hysteresis_pct: Annotated[float, Field(gt=0, le=100)]
    loaded: Count | None = None
    attended: bool = False


class Place(Section):
    """One stop of the bin selector: it takes a bin of the bands file, or has a use of its own.

    ``recheck`` gets what stayed doubtful, was not measured, or found its own place full; ``rejected`` and ``cracked``
    what their names say; ``standard`` leads back into the slot of the check standard and never fills.
    """

    number: Annotated[int, Field(ge=1, le=64)]
    bin: Name | None = None
    use: Use | None = None
    holds: Count | None = None

    @model_validator(mode="after")
    def _is_for_one_thing(self) -> "Place":
        if (self.bin is None) == (self.use is None):
            raise ValueError(f"place {self.number}: give it either a bin of the bands file or a use")
        if (self.holds is None) != (self.use == "standard"):
            raise ValueError(f"place {self.number}: say how many shafts it holds (the standard's return: leave it out)")
        return self

    @property
    def name(self) -> str:
        """What people call it.

        >>> Place(number=2, use="recheck", holds=5).name
        'place 2 (recheck)'
        """
        return f"place {self.number} ({self.bin or self.use})"


class Standard(Section):
    """A check standard with its assigned value and standard uncertainty, fed from its slot or by a person's hand."""

    name: Name
    assigned_thou: Annotated[float, Field(ge=50, le=5000)]
    u_assigned_thou: Annotated[float, Field(gt=0, le=100)]
    from_: Annotated[Literal["slot", "hand"], Field(alias="from")] = "slot"


class Checks(Section):
    """When check standards are measured besides start and end, and what a bad one leads to.

    `chart_after` readings of a standard on this gauge give its chart a centre and limits; before, only the bias
    is looked at. `rules` chooses the limits alone, or the four run rules of Western Electric too, which see a
    shift sooner and cry wolf about once in 92 checks (C. W. Champ and W. H. Woodall, Technometrics 29 (1987) 393).
    `coverage_factor` is the k of U for the bias.
    """

    every_shafts: Count = 50
    every_minutes: Annotated[int, Field(ge=1, le=10_000)] = 60
    bad_check: Literal["stop", "continue"] = "stop"
    chart_after: Annotated[int, Field(ge=5, le=1000)] = 20
    rules: Literal["limits", "runs"] = "runs"
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = 2.0


class Stops(Section):
    """When the night ends before the hopper is empty; each `_in_a_row` counts shafts without another in between.

    `alarms` is how many shafts in a row may raise an alarm about the gauge (watch) before it stops. `wait_minutes`
    is how long a gauge, a disk or a database that fails is waited for.
    """

    shafts: Count | None = None
    hours: Annotated[float, Field(gt=0, le=168)] | None = None
    faults_in_a_row: Count = 3
    rechecks_in_a_row: Count = 10
    uncertain_in_a_row: Count = 3
    alarms_in_a_row: Count = 5
    wait_minutes: Annotated[float, Field(gt=0, le=10_000)] = 30.0


class SortPlan(Section):
    """A whole plan. As JSON, which the journal keeps, the addresses of its notices are blotted out."""

    gauge: GaugePart
    sort: SortPart
    place: Annotated[tuple[Place, ...], ARRAY, Field(min_length=1)]
    standard: Annotated[tuple[Standard, ...], ARRAY] = ()
    checks: Checks = Checks()
    watch: WatchLimits = WatchLimits()
    stop: Stops = Stops()
    notices: NoticeSettings = NoticeSettings()

    @model_validator(mode="after")
    def _holds_together(self) -> "SortPlan":
        for problem in self._problems():
            raise ValueError(problem)
        return self

    def _problems(self) -> Iterator[str]:
        numbers = [one.number for one in self.place]
        uses = [one.use for one in self.place if one.use is not None]
        names = [one.name for one in self.standard]
        yield from (f"place {one} stands there twice" for one in numbers if numbers.count(one) > 1)
        yield from (f"use {one!r} has two places; give it one" for one in uses if uses.count(one) > 1)
        yield from (f"no place has the use {one!r}; add one" for one in NEEDED if one not in uses)
        yield from (f"standard {one!r} stands there twice" for one in names if names.count(one) > 1)
        if len(self.standards_in_slot) > 1:
            yield "the slot holds one check standard; let the others come from = 'hand'"
        if self.standards_in_slot and "standard" not in uses:
            yield "no place has the use 'standard': the check standard would not come back into its slot; add one"
        if any(one.from_ == "hand" for one in self.standard) and not self.sort.attended:
            yield "a check standard that comes from = 'hand' needs a person: set sort.attended, or put it into the slot"

    @property
    def standards_in_slot(self) -> tuple[Standard, ...]:
        """The check standards fed from the slot: one or none."""
        return tuple(one for one in self.standard if one.from_ == "slot")

    def bin_places(self, name: str) -> list[int]:
        """Numbers of the places that take a bin, in the plan's order."""
        return [one.number for one in self.place if one.bin == name]

    def bin_of(self, number: int) -> str | None:
        """The bin that a place takes, None when it has a use of its own."""
        return next((one.bin for one in self.place if one.number == number), None)

    def place_for(self, use: Use) -> Place:
        """The place with a use; ConfigurationError when there is none (only the standard's return can be missing)."""
        for one in self.place:
            if one.use == use:
                return one
        raise ConfigurationError(f"the plan has no place with the use {use!r}; add one")

    def place_called(self, number: int) -> str:
        """What people call the place with this number, also when another plan had it."""
        return next((one.name for one in self.place if one.number == number), f"place {number}")


def as_kept(plan: SortPlan, bands: Bands) -> str:
    """The plan as the journal of a night keeps it, for the report: JSON, with `bands`, without secret addresses."""
    kept = bands.model_dump(mode="json", exclude_unset=True)  # a default that stands there is not always a valid choice
    return json.dumps({**plan.model_dump(mode="json", by_alias=True), "bands": kept})


def load_sort_plan(path: Path) -> SortPlan:
    """The checked contents of a plan file; ConfigurationError names the file and the key when something is wrong."""
    return validated(SortPlan, read_toml(path), path)


def check_bins(plan: SortPlan, bands: Bands, path: Path) -> None:
    """ConfigurationError when bands and plan do not name the same bins."""
    wanted, given = {one.name for one in bands.bin}, {one.bin for one in plan.place if one.bin is not None}
    for name in sorted(wanted - given):
        raise ConfigurationError(f"{path}: bin {name!r} of the bands has no place; add one")
    for name in sorted(given - wanted):
        raise ConfigurationError(f"{path}: a place takes bin {name!r}, which the bands do not have; correct its name")
