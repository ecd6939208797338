"""Quantities of a result from the fits: one column of numbers for each quantity, for many shafts at once."""

import numpy as np

from midspan.base.units import OLDER, pounds_from_thou
from midspan.measurement import curve
from midspan.measurement.calibrated_columns import FULL, CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.conversion import Around, Point, standard_thou
from midspan.measurement.depth_consistency import u_visits_n
from midspan.measurement.harmonics import Array, HarmonicFit
from midspan.measurement.spine_budget import (
    MeanForces,
    Shares,
    scatter_dof,
    screw_factor,
    u_height_relative,
    u_older_thou,
)
from midspan.measurement.turning import TurnedShafts
from midspan.uncertainty.budget import effective_dof

LARGE_SCATTER = 4.0  # times that at rest; below it is no reason for a doubt
ROLLER_TURNS: Array = np.linspace(1.2, 8.0, 120)  # turns of the shaft in a turn of a roller, from thick ones to thin
MOST_OF_SCATTER = 0.4
FRICTION_SIGMAS = 3.0
Found = dict[str, Array]


def evenness(turn: Around, spine: Shares, fit: HarmonicFit, forces: CalibratedReadings) -> Found:
    """Return spread, four-reading variation and stiff side; scale errors of the spine scale the spread as well.

    The converter's delay and the position of angle 0 turn the side and the four readings; its width changes the spread.

    Parameters
    ----------
    turn : Around
        Harmonics of the deflection.
    spine : Shares
        Budgets of the spines.
    fit : HarmonicFit
        Period and numbers of readings.
    forces : CalibratedReadings
        Rotate steps of the readings.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`; `angle_u_deg` is the standard uncertainty of the last angle.
    """
    swing = curve.swing(turn.deflection_thou, turn.u_deflection, order=2)
    kept = curve.retained(turn.deflection_thou, turn.u_deflection, always=2)
    four, u_four = curve.four_readings(kept, turn.u_deflection)
    u_relative = spine.u / turn.deflection_thou[:, 0]
    scale = u_relative * swing.value
    value, lowest, of_four = (
        curve.shares_of(turn.deflection_changes, by)
        for by in (swing.by_value, swing.by_lowest, curve.by_four_readings(kept))
    )
    sampled = np.abs(forces.turns.steps).max(axis=(1, 2)) / fit.steps_per_turn * 360
    of_spread = (swing.u, scatter_dof(fit)), (scale, spine.dof), *zip(value.T, turn.dof_changes.T, strict=True)
    return {
        "spread_thou": swing.value,
        "u_spread_thou": _with_shares(np.hypot(swing.u, scale), value),
        "dof_spread": _dof(*of_spread),
        "spread_floor_thou": swing.floor,
        "four_reading_thou": four,
        "u_four_reading_thou": _with_shares(np.hypot(u_four, u_relative * four), of_four),
        "stiff_side_deg": np.degrees(swing.lowest_rad),
        "u_stiff_side_deg": np.degrees(_with_shares(swing.u_lowest_rad, lowest)),
        "angle_u_deg": sampled * fit.u_relative_period,
        "once_per_turn_thou": 2 * curve.amplitude(kept, 1),
    }


def runout(turn: Around, spine: Shares, fit: HarmonicFit, mean: MeanForces, point: Point, cal: Calibration) -> Found:
    """Return the runout; force scale and frame compliance cancel in it, the travel between the depths does not.

    Parameters
    ----------
    turn : Around
        Harmonics of the surface.
    spine : Shares
        Budgets of the spines.
    fit : HarmonicFit
        Numbers of readings.
    mean : MeanForces
        Travel between the depths.
    point : Point
        Temperatures.
    cal : Calibration
        Uncertainty of the travel.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`.
    """
    swing = curve.swing(turn.surface_mm, turn.u_surface, order=1)
    u_scale = cal.travel.u_scale * swing.value
    u_screw = screw_factor(mean, cal) * cal.travel.u_screw_mm / mean.travel_mm * swing.value
    u_height = u_height_relative(spine, point, cal) * swing.value
    value = curve.shares_of(turn.surface_changes, swing.by_value)
    # A wave adds to highest and to lowest point what its phases there make of it.
    u_waves = np.sqrt(2) * fit.higher_n * np.abs(mean.travel_mm / (mean.high_n - mean.low_n))
    shares = (
        (swing.u, scatter_dof(fit)),
        (u_waves, np.inf),
        (u_scale, cal.travel.dof_scale),
        (u_screw, cal.travel.dof_screw),
        (u_height, np.inf),
        *zip(value.T, turn.dof_changes.T, strict=True),
    )
    return {
        "runout_mm": swing.value,
        "u_runout_mm": _with_shares(np.sqrt(swing.u**2 + u_waves**2 + u_scale**2 + u_screw**2 + u_height**2), value),
        "dof_runout": _dof(*shares),
        "runout_floor_mm": swing.floor,
    }


