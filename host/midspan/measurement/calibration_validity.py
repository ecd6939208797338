"""Check that a calibration may be used: not expired, of the same gauge, and not dated after today.

A doubtful calibration can be used on request. Its results then say so: a wrong date is a doubt, another gauge a fault.
"""

from datetime import UTC, date, datetime
from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import Calibration, load_calibration


def load_usable(path: Path, *, allow_doubtful: bool = False, today: date | None = None) -> Calibration:
    """Return the calibration in a file if its date of making is not in the future.

    Parameters
    ----------
    path : Path
        TOML file.
    allow_doubtful : bool
        Return a calibration that is dated after today, with a reservation, instead of refusing it.
    today : date, optional
        Day of use; None for today (UTC) by this computer's clock.

    Returns
    -------
    Calibration
        The calibration, with a reservation added if it is dated after `today`.

    Raises
    ------
    ConfigurationError
        The file cannot be read or is wrong, or the calibration is dated after `today`.
    """
    return usable(load_calibration(path), today or datetime.now(UTC).date(), allow_doubtful=allow_doubtful)


def usable(calibration: Calibration, today: date, *, allow_doubtful: bool = False) -> Calibration:
    """Return the calibration if its date of making is not in the future, which would mean that a clock is wrong.

    Parameters
    ----------
    calibration : Calibration
        Calibration to check.
    today : date
        Day of use.
    allow_doubtful : bool
        Add the objection as a reservation, which each result repeats as a doubt, instead of refusing.

    Returns
    -------
    Calibration
        The same calibration, or a copy with one more reservation.

    Raises
    ------
    ConfigurationError
        The calibration is dated after `today` and `allow_doubtful` is False.
    """
    identity = calibration.calibration
    if identity.made is None or identity.made <= today:
        return calibration
    objection = (
        f"calibration {identity.id} says it was made on {identity.made}, after the day of use: a clock is set wrong"
    )
    if not allow_doubtful:
        raise ConfigurationError(_refusal(objection), code="calibration_ahead")
    marked = identity.model_copy(update={"reservations": (*identity.reservations, objection)})
    return calibration.model_copy(update={"calibration": marked})


def day_of(run: RawRun) -> date:
    """Return the day (UTC) on which a run was measured.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.

    Returns
    -------
    date
        Day on which it started.
    """
    return datetime.fromtimestamp(run.started_ms / 1000, UTC).date()


def ran_out(cal: Calibration, day: date) -> tuple[str, ...]:
    """Return the reason if the calibration had expired on `day`, else an empty tuple.

    Parameters
    ----------
    cal : Calibration
        Calibration to check.
    day : date
        Day of the measurement.

    Returns
    -------
    tuple of str
        At most one sentence.
    """
    last = cal.calibration.valid_until
    if last is None or day <= last:
        return ()
    return (f"measured on {day}, but calibration {cal.calibration.id} ran out on {last}",)


def of_another_gauge(cal: Calibration, gauge: str) -> tuple[str, ...]:
    """Return the reason if the calibration belongs to another gauge, else an empty tuple.

    Parameters
    ----------
    cal : Calibration
        Calibration to check.
    gauge : str
        Name of the gauge that measured.

    Returns
    -------
    tuple of str
        At most one sentence.
    """
    if gauge == cal.calibration.gauge:
        return ()
    return (f"measured on gauge {gauge!r}, but the calibration is of {cal.calibration.gauge!r}",)


def about_calibration(sentence: str) -> bool:
    """Return True if a doubt or fault is about the calibration used and not about the reading.

    Parameters
    ----------
    sentence : str
        A doubt or a fault of a result.

    Returns
    -------
    bool
        True if another calibration would clear it.
    """
    return (
        sentence.startswith("calibration ")
        or ", but calibration " in sentence
        or ", but the calibration is of " in sentence
        or ", calibrated for " in sentence
    )


def of_another_temperature(cal: Calibration, temperature_c: float | None) -> tuple[str, ...]:
    """Return the reason if the gauge is too cold or too warm for the calibration, else an empty tuple.

    Parameters
    ----------
    cal : Calibration
        Calibration to check.
    temperature_c : float or None
        Temperature at the gauge, degrees Celsius; None if it is not known.

    Returns
    -------
    tuple of str
        At most one sentence.
    """
    low, high = cal.calibration.range_c
    if temperature_c is None or low <= temperature_c <= high:
        return ()
    return (f"the gauge is at {temperature_c:.1f} °C, but calibration {cal.calibration.id} is for {low:g} to {high:g}",)


def check_use(calibration: Calibration, gauge: str, day: date, temperature_c: float | None = None) -> None:
    """Check that a calibration belongs to a gauge, is valid on a day, and suits the temperature.

    Parameters
    ----------
    calibration : Calibration
        Calibration to check.
    gauge : str
        Name of the gauge it is to be used with.
    day : date
        Day of the measurement.
    temperature_c : float or None
        Temperature at the gauge, degrees Celsius; None if it is not known.

    Raises
    ------
    ConfigurationError
        The calibration belongs to another gauge (code "calibration_of_another_gauge"), had expired (code
        "calibration_ran_out"), or the gauge is too cold or too warm for it (code "calibration_too_cold" or
        "calibration_too_warm").
    """
    for reason in of_another_gauge(calibration, gauge):
        raise ConfigurationError(_refusal(reason), code="calibration_of_another_gauge")
    for reason in ran_out(calibration, day):
        raise ConfigurationError(_refusal(reason), code="calibration_ran_out")
    for reason in of_another_temperature(calibration, temperature_c):
        cold = temperature_c is not None and temperature_c < calibration.calibration.range_c[0]
        raise ConfigurationError(
            f"{reason}; {'warm' if cold else 'cool'} the room and wait until gauge and shafts are even, calibrate here "
            "and now, or use it with --doubtful-calibration",
            code="calibration_too_cold" if cold else "calibration_too_warm",
        )


def _refusal(reason: str) -> str:
    """Return a reason against a calibration as an error message that says what to do."""
    return f"{reason}; calibrate again, or use it with --doubtful-calibration"
