"""The plan of a night: which gauge sorts what into which places, how it is checked, and when it stops.

A place is a stop of the bin selector, numbered from 1. File names are relative to the folder of the plan.

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
from midspan.measurement.cycle_settings import Cycle
from midspan.measurement.definition import DEFINITION, OLDER_DEFINITION, Definition, assigned_under_reference
from midspan.sorting.bar_warmth import Material
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
    """The gauge of a plan.

    Parameters
    ----------
    name : Name
        Its own name, by which it is recognised on another port.
    port : File
        Port to try first.
    calibration : File
        Its calibration file.
    """

    name: Name
    port: File
    calibration: File


class SortPart(Section):
    """What is sorted, by which bands, and where everything is kept.

    Parameters
    ----------
    bands : File
        The bands file.
    archive : File
        File of the raw readings.
    store : File
        The database.
    measure_again : int
        How often a doubtful or unmeasured shaft is measured again before it goes to recheck.
    crack_hysteresis_pct : float
        Hysteresis above which a shaft goes to the place for cracked shafts, percent.
    loaded : Count | None
        Shafts put into the hopper, for the estimate of the time left; None if unknown.
    attended : bool
        True if a person stays with the gauge.
    """

    bands: File
    archive: File = "readings.avro"
    store: File = "results.db"
    measure_again: Annotated[int, Field(ge=0, le=10)] = 1
    crack_hysteresis_pct: Annotated[float, Field(gt=0, le=100)]
    loaded: Count | None = None
    attended: bool = False


class Place(Section):
    """A stop of the bin selector: it takes a bin of the bands file, or has a use.

    ``recheck`` gets shafts that stayed doubtful, were not measured, or found their place full; ``rejected`` and
    ``cracked`` what their names say; ``standard`` leads back into the slot of the check standard and never fills.

    Parameters
    ----------
    number : int
        Its number, from 1.
    bin : Name | None
        Bin of the bands file, None for a place with a use.
    use : Use | None
        Its use, None for a place with a bin.
    holds : Count | None
        Shafts it holds, None for the use ``standard``.
    """

    number: Annotated[int, Field(ge=1, le=64)]
    bin: Name | None = None
    use: Use | None = None
    holds: Count | None = None

    @model_validator(mode="after")
    def _is_for_one_thing(self) -> "Place":
        """Refuse a place with both a bin and a use or neither, and one without its size."""
        if (self.bin is None) == (self.use is None):
            raise ValueError(f"place {self.number}: give it either a bin of the bands file or a use")
        if (self.holds is None) != (self.use == "standard"):
            raise ValueError(f"place {self.number}: give holds, the number of shafts it holds; not for use 'standard'")
        return self

    @property
    def name(self) -> str:
        """Name for people.

        >>> Place(number=2, use="recheck", holds=5).name
        'place 2 (recheck)'
        """
        return f"place {self.number} ({self.bin or self.use})"


class Standard(Section):
    """A check standard.

    Parameters
    ----------
    name : Name
        Its name.
    assigned_thou : float
        Assigned spine, thou.
    u_assigned_thou : float
        Standard uncertainty of that, thou.
    definition : Literal['normal reactions', 'middle of the supports']
        Definition for which it is stated; plans of earlier versions name none, and mean the second.
    material : Literal['steel', 'aluminium'] | None
        Material of the bar, None if unknown; a warm bar is softer.
    temperature_c : float | None
        Temperature at which its value was assigned, degrees Celsius; None if unknown.
    from_ : Literal['slot', 'hand']
        `slot` or `hand`, where it is fed from.
    """

    name: Name
    assigned_thou: Annotated[float, Field(ge=50, le=5000)]
    u_assigned_thou: Annotated[float, Field(gt=0, le=100)]
    definition: Definition = OLDER_DEFINITION
    material: Material | None = None
    temperature_c: Annotated[float, Field(ge=-40, le=85)] | None = None
    from_: Annotated[Literal["slot", "hand"], Field(alias="from")] = "slot"

    @property
    def under_reference(self) -> tuple[float, float]:
        """Assigned spine under the reference condition and its standard uncertainty, thou."""
        return assigned_under_reference(self.assigned_thou, self.u_assigned_thou, self.definition)

    @property
    def conversion(self) -> str | None:
        """Sentence that says how the assigned value is converted; None if it is stated for the reference condition."""
        spine, u_spine = self.under_reference
        if self.definition == DEFINITION:
            return None
        return (
            f"check standard {self.name}: {self.assigned_thou:g} thou (u {self.u_assigned_thou:g}) names no definition "
            f"and is taken as {spine:.2f} (u {u_spine:.2f}) for {DEFINITION}; assign it anew, or name its definition"
        )


class Checks(Section):
    """When check standards are measured besides start and end, and what follows a failed check.

    The limits alone see a lasting shift of one sigma after 44 checks on average and raise a false alarm about once in
    370. With the weighted mean they see it after 10, with a false alarm in 244. The run rules of Western Electric see
    it after 9 and raise a false alarm in 92 (C. W. Champ and W. H. Woodall, Technometrics 29 (1987) 393), more often
    with limits from few readings.

    Parameters
    ----------
    every_shafts : Count
        Shafts after which a check is due.
    every_minutes : int
        Minutes after which a check is due.
    bad_check : Literal['stop', 'continue']
        `stop` or `continue` after a failed check.
    chart_after : int
        Good readings that give the control chart its limits; provisional limits begin with five.
    rules : Literal['weighted', 'limits', 'runs']
        `limits` alone, the `weighted` mean too, or the `runs` of Western Electric too.
    coverage_factor : float
        Coverage factor of U for the bias.
    """

    every_shafts: Count = 50
    every_minutes: Annotated[int, Field(ge=1, le=10_000)] = 60
    bad_check: Literal["stop", "continue"] = "stop"
    chart_after: Annotated[int, Field(ge=5, le=1000)] = 20
    rules: Literal["weighted", "limits", "runs"] = "weighted"
    coverage_factor: Annotated[float, Field(ge=1, le=4)] = 2.0


class Stops(Section):
    """When the night ends before the hopper is empty.

    Each `_in_a_row` counts shafts without another kind in between.

    Parameters
    ----------
    shafts : Count | None
        Shafts to sort, None for all.
    hours : Annotated[float, Field(gt=0, le=168)] | None
        Hours to run, None for no limit.
    faults_in_a_row : Count
        Instrument faults.
    rechecks_in_a_row : Count
        Shafts that went to recheck.
    uncertain_in_a_row : Count
        Shafts that the chute did not see.
    alarms_in_a_row : Count
        Shafts that raised an alarm about the gauge.
    wait_minutes : float
        How long to wait for a gauge, disk or database that fails, minutes.
    """

    shafts: Count | None = None
    hours: Annotated[float, Field(gt=0, le=168)] | None = None
    faults_in_a_row: Count = 3
    rechecks_in_a_row: Count = 10
    uncertain_in_a_row: Count = 3
    alarms_in_a_row: Count = 5
    wait_minutes: Annotated[float, Field(gt=0, le=10_000)] = 30.0


class SortPlan(Section):
    """A whole plan. Its JSON, which the journal keeps, has no addresses of notices.

    Parameters
    ----------
    gauge : GaugePart
        The gauge.
    sort : SortPart
        What is sorted, and where it is kept.
    place : tuple[Place, ...]
        The places.
    standard : tuple[Standard, ...]
        The check standards.
    checks : Checks
        When they are measured.
    watch : WatchLimits
        Limits of a healthy gauge.
    stop : Stops
        When the night ends.
    notices : NoticeSettings
        Addresses for notices.
    cycle : CycleSettings or None
        How shafts and check standards are measured, in the file a table or the name of a preset; None for the
        calibration's settings.
    """

    gauge: GaugePart
    sort: SortPart
    place: Annotated[tuple[Place, ...], ARRAY, Field(min_length=1)]
    standard: Annotated[tuple[Standard, ...], ARRAY] = ()
    checks: Checks = Checks()
    watch: WatchLimits = WatchLimits()
    stop: Stops = Stops()
    notices: NoticeSettings = NoticeSettings()
    cycle: Cycle | None = None

    @model_validator(mode="after")
    def _holds_together(self) -> "SortPlan":
        """Refuse a plan whose parts contradict each other."""
        for problem in self._problems():
            raise ValueError(problem)
        return self

    def _problems(self) -> Iterator[str]:
        """Yield contradictions between the parts of the plan."""
        numbers = [place.number for place in self.place]
        uses = [place.use for place in self.place if place.use is not None]
        names = [standard.name for standard in self.standard]
        yield from (f"place {number} is listed twice; renumber one" for number in numbers if numbers.count(number) > 1)
        yield from (f"use {use!r} has two places; give it one" for use in uses if uses.count(use) > 1)
        yield from (f"no place has the use {use!r}; add one" for use in NEEDED if use not in uses)
        yield from (f"standard {name!r} is listed twice; rename one" for name in names if names.count(name) > 1)
        if len(self.standards_in_slot) > 1:
            yield "the slot holds one check standard; give the others from = 'hand'"
        if self.standards_in_slot and "standard" not in uses:
            yield "no place has the use 'standard', so the check standard would not return to its slot; add one"
        if any(standard.from_ == "hand" for standard in self.standard) and not self.sort.attended:
            yield "a check standard with from = 'hand' needs a person: set sort.attended, or put it into the slot"

    @property
    def standards_in_slot(self) -> tuple[Standard, ...]:
        """Check standards fed from the slot, at most one."""
        return tuple(standard for standard in self.standard if standard.from_ == "slot")

    def bin_places(self, name: str) -> list[int]:
        """Return the places that take a bin.

        Parameters
        ----------
        name : str
            Name of the bin.

        Returns
        -------
        list[int]
            Their numbers, in the plan's order; empty if no place takes it.
        """
        return [place.number for place in self.place if place.bin == name]

    def bin_of(self, number: int) -> str | None:
        """Return the bin that a place takes.

        Parameters
        ----------
        number : int
            Number of the place.

        Returns
        -------
        str | None
            Name of the bin, None for a place with a use or no place.
        """
        return next((place.bin for place in self.place if place.number == number), None)

    def place_for(self, use: Use) -> Place:
        """Return the place with a use; a checked plan can lack only `standard`.

        Parameters
        ----------
        use : Use
            The use.

        Returns
        -------
        Place
            The place.

        Raises
        ------
        ConfigurationError
            No place has that use.
        """
        for place in self.place:
            if place.use == use:
                return place
        raise ConfigurationError(f"the plan has no place with the use {use!r}; add one")

    def place_called(self, number: int) -> str:
        """Return the name of a place for people.

        Parameters
        ----------
        number : int
            Its number, in this plan or another.

        Returns
        -------
        str
            Its name.

        Examples
        --------
        >>> SortPlan.model_validate(EXAMPLE).place_called(2)
        'place 2 (recheck)'
        """
        return next((place.name for place in self.place if place.number == number), f"place {number}")


def as_kept(plan: SortPlan, bands: Bands) -> str:
    """Return the plan as the journal keeps it for the report: JSON with `bands`, without secret addresses.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    bands : Bands
        Its bands.

    Returns
    -------
    str
        JSON text.
    """
    kept = bands.model_dump(mode="json", exclude_unset=True)  # some defaults are not valid when written out
    return json.dumps({**plan.model_dump(mode="json", by_alias=True), "bands": kept})


def load_sort_plan(path: Path) -> SortPlan:
    """Read a plan.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    SortPlan
        The checked plan.

    Raises
    ------
    ConfigurationError
        The file cannot be read, a key is missing, unknown or wrong, or its parts contradict each other.
    """
    return validated(SortPlan, read_toml(path), path)


def check_bins(plan: SortPlan, bands: Bands, path: Path) -> None:
    """Check that bands and plan name the same bins.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    bands : Bands
        The bands.
    path : Path
        File of the plan, for the message.

    Raises
    ------
    ConfigurationError
        A bin has no place, or a place has an unknown bin.
    """
    wanted, given = {band.name for band in bands.bin}, {place.bin for place in plan.place if place.bin is not None}
    for name in sorted(wanted - given):
        raise ConfigurationError(f"{path}: bin {name!r} of the bands has no place; add one")
    for name in sorted(given - wanted):
        raise ConfigurationError(f"{path}: a place has bin {name!r}, which the bands do not have; correct the name")
