"""May this calibration be used? Refused when it ran out, is of another gauge, or was made by a wrong clock.

Whoever uses it even so gets results that say so: out of its dates as a doubt, of another gauge as a fault.
"""

from datetime import UTC, date, datetime
from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import Calibration, load_calibration
from midspan.measurement.result_checks import misuse


def load_usable(path: Path, *, even_so: bool = False, today: date | None = None) -> Calibration:
    """The calibration in a file, as `usable` lets it through; without `today` by this computer's clock."""
    return usable(load_calibration(path), today or datetime.now(UTC).date(), even_so=even_so)


def usable(calibration: Calibration, today: date, *, even_so: bool = False) -> Calibration:
    """The calibration, unless it says that it was made after today: then a clock was set wrong.

    Raises ConfigurationError; with `even_so` every result made with it repeats the objection as a doubt instead.
    """
    identity = calibration.calibration
    if identity.made is None or identity.made <= today:
        return calibration
    found = f"calibration {identity.id} says it was made on {identity.made}, after the day of use: a clock is set wrong"
    if not even_so:
        raise ConfigurationError(_refusal(found))
    marked = identity.model_copy(update={"reservations": (*identity.reservations, found)})
    return calibration.model_copy(update={"calibration": marked})


def check_use(calibration: Calibration, gauge: str, day: date) -> None:
    """ConfigurationError when the calibration is not one for this gauge on that day."""
    found = misuse(calibration, gauge, day)
    if found:
        raise ConfigurationError(_refusal(found[0]))


def _refusal(found: str) -> str:
    return f"{found}; calibrate again, or use it even so with --doubtful-calibration"
