"""A plan with the files it names, read and held against each other before a night begins."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands, load_bands
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import load_usable
from midspan.sorting.plan import SortPlan, as_kept, check_bins, load_sort_plan
from midspan.store.place import StorePlace
from midspan.store.transit import NightOnRecord
from midspan.wire.records import Identify

LID, STOP = 1, 2  # bits of Identify.guards


@dataclass(frozen=True)
class Setup:
    """A plan with its calibration and bands; `folder` is the plan's, from which its file names count."""

    plan: SortPlan
    calibration: Calibration
    bands: Bands
    folder: Path

    @property
    def archive(self) -> Path:
        """Where the raw readings go."""
        return self.folder / self.plan.sort.archive

    @property
    def store(self) -> StorePlace:
        """The database of results and journal."""
        return StorePlace.of(self.plan.sort.store, self.folder)

    def as_json(self) -> str:
        """What the journal keeps of it."""
        return as_kept(self.plan, self.bands)


def load_setup(path: Path, *, attended: bool = False, allow_doubtful: bool = False) -> Setup:
    """The plan in a file with all it names; `attended` says that a person stays with the gauge, whatever the plan says.

    Raises ConfigurationError for whatever is wrong in one of the files or between them.
    """
    plan = load_sort_plan(path)
    if attended and not plan.sort.attended:
        plan = plan.model_copy(update={"sort": plan.sort.model_copy(update={"attended": True})})
    _check_files(plan, path)
    bands = load_bands(path.parent / plan.sort.bands)
    check_bins(plan, bands, path)
    calibration = load_usable(path.parent / plan.gauge.calibration, allow_doubtful=allow_doubtful)
    return Setup(plan, calibration, bands, path.parent)


def _check_files(plan: SortPlan, path: Path) -> None:
    """ConfigurationError when a file that a night writes is also something else: a log would spoil an archive."""
    known: dict[Path, str] = {path.resolve(): "the plan itself"}
    named = {
        "gauge.calibration": plan.gauge.calibration, "sort.bands": plan.sort.bands, "sort.archive": plan.sort.archive,
        "sort.store": plan.sort.store, "notices.log": plan.notices.log,
    }  # fmt: skip
    for key, name in named.items():
        other = known.setdefault((path.parent / name).resolve(), key)
        if other != key:
            raise ConfigurationError(f"{path}: {key} and {other} are one file, {name}; give each its own")


def check_emptied(plan: SortPlan, emptied: Iterable[int]) -> None:
    """ConfigurationError when a place that someone emptied is none that fills."""
    for number in emptied:
        if not any(one.number == number and one.use != "standard" for one in plan.place):
            raise ConfigurationError(f"--emptied {number}: the plan has no such place that fills; correct the number")


def check_unchanged(setup: Setup, night: NightOnRecord) -> None:
    """ConfigurationError when a night that goes on would lay shafts to others that were judged in another way.

    How much a place holds, when to check and when to stop may change; what lies in a place may not.
    """
    anew = "put it back, or empty all places and begin another night with --anew"
    before = {one["number"]: one["bin"] or one["use"] for one in night.plan["place"]}
    for one in setup.plan.place:
        was = before.get(one.number)
        if was not in (None, one.bin or one.use):
            raise ConfigurationError(f"{one.name} was for {was!r} when night {night.id} began: {anew}")
    if json.loads(setup.as_json())["bands"] != night.plan.get("bands"):
        raise ConfigurationError(f"{setup.plan.sort.bands}: the bands changed since night {night.id} began: {anew}")


def check_gauge(plan: SortPlan, gauge: Identify) -> None:
    """ConfigurationError when this gauge cannot do what the plan asks, or may not do it with nobody there.

    An unattended gauge moves with no one to stop it, so it must stop by itself when its lid is opened, and there must
    be an emergency stop that it knows of. That the stop cuts motor power in hardware no software can see.
    """
    if gauge.gauge != plan.gauge.name:
        raise ConfigurationError(
            f"the gauge there is called {gauge.gauge!r}, the plan is for {plan.gauge.name!r}; name its port, or change "
            "the plan"
        )
    if not gauge.places:
        raise ConfigurationError(f"gauge {gauge.gauge} has no feeder and bin selector; use: midspan measure")
    for one in plan.place:
        if one.number > gauge.places:
            raise ConfigurationError(f"{one.name} does not exist: the gauge has {gauge.places} places; mend the plan")
    missing = [name for bit, name in ((LID, "lid"), (STOP, "emergency-stop")) if not gauge.guards & bit]
    if missing and not plan.sort.attended:
        raise ConfigurationError(
            f"gauge {gauge.gauge} has no {' and no '.join(missing)} input configured, so nobody may leave it alone: "
            "configure it on the board, or stay with the gauge and use --attended"
        )
