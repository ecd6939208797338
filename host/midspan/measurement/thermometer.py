"""Temperature at the gauge, from what its thermometer shows and what that showed during the calibration.

A sensor by the shaft is off by a constant. The chip of the board is some degrees warmer than the room. Either error is
the same during the calibration, so only the change since then is used. It takes the same thermometer for both.
"""

from midspan.archive.raw_run import BOARD, SHAFT, RawRun
from midspan.measurement.calibration import Calibration
from midspan.wire.records import Identify

CHIP_WARMER_K = 20.0  # a board in a closed case, from below, warms itself by no more (common practice, no source)


def temperature_of(run: RawRun, cal: Calibration) -> float | None:
    """Return the temperature at the gauge at the end of a run.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.
    cal : Calibration
        Calibration in use.

    Returns
    -------
    float or None
        Temperature, degrees Celsius; None if it is not known.
    """
    return at_gauge_c(run.temperature_c, run.temperature_source, cal)


def temperature_now(gauge: Identify, cal: Calibration) -> float | None:
    """Return the temperature at the gauge now.

    Parameters
    ----------
    gauge : Identify
        Answer of the gauge.
    cal : Calibration
        Calibration in use.

    Returns
    -------
    float or None
        Temperature, degrees Celsius; None if it is not known.
    """
    return at_gauge_c(*shown(gauge), cal)


def shown(gauge: Identify) -> tuple[float | None, str | None]:
    """Return what the gauge's thermometer shows, and which one that is; a broken sensor shows nothing.

    Parameters
    ----------
    gauge : Identify
        Answer of the gauge.

    Returns
    -------
    tuple
        Degrees Celsius and SHAFT or BOARD; two times None without a reading.
    """
    centi = gauge.shaft_centi if gauge.sensor else gauge.temperature_centi
    return (None, None) if centi is None else (centi / 100, SHAFT if gauge.sensor else BOARD)


def at_gauge_c(shown_c: float | None, thermometer: str | None, cal: Calibration) -> float | None:
    """Return the temperature at the gauge when its thermometer shows a value.

    Parameters
    ----------
    shown_c : float or None
        What it shows, degrees Celsius; None for nothing.
    thermometer : str or None
        SHAFT or BOARD; None if a foreign program wrote the run.
    cal : Calibration
        Calibration in use.

    Returns
    -------
    float or None
        Temperature, degrees Celsius. None if it is not known: nothing is shown, or the chip shows something and the
        calibration does not say what it showed then. Only a chip that is colder than the calibration's range, or
        warmer than it by more than chips warm themselves, shows that the gauge is outside; the nearest temperature it
        can have is returned then.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> here = {"gauge_temperature_c": 27.5, "thermometer": "BOARD"}
    >>> cal = Calibration.model_validate(EXAMPLE | {"calibration": EXAMPLE["calibration"] | here})
    >>> at_gauge_c(29.0, "BOARD", cal), at_gauge_c(29.0, "SHAFT", cal), at_gauge_c(None, "SHAFT", cal)
    (21.5, 29.0, None)
    >>> plain = Calibration.model_validate(EXAMPLE)
    >>> [at_gauge_c(celsius, "BOARD", plain) for celsius in (9.0, 29.0, 50.0)]
    [9.0, None, 30.0]
    """
    known = cal.calibration
    if shown_c is None:
        return None
    if known.gauge_temperature_c is not None and thermometer == known.thermometer:
        return shown_c - known.gauge_temperature_c + known.temperature_c
    if thermometer != BOARD:
        return shown_c
    low, high = known.range_c
    if low <= shown_c <= high + CHIP_WARMER_K:
        return None
    return shown_c if shown_c < low else shown_c - CHIP_WARMER_K