def _with_shares(u: Array, shares: Array) -> Array:
    """Return a standard uncertainty (S,) with the shares of further causes (S, causes); the same bits without any."""
    result: Array = np.hypot(u, np.sqrt((shares**2).sum(axis=1)))
    return result


def _dof(*shares: tuple[Array, Array | float]) -> Array:
    """Return the effective degrees of freedom of shares, each given as its u and its degrees of freedom."""
    u, dof = zip(*shares, strict=True)
    return effective_dof(np.stack(u, axis=-1), np.stack(np.broadcast_arrays(*dof), axis=-1))


def older_pounds(point: Point, turn: Around, u_spine: Array, cal: Calibration) -> Found:
    """Return the spine in pounds of the older convention: 26 over the deflection in inches at 26 in and 2 lb.

    Parameters
    ----------
    point : Point
        Flexibilities.
    turn : Around
        Flexibilities at both ends of the supports' range.
    u_spine : ndarray
        Standard uncertainty of the spines, thou, shape (S,).
    cal : Calibration
        Span and supports of the gauge.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`.
    """
    thou, _ = standard_thou(point.flexibility, point.span_mm, OLDER)
    u_thou = u_older_thou(turn, point, thou, u_spine / point.deflection_thou, cal)
    pounds = pounds_from_thou(thou)
    return {"older_lb": pounds, "u_older_lb": pounds * u_thou / thou}


def hysteresis(fit: HarmonicFit, forces: CalibratedReadings) -> Found:
    """Return the drop of the force at the light depth from the way in to the way back, in % of the way in.

    The creep of the cell is included.

    Parameters
    ----------
    fit : HarmonicFit
        Mean forces at the light depth.
    forces : CalibratedReadings
        Zeros of the same shafts.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`.
    """
    low, again = fit.coefficients_n[:, 0, 0], fit.coefficients_n[:, 2, 0]
    return {"hysteresis_pct": 100 * (low - again) / low, "u_hysteresis_pct": 100 * u_visits_n(fit, forces) / low}


def turning(part: TurnedShafts) -> Found:
    """Return what the readings show of rollers, slip between the depths, skids and drift.

    Parameters
    ----------
    part : TurnedShafts
        Fits of S shafts.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`; `roller_mm` is empty if the rollers were not looked for, and
        `scatter_turns` and `axial_friction` are NaN where there is none.
    """
    shared = part.shared
    skid = np.hypot(shared.skid_rad.max(axis=1), part.apart_rad)
    return {
        "slip_between_pct": 100 * shared.slip,
        "u_slip_between_pct": 100 * shared.u_slip,
        "skid_deg": np.degrees(skid),
        "roller_mm": np.zeros(0) if shared.rollers_mm is None else np.hypot(*shared.rollers_mm.T),
        "turn_drift_n": shared.drift_n[:, 0],
        "axial_friction": np.where(
            np.abs(shared.friction) > FRICTION_SIGMAS * shared.u_friction, shared.friction, np.nan
        ),
        "expected_scatter_n": part.expected_scatter_n,
        "scatter_turns": _scatter_turns(part),
    }


def _scatter_turns(part: TurnedShafts) -> Array:
    """Return the turns after which most of a large scatter at the full depth repeats, NaN where it does not (S,)."""
    result = np.full(len(part.rows), np.nan)
    for i in np.flatnonzero(part.fit.scatter_n[:, FULL] > LARGE_SCATTER * part.forces.rest_scatter_n).tolist():
        off, angle = part.residual.off_n[i, FULL], part.residual.angle[i, FULL]
        number = max(int(np.count_nonzero(off)), 1)
        power = np.abs(np.exp(1j * np.outer(1 / ROLLER_TURNS, angle)) @ off) ** 2 * 2 / number
        if power.max() > MOST_OF_SCATTER * (off @ off):
            result[i] = ROLLER_TURNS[power.argmax()]
    return result


def quality(fit: HarmonicFit, forces: CalibratedReadings) -> Found:
    """Return slip, zero drift and scatter of the gauge, and the numbers of readings used and left out.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of the shafts.
    forces : CalibratedReadings
        Their calibrated readings.

    Returns
    -------
    dict
        Arrays of shape (S,) by field of `ShaftResult`; `settled` is True where the fit converged.
    """
    slip = fit.steps_per_turn / forces.nominal_steps - 1
    return {
        "slip_pct": 100 * slip,
        "u_slip_pct": 100 * fit.u_relative_period,
        "zero_drift_n": forces.zero_drift_n,
        "rest_scatter_n": forces.rest_scatter_n,
        "turn_scatter_n": np.sqrt((fit.scatter_n**2).mean(axis=1)),
        "left_out": fit.left_out.sum(axis=1),
        "readings": fit.used.sum(axis=1),
        "settled": fit.converged,
    }
