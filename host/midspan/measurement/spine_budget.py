"""Every named cause of uncertainty of the mean spine, with its sensitivity, for S shafts at once.

Sensitivities are the exact derivatives of the conversion at the mean forces (JCGM 100:2008, 5.1.3). Causes of type B
that are known only by their bounds are rectangular (4.3.7): half width over the square root of three.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from midspan.base.units import STANDARD, Convention
from midspan.measurement.calibrated_columns import MIDDLE, CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.conversion import Around, Point, support_half_width_thou
from midspan.measurement.harmonics import COLUMNS, Array, HarmonicFit
from midspan.uncertainty.budget import effective_dof

# Largest shear of thin composite and metal tubes as a share of their bending on the standard span (Cowper, 1966).
LARGEST_SHEAR_SHARE = 1e-3
CAUSES = (
    ("scatter of the readings", "thou"),
    ("zero before", "N"),
    ("zero after", "N"),
    ("zero drift", "N"),
    ("force scale", "1"),
    ("force linearity", "N"),
    ("travel scale", "1"),
    ("screw error", "mm"),
    ("frame give", "mm/N"),
    ("span", "mm"),
    ("support reactions", "thou"),
    ("shear", "thou"),
    ("axial friction", "1"),
    ("rim radius", "mm"),
    ("sinking", "mm/N"),
    ("head off midspan", "1"),
    ("press tilt", "1"),
    ("creep", "thou"),
    ("temperature", "K"),
)


@dataclass(frozen=True)
class MeanForces:
    """Mean forces of S shafts at two depths, and the travel between these.

    Parameters
    ----------
    low_n, high_n : ndarray
        Mean force at the light and at the full depth, N, shape (S,).
    travel_mm : ndarray
        Travel of the head between the depths, mm, shape (S,).
    """

    low_n: Array
    high_n: Array
    travel_mm: Array


@dataclass(frozen=True)
class Shares:
    """Budgets of S spines; the columns are those of CAUSES.

    Parameters
    ----------
    u_causes : ndarray
        Standard uncertainty of each cause in its own unit, shape (S, causes).
    sensitivities : ndarray
        Change of the spine per unit of each cause, thou per unit, shape (S, causes).
    dof_causes : ndarray
        Degrees of freedom of each cause, shape (S, causes).
    """

    u_causes: Array
    sensitivities: Array
    dof_causes: Array

    @cached_property
    def u(self) -> Array:
        """Combined standard uncertainty of each spine, thou, shape (S,)."""
        result: Array = np.sqrt(((self.u_causes * self.sensitivities) ** 2).sum(axis=1))
        return result

    @cached_property
    def dof(self) -> Array:
        """Effective degrees of freedom, shape (S,)."""
        return effective_dof(self.u_causes * self.sensitivities, self.dof_causes)


def scatter_dof(fit: HarmonicFit) -> Array:
    """Return the degrees of freedom of the readings' scatter: those of the depth with fewer independent readings.

    Parameters
    ----------
    fit : HarmonicFit
        Numbers of readings.

    Returns
    -------
    ndarray
        Degrees of freedom, shape (S,).
    """
    independent = (fit.used / fit.readings_alike)[:, :2].min(axis=1)
    result: Array = np.maximum(independent - float(COLUMNS), 1.0)
    return result


def spine_shares(
    mean: MeanForces, point: Point, turn: Around, fit: HarmonicFit, forces: CalibratedReadings, cal: Calibration
) -> Shares:
    """Return the budgets of S spines.

    Parameters
    ----------
    mean : MeanForces
        Forces and travel.
    point : Point
        Derivatives of the deflection.
    turn : Around
        Covariance of the mean deflection, and flexibilities at both ends of the supports' range.
    fit : HarmonicFit
        Numbers of readings.
    forces : CalibratedReadings
        Zeros.
    cal : Calibration
        Uncertainties of the gauge.

    Returns
    -------
    Shares
        Budgets with the causes in the order of CAUSES.

    References
    ----------
    JCGM 100:2008, 5.1.3 (sensitivities) and 4.3.7 (rectangular bounds).
    """
    before, after = _zero_sensitivities(point, forces)
    at_either = np.hypot(point.by_low, point.by_high)
    scale = point.by_low * mean.low_n + point.by_high * mean.high_n
    supports = support_half_width_thou(turn, cal, STANDARD)
    rows = (
        (np.sqrt(turn.u_deflection[:, 0, 0]), 1.0, scatter_dof(fit)),
        (forces.u_zero_n[:, 0], before, forces.dof_zero[:, 0]),
        (forces.u_zero_n[:, 1], after, forces.dof_zero[:, 1]),
        # The course of the zero between its two readings is unknown: anywhere between them, at either depth.
        (np.hypot(forces.zero_change_n / np.sqrt(12), _of_middle(point, forces) / at_either), at_either, np.inf),
        (cal.force.u_scale, scale, cal.force.dof_scale),
        (cal.force.u_linearity_n, point.by_high, cal.force.dof_linearity),
        (cal.travel.u_scale, point.by_travel * mean.travel_mm, cal.travel.dof_scale),
        (cal.travel.u_screw_mm, screw_factor(mean, cal) * point.by_travel, cal.travel.dof_screw),
        (cal.frame.u_give_mm_per_n, point.by_give, cal.frame.dof_give),
        (cal.span.u_span_mm, point.by_span, cal.span.dof_span),
        (supports / np.sqrt(3), 1.0, np.inf),
        (shear_share(cal.span.span_mm, STANDARD) * point.deflection_thou, 1.0, np.inf),
        *((0.0, 0.0, np.inf),) * 7,
    )
    u, sensitivity, dof = (
        np.stack([np.broadcast_to(value, scale.shape) for value in column], axis=1)
        for column in zip(*rows, strict=True)
    )
    return Shares(u, sensitivity, dof)


def screw_factor(mean: MeanForces, cal: Calibration) -> Array:
    """Return the error of the travel between the depths per error of the screw.

    The error of the screw repeats every turn. With cosine and sine parts of equal uncertainty it cancels between
    depths whole turns apart, and counts twice between depths half a turn apart: 2 |sin(pi turns)|.

    Parameters
    ----------
    mean : MeanForces
        Travel between the depths.
    cal : Calibration
        Lead of the screw.

    Returns
    -------
    ndarray
        Factor, dimensionless, 0 to 2, shape (S,).
    """
    turns = mean.travel_mm / cal.travel.mm_per_step / cal.travel.steps_per_screw_turn
    result: Array = 2 * np.abs(np.sin(np.pi * turns))
    return result


def _zero_sensitivities(point: Point, forces: CalibratedReadings) -> tuple[Array, Array]:
    """Return thou per N of the zero before and after; an error common to both depths nearly cancels."""
    low, high = forces.zero_share[:, 0], forces.zero_share[:, 1]
    low_before, high_before = before_shares(forces).T
    return point.by_low * low_before + point.by_high * high_before, point.by_low * low + point.by_high * high


def before_shares(forces: CalibratedReadings) -> Array:
    """Return the weight of the zero before in the zero of the light and of the full depth.

    Parameters
    ----------
    forces : CalibratedReadings
        Weights of the other zeros.

    Returns
    -------
    ndarray
        Weights, shape (S, 2).
    """
    shares: Array = 1 - forces.zero_share[:, :2] - forces.middle_share[:, :2]
    return shares


def _of_middle(point: Point, forces: CalibratedReadings) -> Array:
    """Return the share of the zero in the middle in the spine's uncertainty, thou (S,); 0 without it.

    That zero is there for the course of the zero, so it counts with the drift.
    """
    if forces.u_zero_n.shape[1] <= MIDDLE:
        return np.zeros_like(point.by_low)
    low, high = forces.middle_share[:, 0], forces.middle_share[:, 1]
    share: Array = np.abs(point.by_low * low + point.by_high * high) * forces.u_zero_n[:, MIDDLE]
    return share


def shear_share(span_mm: float, to: Convention) -> float:
    """Return the relative standard uncertainty from shear, which the bending formula leaves out.

    Shear adds a share of the bending that goes as 1 / L^2, so it cancels on the same span.

    Parameters
    ----------
    span_mm : float
        Distance between the supports at which the shaft was measured, mm.
    to : Convention
        Convention of the result.

    Returns
    -------
    float
        Relative standard uncertainty of the deflection, dimensionless; 0 if the spans are equal.

    References
    ----------
    G. R. Cowper, The shear coefficient in Timoshenko's beam theory, J. Appl. Mech. 33 (1966) 335-340.

    Examples
    --------
    >>> from midspan.base.units import OLDER
    >>> shear_share(STANDARD.span_mm, STANDARD), round(shear_share(OLDER.span_mm, STANDARD), 7)
    (0.0, 4.61e-05)
    """
    ratio = (STANDARD.span_mm / span_mm) ** 2 - (STANDARD.span_mm / to.span_mm) ** 2
    return float(LARGEST_SHEAR_SHARE / 2 * abs(ratio) / np.sqrt(3))


def u_converted_thou(
    turn: Around, deflection_thou: Array, u_relative: Array, cal: Calibration, to: Convention
) -> Array:
    """Return the standard uncertainty of a deflection under another convention, with supports and shear.

    Parameters
    ----------
    turn : Around
        Flexibilities at both ends of the supports' range.
    deflection_thou : ndarray
        Deflection under the other convention, thou, shape (S,).
    u_relative : ndarray
        Relative standard uncertainty of the spine, shape (S,).
    cal : Calibration
        Span and supports of the gauge.
    to : Convention
        The other convention.

    Returns
    -------
    ndarray
        Standard uncertainty, thou, shape (S,).
    """
    supports = support_half_width_thou(turn, cal, to)
    shear = shear_share(cal.span.span_mm, to) * deflection_thou
    result: Array = np.sqrt((u_relative * deflection_thou) ** 2 + supports**2 / 3 + shear**2)
    return result
