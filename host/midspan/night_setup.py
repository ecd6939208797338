"""A plan with the files it names, read and held against each other before a night begins."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from midspan.bands import Bands, load_bands
from midspan.calibration import Calibration
from midspan.calibration_use import load_usable
from midspan.errors import ConfigurationError
from midspan.records import Identify
from midspan.sort_plan import SortPlan, as_kept, check_bins, load_sort_plan

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
    def store(self) -> Path:
        """The database of results and journal."""
        return self.folder / self.plan.sort.store

    def as_json(self) -> str:
        """What the journal keeps of it."""
        return as_kept(self.plan, self.bands)


def load_setup(path: Path, *, attended: bool = False, even_so: bool = False) -> Setup:
    """The plan in a file with all it names; `attended` says that a person stays with the gauge, whatever the plan says.

    Raises ConfigurationError for whatever is wrong in one of the files or between them.
    """
    plan = load_sort_plan(path)
    if attended and not plan.sort.attended:
        plan = plan.model_copy(update={"sort": plan.sort.model_copy(update={"attended": True})})
    bands = load_bands(path.parent / plan.sort.bands)
    check_bins(plan, bands, path)
    return Setup(plan, load_usable(path.parent / plan.gauge.calibration, even_so=even_so), bands, path.parent)


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
