"""Calibrate the span: the distance between the supports, measured several times.

>>> from midspan.calibrate.readings_table import readings_of
>>> found = calibrate_span(readings_of("typed", span_mm=[711.18, 711.24, 711.21]), 0.03)
>>> round(found.section["span_mm"], 2), round(found.section["u_span_mm"], 3)
(711.21, 0.035)
"""

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.units import STANDARD
from midspan.calibrate.fit_tests import combined
from midspan.calibrate.outcome import DOF_CERTIFICATE, DOF_GUESS, ProcedureResult, chosen, with_stated
from midspan.calibrate.plausibility import LENGTH_UNITS
from midspan.calibrate.readings_table import CalibrationReadings

RANGE_MM = (400.0, 1200.0)
ONE_READING_MM = 0.1  # standard uncertainty of a single reading at the supports' lines
STRAY_MM = 1.0


def calibrate_span(
    readings: CalibrationReadings,
    u_instrument_mm: float,
    certificate: str = "",
    stated: Mapping[str, float] = MappingProxyType({}),
) -> ProcedureResult:
    """Return the mean span with its uncertainty from scatter and instrument.

    Without a certificate the instrument's uncertainty is a guess, with the degrees of freedom of a guess (G.4.2).

    Parameters
    ----------
    readings : CalibrationReadings
        Column span_mm.
    u_instrument_mm : float
        Standard uncertainty of the instrument, mm.
    certificate : str
        Certificate of the instrument, empty without one.
    stated : Mapping[str, float]
        Other keys of the table "span" that the maker states, by name.

    Returns
    -------
    ProcedureResult
        Section "span" of the calibration file and remarks.

    Raises
    ------
    ReadingsError
        The lengths are in another unit or far from each other.

    References
    ----------
    JCGM 100:2008, 4.2, 4.3 and G.4.2.
    """
    span = readings["span_mm"]
    mean = float(span.mean())
    if not RANGE_MM[0] <= mean <= RANGE_MM[1]:
        units = [name for name, size in LENGTH_UNITS.items() if RANGE_MM[0] <= mean * size <= RANGE_MM[1]]
        looks = f"it looks like {' or '.join(units)}: write millimetres" if units else "measure it again"
        raise ReadingsError(f"{readings.source}: a span of {mean:g} mm cannot be right; {looks}")
    away = np.abs(span - np.median(span))
    if away.max() > STRAY_MM:
        raise ReadingsError(
            f"{readings.place(int(away.argmax()))}: {span[away.argmax()]:g} mm is {away.max():.1f} mm off the others; "
            "measure it again"
        )
    number = len(span)
    scatter = (float(span.std(ddof=1)) / math.sqrt(number), number - 1.0) if number > 1 else (ONE_READING_MM, 1.0)
    budget = {"readings_mm": scatter, "instrument_mm": (u_instrument_mm, DOF_CERTIFICATE if certificate else DOF_GUESS)}
    u, dof = combined(*budget.values())
    off = mean - STANDARD.span_mm
    remarks = chosen(
        (
            number == 1,
            "one_reading",
            f"one reading only: {ONE_READING_MM:g} mm was assumed for it; measure five times",
        ),
        (not certificate, "no_certificate", f"no certificate of the rule: {u_instrument_mm:g} mm is a guess"),
        (abs(off) > 5, "not_28_in", f"the span is {off:+.1f} mm off 28 in; shear and supports then count more"),
        (
            "rim_mm" not in stated,
            "rims_unstated",
            "any rims of 0 to 3 mm are assumed, which leaves 0.25 thou at spine 500 (k = 1): state yours, --rim-radius",
        ),
    )
    section = {"span_mm": mean, "u_span_mm": u, "dof_span": dof}
    artefacts = ({"instrument": certificate, "u_mm": u_instrument_mm},) if certificate else ()
    found = ProcedureResult("span", section, {"readings": float(number)}, budget, remarks, artefacts)
    return with_stated(found, stated)
