"""The setup of a night: a plan with the files it names, read and checked against each other before the night begins."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands, load_bands
from midspan.measurement.calibration import Calibration
from midspan.measurement.calibration_validity import load_usable
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import CycleSettings
from midspan.sorting.plan import SortPlan, as_kept, check_bins, load_sort_plan
from midspan.store.place import StorePlace
from midspan.store.transit import NightOnRecord
from midspan.wire.records import Identify

LID, STOP = 1, 2  # bits of Identify.guards


@dataclass(frozen=True)
class Setup:
    """A plan with its calibration and bands.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    calibration : Calibration
        Its calibration.
    bands : Bands
        Its bands.
    folder : Path
        Folder of the plan, to which file names are relative.
    """

    plan: SortPlan
    calibration: Calibration
    bands: Bands
    folder: Path

    @property
    def archive(self) -> Path:
        """File of the raw readings."""
        return self.folder / self.plan.sort.archive

    @property
    def store(self) -> StorePlace:
        """Database of results and journal."""
        return StorePlace.of(self.plan.sort.store, self.folder)

    @property
    def cycle(self) -> CycleSettings:
        """Settings of the cycle: those of the plan, else those of the calibration."""
        return self.plan.cycle or self.calibration.usual_cycle

    def as_json(self) -> str:
        """Return the plan as the journal keeps it.

        Returns
        -------
        str
            JSON text.
        """
        return as_kept(self.plan, self.bands)


def load_setup(path: Path, *, attended: bool = False, allow_doubtful: bool = False) -> Setup:
    """Read a plan with all the files it names.

    Parameters
    ----------
    path : Path
        The plan.
    attended : bool
        True if a person stays with the gauge, whatever the plan says.
    allow_doubtful : bool
        True to accept a calibration whose checks were doubtful.

    Returns
    -------
    Setup
        The setup.

    Raises
    ------
    ConfigurationError
        A file is wrong, or two of them contradict each other.
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
    """Raise ConfigurationError if a file that a night writes has a second role: a log would spoil an archive."""
    known: dict[Path, str] = {path.resolve(): "the plan itself"}
    named = {
        "gauge.calibration": plan.gauge.calibration, "sort.bands": plan.sort.bands, "sort.archive": plan.sort.archive,
        "sort.store": plan.sort.store, "notices.log": plan.notices.log,
    }  # fmt: skip
    for key, name in named.items():
        other = known.setdefault((path.parent / name).resolve(), key)
        if other != key:
            raise ConfigurationError(f"{path}: {key} and {other} are the same file, {name}; give each its own")


def check_emptied(plan: SortPlan, emptied: Iterable[int]) -> None:
    """Check the places that a person says were emptied.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    emptied : Iterable[int]
        Their numbers.

    Raises
    ------
    ConfigurationError
        The plan has no such place, or it never fills.
    """
    for number in emptied:
        if not any(place.number == number and place.use != "standard" for place in plan.place):
            raise ConfigurationError(f"--emptied {number}: no place with this number can fill up; correct the number")


def check_unchanged(setup: Setup, night: NightOnRecord) -> None:
    """Check that a night that goes on sorts by the same bands into the same places.

    The size of a place, and when to check and stop, may change; what lies in a place may not.

    Parameters
    ----------
    setup : Setup
        The setup now.
    night : NightOnRecord
        The night on record.

    Raises
    ------
    ConfigurationError
        A place has another bin or use, or the bands changed.
    """
    anew = "put it back, or empty all places and start a new run with --anew"
    before = {place["number"]: place["bin"] or place["use"] for place in night.plan["place"]}
    for place in setup.plan.place:
        was = before.get(place.number)
        if was not in (None, place.bin or place.use):
            raise ConfigurationError(f"{place.name} was for {was!r} when run {night.id} began: {anew}")
    if json.loads(setup.as_json())["bands"] != night.plan.get("bands"):
        raise ConfigurationError(f"{setup.plan.sort.bands}: the bands changed since run {night.id} began: {anew}")


def check_cycle(setup: Setup, gauge: Identify) -> None:
    """Check that a gauge allows the cycle by which shafts are to be measured, before any is fed.

    Parameters
    ----------
    setup : Setup
        Plan and calibration.
    gauge : Identify
        The gauge's answer to the greeting.

    Raises
    ------
    ConfigurationError
        The gauge does not allow it; the message names the key and the limit.
    """
    cycle_steps(setup.calibration, gauge, setup.cycle)


def check_gauge(plan: SortPlan, gauge: Identify) -> None:
    """Check that a gauge can do what the plan asks, and may do it unattended.

    An unattended gauge moves with nobody to stop it, so it must stop by itself when its lid is opened, and it must have
    an emergency stop that it knows of. No software can see that the stop cuts motor power in hardware.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    gauge : Identify
        The gauge's answer to the greeting.

    Raises
    ------
    ConfigurationError
        It is another gauge, has no feeder or too few places, or lacks an input for lid or emergency stop.
    """
    if gauge.gauge != plan.gauge.name:
        raise ConfigurationError(
            f"this gauge is called {gauge.gauge!r}, the plan is for {plan.gauge.name!r}; give the port of the right "
            "gauge, or change the plan"
        )
    if gauge.feeder is None:
        raise ConfigurationError(f"gauge {gauge.gauge} has no feeder and bin selector; use: midspan measure")
    for place in plan.place:
        if place.number > gauge.feeder.places:
            raise ConfigurationError(
                f"{place.name} does not exist: the gauge has {gauge.feeder.places} places; correct the plan"
            )
    missing = [name for bit, name in ((LID, "lid"), (STOP, "emergency-stop")) if not gauge.guards & bit]
    if missing and not plan.sort.attended:
        raise ConfigurationError(
            f"gauge {gauge.gauge} has no {' and no '.join(missing)} input configured, so it must not run unattended: "
            "configure it on the board, or stay with the gauge and use --attended"
        )
