"""The quantities of a result from the fits, a column of numbers for each, for many shafts at once."""

import numpy as np

from midspan import curve
from midspan.calibration import Calibration
from midspan.coherence import u_visits_n
from midspan.conversion import Around, Point
from midspan.elastica import deflection_ratio
from midspan.gather import Forces
from midspan.harmonics import Array, HarmonicFit
from midspan.spine_budget import MeanForces, u_converted_thou
from midspan.units import MM_PER_THOU, OLDER

Found = dict[str, Array]


def evenness(turn: Around, u_spine: Array, fit: HarmonicFit, forces: Forces) -> Found:
    """Spread, four-reading variation and stiff side; scale errors of the spine scale the spread as well."""
    swing = curve.swing(turn.deflection_thou, turn.u_deflection, order=2)
    kept = curve.retained(turn.deflection_thou, turn.u_deflection, always=2)
    four, u_four = curve.four_readings(kept, turn.u_deflection)
    u_scale = u_spine / turn.deflection_thou[:, 0]
    sampled = np.abs(forces.turns.steps).max(axis=(1, 2)) / fit.steps_per_turn * 360
    return {
        "spread_thou": swing.value,
        "u_spread_thou": np.hypot(swing.u, u_scale * swing.value),
        "spread_floor_thou": swing.floor,
        "four_reading_thou": four,
        "u_four_reading_thou": np.hypot(u_four, u_scale * four),
        "stiff_side_deg": np.degrees(swing.lowest_rad),
        "u_stiff_side_deg": np.degrees(swing.u_lowest_rad),
        "angle_u_deg": sampled * fit.u_relative_period,
        "once_per_turn_thou": 2 * curve.amplitude(kept, 1),
    }


def runout(turn: Around, mean: MeanForces, cal: Calibration) -> Found:
    """Runout; the force scale and the frame's give cancel in it, the travel between the depths does not."""
    swing = curve.swing(turn.surface_mm, turn.u_surface, order=1)
    u_travel = np.hypot(cal.travel.u_scale, np.sqrt(2) * cal.travel.u_screw_mm / mean.travel_mm)
    u_runout = np.hypot(swing.u, u_travel * swing.value)
    return {"runout_mm": swing.value, "u_runout_mm": u_runout, "runout_floor_mm": swing.floor}


def older_pounds(point: Point, u_spine: Array, mean: MeanForces, cal: Calibration) -> Found:
    """Spine in pounds of the older convention: 26 over the deflection in inches at 26 in and 2 lb."""
    group = OLDER.load_n * (OLDER.span_mm / cal.span.span_mm) ** 2 * point.flexibility
    thou = OLDER.span_mm / MM_PER_THOU * deflection_ratio(group)
    u_thou = u_converted_thou(thou, u_spine / point.deflection_thou, mean, cal, OLDER)
    pounds = 26_000 / thou
    return {"older_lb": pounds, "u_older_lb": pounds * u_thou / thou}


def hysteresis(fit: HarmonicFit, forces: Forces) -> Found:
    """Force missing at the light depth on the way back, creep included, in percent of the force on the way in."""
    low, again = fit.coefficients_n[:, 0, 0], fit.coefficients_n[:, 2, 0]
    return {"hysteresis_pct": 100 * (low - again) / low, "u_hysteresis_pct": 100 * u_visits_n(fit, forces) / low}


def quality(fit: HarmonicFit, forces: Forces) -> Found:
    """How the gauge did: slip, drift, scatter, readings used and left out."""
    slip = fit.steps_per_turn / forces.nominal_steps - 1
    return {
        "slip_pct": 100 * slip,
        "u_slip_pct": 100 * fit.u_relative_period,
        "zero_drift_n": forces.zero_drift_n,
        "rest_scatter_n": forces.rest_scatter_n,
        "turn_scatter_n": np.sqrt((fit.scatter_n**2).mean(axis=1)),
        "left_out": fit.left_out.sum(axis=1),
        "readings": fit.used.sum(axis=1),
    }
