"""May this calibration be used? Refused when it ran out, is of another gauge, or was made by a wrong clock.

Whoever uses it even so gets results that say so: out of its dates as a doubt, of another gauge as a fault.
"""

from datetime import UTC, date, datetime
from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import Calibration, load_calibration


def load_usable(path: Path, *, allow_doubtful: bool = False, today: date | None = None) -> Calibration:
    """The calibration in a file, as `usable` lets it through; without `today` by this computer's clock."""
    return usable(load_calibration(path), today or datetime.now(UTC).date(), allow_doubtful=allow_doubtful)


def usable(calibration: Calibration, today: date, *, allow_doubtful: bool = False) -> Calibration:
    """The calibration, unless it says that it was made after today: then a clock was set wrong.

    Raises ConfigurationError; with `allow_doubtful` every result made with it repeats the objection as a doubt instead.
    """
    identity = calibration.calibration
    if identity.made is None or identity.made <= today:
        return calibration
    found = f"calibration {identity.id} says it was made on {identity.made}, after the day of use: a clock is set wrong"
    if not allow_doubtful:
        raise ConfigurationError(_refusal(found))
    marked = identity.model_copy(update={"reservations": (*identity.reservations, found)})
    return calibration.model_copy(update={"calibration": marked})


def day_of(run: RawRun) -> date:
    """Return the day (UTC) on which a run was measured."""
    return datetime.fromtimestamp(run.started_ms / 1000, UTC).date()


def ran_out(cal: Calibration, day: date) -> tuple[str, ...]:
    """Return the reason if the calibration had expired on `day`, else an empty tuple."""
    last = cal.calibration.valid_until
    if last is None or day <= last:
        return ()
    return (f"measured on {day}, but calibration {cal.calibration.id} ran out on {last}",)


def of_another_gauge(cal: Calibration, gauge: str) -> tuple[str, ...]:
    """Return the reason if the calibration is not of this gauge, else an empty tuple."""
    if gauge == cal.calibration.gauge:
        return ()
    return (f"measured on gauge {gauge!r}, but the calibration is of {cal.calibration.gauge!r}",)


def about_calibration(sentence: str) -> bool:
    """Return whether a doubt or fault is about the calibration used and not about the reading."""
    return (
        sentence.startswith("calibration ")
        or ", but calibration " in sentence
        or ", but the calibration is of " in sentence
    )


def check_use(calibration: Calibration, gauge: str, day: date) -> None:
    """Raise ConfigurationError when the calibration is of another gauge or had expired on that day."""
    found = of_another_gauge(calibration, gauge) + ran_out(calibration, day)
    if found:
        raise ConfigurationError(_refusal(found[0]))


def _refusal(found: str) -> str:
    return f"{found}; calibrate again, or use it even so with --doubtful-calibration"
