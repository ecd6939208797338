"""Calibrate the frame: pressing on a rigid bar shows the compliance of frame and cell, in mm of travel per newton.

The bend of the bar adds to it and is subtracted if the bar is known (P L^3 / 48 EI, Roark's Formulas for Stress and
Strain, 7th ed., table 8.1). A bar that bends like a shaft is refused.

>>> from midspan.calibrate.readings_table import readings_of
>>> force = [0.5 * i for i in range(1, 20)]
>>> table = readings_of("typed", travel_mm=[8.0 + 0.0101 * f for f in force], force_n=force)
>>> round(calibrate_frame(table).section["give_mm_per_n"], 6)
0.0101
"""

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.units import STANDARD
from midspan.calibrate.fit_tests import Evidence, choose_order, combined
from midspan.calibrate.outcome import DOF_GUESS, ProcedureResult, Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings

LEAST_N = 0.4  # below this force the contact is still closing
MOST_GIVE = 0.2  # mm/N; the softest usable frame: the stiffest shafts yield only twice as much
MOST_SHARE_OF_BAR = 0.3
U_BAR = 0.05  # relative standard uncertainty of a bend calculated from the bar's size
FEWEST = 5


def bar_bend_mm_per_n(diameter_mm: float, modulus_gpa: float, span_mm: float) -> float:
    """Return the bend of a round bar between the supports for each newton at its middle.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    modulus_gpa : float
        Young's modulus, GPa.
    span_mm : float
        Distance between the supports, mm.

    Returns
    -------
    float
        Bend, mm/N.

    References
    ----------
    Roark's Formulas for Stress and Strain, 7th ed., table 8.1.

    Examples
    --------
    >>> round(bar_bend_mm_per_n(25.0, 200.0, 711.2), 5)
    0.00195
    """
    return float(span_mm**3 / (48 * modulus_gpa * 1e3 * np.pi * diameter_mm**4 / 64))


def calibrate_frame(
    readings: CalibrationReadings, bar_mm_per_n: float = 0.0, u_scales: float = 3e-4
) -> ProcedureResult:
    """Return the compliance of frame and cell with its uncertainty.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns travel_mm, force_n.
    bar_mm_per_n : float
        Bend of the bar itself, mm/N; 0 if unknown.
    u_scales : float
        Relative standard uncertainty of travel over force.

    Returns
    -------
    ProcedureResult
        Section "frame" of the calibration file, figures and remarks.

    Raises
    ------
    ReadingsError
        The bar bends like a shaft or is too thin, the readings stop short of the working load, or travel falls as
        force grows.
    """
    travel, force = readings["travel_mm"], readings["force_n"]
    pressed = force >= LEAST_N
    if pressed.sum() < FEWEST or force.max() < 0.8 * STANDARD.load_n:
        raise ReadingsError(
            f"{readings.source}: needs {FEWEST} or more readings between {LEAST_N:g} N and the working load of "
            f"{STANDARD.load_n:.1f} N; found {int(pressed.sum())} up to {force.max():.1f} N",
            code="too_few",
        )
    evidence = choose_order(force[pressed], travel[pressed])
    low, high = 0.1 * STANDARD.load_n, STANDARD.load_n
    # The measuring cycle uses two depths only, so the secant between them counts, not the curve's slope.
    whole = float(evidence.fit(high) - evidence.fit(low)) / (high - low)
    lever = np.array([(high**power - low**power) / (high - low) for power in range(evidence.order + 1)])
    _refuse(whole, bar_mm_per_n, readings)
    u_fit = float(np.sqrt(lever @ evidence.fit.covariance @ lever))
    half = _nonlinear(evidence, low, high)
    budget = {
        "readings_mm_per_n": (u_fit, float(evidence.fit.degrees_of_freedom)),
        "scales_mm_per_n": (u_scales * whole, DOF_GUESS),
        "bar_mm_per_n": (U_BAR * bar_mm_per_n, DOF_GUESS),
        "curvature_mm_per_n": (half / np.sqrt(3), DOF_GUESS),
    }
    u, dof = combined(*budget.values())
    section = {"give_mm_per_n": whole - bar_mm_per_n, "u_give_mm_per_n": u, "dof_give": dof}
    figures = {"residual_sd_mm": evidence.fit.residual_sd, "bar_mm_per_n": bar_mm_per_n}
    return ProcedureResult("frame", section, figures, budget, _remarks(evidence, half, whole, bar_mm_per_n))


def _refuse(whole: float, bar: float, readings: CalibrationReadings) -> None:
    """Refuse a compliance that no rigid bar shows."""
    if whole <= 0:
        raise ReadingsError(
            f"{readings.source}: travel falls as force grows; exchange the columns, or correct a sign",
            code="reversed",
        )
    if whole > MOST_GIVE:
        raise ReadingsError(
            f"{readings.source}: the head travels {whole:.3f} mm per newton, as on a shaft of spine "
            f"{whole * STANDARD.load_n / 0.0254:.0f}; this bar bends: use a rigid bar (25 mm of steel)",
            code="bar_bends",
        )
    if bar > MOST_SHARE_OF_BAR * whole:
        raise ReadingsError(
            f"{readings.source}: the bar alone bends {bar:.4f} mm/N, {bar / whole:.0%} of the measured value; use a "
            "thicker bar",
            code="bar_too_thin",
        )


def _nonlinear(evidence: Evidence, low: float, high: float) -> float:
    """Return half the change of the compliance between light and full load, mm/N; 0 for a straight line."""
    if evidence.order == 1:
        return 0.0
    return abs(float(evidence.fit.coefficients[2])) * (high - low)


def _remarks(evidence: Evidence, half: float, whole: float, bar: float) -> tuple[Remark, ...]:
    """Return the remarks on a frame calibration."""
    return chosen(
        (
            evidence.order == 2,
            "curved",
            f"the give is not the same at all loads ({evidence.sentence()}; it changes by {2 * half / whole:.0%} "
            "from light to full load): look for a loose joint or a bar that rocks; the change is in its uncertainty",
        ),
        (bar == 0, "no_bar_bend", "the bar's own bend was not given and counts as none: give its --bar-diameter"),
        (
            whole > 0.05,
            "soft_frame",
            f"the frame gives {whole:.3f} mm/N, several times what a stiff one does: stiffen it",
        ),
    )
