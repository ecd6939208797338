"""Temperature of a run against that of the calibration: what it changes in span and screw, and what is left unknown.

The beam that carries the supports and the screw of the press grow by known coefficients. The scale of the load cell
changes by an unknown one. All three act in proportion to the difference of two temperatures. A shaft has the spine of
the temperature at which it was measured: what a bar loses by getting warm is no error of the gauge.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from midspan.measurement.calibration import Calibration
from midspan.measurement.harmonics import Array

# The thermometer is not where beam, screw and cell are, and a chip does not warm itself by the same amount every day;
# constant errors were there during the calibration too (thermometer.py). Common practice, no source.
U_THERMOMETER_K = 1.0


@dataclass(frozen=True)
class Warmth:
    """How much warmer S runs were than the calibration.

    Parameters
    ----------
    off_k : ndarray
        Best estimate of the difference, K, shape (S,).
    u_off_k : ndarray
        Its standard uncertainty, K, shape (S,).
    beyond_k : ndarray
        How far the temperature lay outside the range of the calibration, K, shape (S,); 0 inside, or if unknown.
    """

    off_k: Array
    u_off_k: Array
    beyond_k: Array

    @property
    def in_doubt_k(self) -> Array:
        """Root mean square of the difference as it acts on unknown coefficients, K, shape (S,).

        Beyond the calibration's range the distance counts twice: nothing there was tried.
        """
        result: Array = np.hypot(np.abs(self.off_k) + self.beyond_k, self.u_off_k)
        return result


def warmth_of(temperatures_c: Sequence[float | None], cal: Calibration) -> Warmth:
    """Return how much warmer runs were than the calibration; an unknown temperature lies anywhere in its range.

    Parameters
    ----------
    temperatures_c : sequence of float or None
        Temperature at the gauge during each run, degrees Celsius; None if unknown.
    cal : Calibration
        Temperature of the calibration, and the range in which shafts are measured.

    Returns
    -------
    Warmth
        Differences of S runs.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> found = warmth_of([22.0, 9.0, None], Calibration.model_validate(EXAMPLE))
    >>> found.off_k.tolist(), found.beyond_k.tolist(), found.u_off_k.round(2).tolist()
    ([2.0, -11.0, 0.0], [0.0, 6.0, 0.0], [1.0, 1.0, 2.89])
    """
    low, high = cal.calibration.range_c
    read = np.array([np.nan if known is None else known for known in temperatures_c], float)
    unknown = np.isnan(read)
    found = np.where(unknown, (low + high) / 2, read)
    return Warmth(
        found - cal.calibration.temperature_c,
        np.where(unknown, (high - low) / np.sqrt(12), U_THERMOMETER_K),
        np.maximum(np.maximum(low - found, found - high), 0.0),
    )


def of_temperature(cal: Calibration, temperature_c: float | None) -> tuple[str, ...]:
    """Return the reason to doubt a run outside the calibration's range of temperature, else an empty tuple.

    Parameters
    ----------
    cal : Calibration
        The calibration used.
    temperature_c : float or None
        Temperature at the gauge during the run, degrees Celsius; None if unknown.

    Returns
    -------
    tuple of str
        At most one sentence.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> of_temperature(Calibration.model_validate(EXAMPLE), 9.2)
    ('measured at 9 °C, calibrated for 15 to 25 °C',)
    """
    low, high = cal.calibration.range_c
    if temperature_c is None or low <= temperature_c <= high:
        return ()
    return (f"measured at {temperature_c:.0f} °C, calibrated for {low:g} to {high:g} °C",)
