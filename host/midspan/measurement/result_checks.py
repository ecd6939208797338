"""What speaks against a calibration for what a gauge measured on a day: it had run out, or it is of another gauge."""

from datetime import UTC, date, datetime

from midspan.archive.raw_run import RawRun
from midspan.measurement.calibration import Calibration


def day_of(run: RawRun) -> date:
    """The day (UTC) on which a run was measured."""
    return datetime.fromtimestamp(run.started_ms / 1000, UTC).date()


def ran_out(cal: Calibration, day: date) -> tuple[str, ...]:
    """That a calibration was not valid any more on a day, or nothing."""
    last = cal.calibration.valid_until
    if last is None or day <= last:
        return ()
    return (f"measured on {day}, but calibration {cal.calibration.id} ran out on {last}",)


def of_another_gauge(cal: Calibration, gauge: str) -> tuple[str, ...]:
    """That a calibration is not of this gauge, or nothing."""
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


def misuse(cal: Calibration, gauge: str, day: date) -> tuple[str, ...]:
    """Why a calibration should not be used for what a gauge measured on a day; empty when nothing is against it."""
    return of_another_gauge(cal, gauge) + ran_out(cal, day)
