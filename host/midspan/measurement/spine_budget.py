"""Every named cause of uncertainty of the mean spine, with its sensitivity, for S shafts at once.

Sensitivities are the exact derivatives of the conversion at the mean forces (JCGM 100:2008, 5.1.3). Causes of type B
that are known only by their bounds are rectangular (4.3.7): half width over the square root of three. An error that
goes with the square of a quantity known only by its bound, as that of a head off midspan, has one sign. It is not
corrected: its root mean square over the bound, the largest error over the square root of five, is its standard
uncertainty.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from midspan.base.units import OLDER, STANDARD, Convention
from midspan.measurement.calibrated_columns import MIDDLE, CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.conversion import LARGEST_SHEAR_SHARE, Around, Point, support_half_width_thou
from midspan.measurement.harmonics import Array, HarmonicFit
from midspan.uncertainty.budget import effective_dof

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
    ("roller runout", "mm"),
)


# Causes that change the slope of the force over the travel. A scale of the force or a give of the frame is not among
# them: it acts on the bow's force as on that slope.
OF_SLOPE = ("force linearity", "axial friction", "rim radius", "creep")
_SLOPE_COLUMNS = [[name for name, _ in CAUSES].index(cause) for cause in OF_SLOPE]


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
    def u_slope(self) -> Array:
        """Standard uncertainty of each spine from what changes the slope of force over travel, thou, shape (S,)."""
        shares = (self.u_causes * self.sensitivities)[:, _SLOPE_COLUMNS]
        result: Array = np.sqrt((shares**2).sum(axis=1))
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
    result: Array = np.maximum(independent - fit.coefficients_n.shape[-1], 1.0)
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
    supports = support_half_width_thou(turn, point, STANDARD)
    u_warmth, by_warmth = _of_warmth(mean, point, cal)
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
        (cal.span.u_axial_friction, point.by_friction, np.inf),
        (cal.span.u_rim_mm, point.by_rim, np.inf),
        (cal.span.u_sink_mm_per_n, point.by_give, np.inf),
        (off_centre_loss(cal) / np.sqrt(5), point.by_travel * point.bend_mm, np.inf),
        (tilt_loss(cal) / np.sqrt(5), point.by_travel * mean.travel_mm, np.inf),
        (_creep_thou(point, fit.coefficients_n[:, 0, 0] - fit.coefficients_n[:, 2, 0]), 1.0, np.inf),
        (u_warmth, by_warmth, np.inf),
        (_roller_height_mm(point, fit), point.by_travel, np.inf),
    )
    columns = np.empty((3, len(scale), len(rows)))
    for i, row in enumerate(rows):
        for part, value in zip(columns, row, strict=True):
            part[:, i] = value
    return Shares(*columns)


def u_since_evaluation_2(mean: MeanForces, fall_n: Array, point: Point, cal: Calibration) -> Array:
    """Return the standard uncertainty from causes that results of evaluation 2 do not count.

    Parameters
    ----------
    mean : MeanForces
        Forces and travel.
    fall_n : ndarray
        Fall of the force at the light depth from the way in to the way back, N, shape (S,).
    point : Point
        Derivatives of the deflection.
    cal : Calibration
        Uncertainties of the gauge.

    Returns
    -------
    ndarray
        Standard uncertainty of the spine, thou, shape (S,).

    References
    ----------
    JCGM 100:2008, 5.1.2.
    """
    u_warmth, by_warmth = _of_warmth(mean, point, cal)
    parts = (
        cal.span.u_axial_friction * point.by_friction,
        cal.span.u_rim_mm * point.by_rim,
        cal.span.u_sink_mm_per_n * point.by_give,
        off_centre_loss(cal) / np.sqrt(5) * point.by_travel * point.bend_mm,
        tilt_loss(cal) / np.sqrt(5) * point.by_travel * mean.travel_mm,
        _creep_thou(point, fall_n),
        u_warmth * by_warmth,
    )
    total: Array = np.sqrt(sum(np.square(part) for part in parts))
    return total


def _roller_height_mm(point: Point, fit: HarmonicFit) -> Array:
    """Return what unround rollers may have left in the travel between the depths, mm (S,); slip and drift add a little.

    The mean over whole turns of a shaft is not that over whole turns of its rollers.
    """
    square = np.zeros_like(point.by_low)
    for causes in (fit.shared, fit.unseen):
        if causes is not None:
            means = causes[:, :, :2, 0]
            square += ((point.by_low[:, None] * means[..., 0] + point.by_high[:, None] * means[..., 1]) ** 2).sum(
                axis=1
            )
    result: Array = np.sqrt(square) / np.abs(point.by_travel)
    return result


def off_centre_loss(cal: Calibration) -> float:
    """Return the largest share of the deflection that is lost because the head does not press at midspan.

    With the head at distances a and b from the supports, the deflection under it is P a^2 b^2 / (3 EI L): for a head
    off midspan by e, a share of 8 (e / L)^2 - 16 (e / L)^4 is missing.

    Parameters
    ----------
    cal : Calibration
        Span, and largest distance of the head from midspan.

    Returns
    -------
    float
        Share of the deflection, dimensionless.

    References
    ----------
    Any handbook of beams on two supports, concentrated load at any point.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> round(500 * off_centre_loss(Calibration.model_validate(EXAMPLE)), 4)  # thou at 500, head 1 mm off
    0.0079
    """
    square = (cal.span.off_centre_mm / cal.span.span_mm) ** 2
    return 8 * square - 16 * square**2


def tilt_loss(cal: Calibration) -> float:
    """Return the largest share of the travel that does not bend the shaft because the press leans: 1 - cos(angle).

    Parameters
    ----------
    cal : Calibration
        Largest angle of the press.

    Returns
    -------
    float
        Share of the travel, dimensionless.

    Examples
    --------
    >>> from midspan.measurement.calibration import EXAMPLE
    >>> round(500 * tilt_loss(Calibration.model_validate(EXAMPLE)), 4)  # thou at 500, press 0.3 degrees off square
    0.0069
    """
    return float(1 - np.cos(np.radians(cal.travel.tilt_deg)))


def _creep_thou(point: Point, fall_n: Array) -> Array:
    """Return the standard uncertainty from what the shaft creeps while it is held, thou (S,).

    The definition names no time, so any moment of the readings at the full depth is as good as another. The force falls
    meanwhile by what the shaft keeps of its bend, and that is missing from the force at the second visit to the light
    depth: creep grows as a small power of time (about 0.2), so of what grew between 1 and 5 s about nine tenths are
    still there 2 s after. The mean of the readings lies in the middle of the fall: rectangular, half the fall either
    way. That errs on the safe side: friction within the shaft and the cell's creep are in the fall too, and what creeps
    turns with the shaft, so that little of it builds up.
    """
    result: Array = np.abs(fall_n * point.by_high) / np.sqrt(12)
    return result


def _of_warmth(mean: MeanForces, point: Point, cal: Calibration) -> tuple[Array, Array]:
    """Return the standard uncertainty of the temperature difference, K, and thou per K, both (S,).

    Known coefficients (span, screw) are corrected for; they count with the uncertainty of the difference. Unknown ones
    (what is left of these, and the cell's scale) count with the difference itself. The difference in doubt stands in
    the first number. The second has the sign of the difference, by which two runs share the error.
    """
    by_span, by_travel = point.by_span * cal.span.span_mm, point.by_travel * mean.travel_mm
    by_force = point.by_low * mean.low_n + point.by_high * mean.high_n
    known = by_span * cal.span.expansion_per_k + by_travel * cal.travel.expansion_per_k
    unknown = np.sqrt(
        (by_span * cal.span.u_expansion_per_k) ** 2
        + (by_travel * cal.travel.u_expansion_per_k) ** 2
        + (by_force * cal.force.u_per_k) ** 2
    )
    warmth = point.warmth
    in_doubt = warmth.in_doubt_k
    per_k = np.hypot(unknown, known * warmth.u_off_k / np.maximum(in_doubt, 1e-9))
    return in_doubt, np.copysign(per_k, warmth.off_k)


def u_height_relative(spine: Shares, point: Point, cal: Calibration) -> Array:
    """Return the relative standard uncertainty of heights of the surface: of the slope, a leaning press, a warm screw.

    A height is a force over the slope of force over travel. What changes that slope alone changes spine and heights in
    proportion.

    Parameters
    ----------
    spine : Shares
        Budgets of the spines.
    point : Point
        Deflections and temperatures.
    cal : Calibration
        Largest angle of the press, and expansion of the screw.

    Returns
    -------
    ndarray
        Relative standard uncertainty, dimensionless, shape (S,).
    """
    warmth, travel = point.warmth, cal.travel
    result: Array = np.sqrt(
        (spine.u_slope / point.deflection_thou) ** 2
        + tilt_loss(cal) ** 2 / 5
        + (travel.u_expansion_per_k * warmth.in_doubt_k) ** 2
        + (travel.expansion_per_k * warmth.u_off_k) ** 2
    )
    return result


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
    """Return the relative standard uncertainty from shear, after the correction by its middle (`shear_factor`).

    Shear adds a share of the bending that goes as 1 / L^2, so it cancels on the same span. On another the share lies
    anywhere between nothing and LARGEST_SHEAR_SHARE, rectangular.

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
    (0.0, 0.0003228)
    """
    ratio = (STANDARD.span_mm / span_mm) ** 2 - (STANDARD.span_mm / to.span_mm) ** 2
    return float(LARGEST_SHEAR_SHARE / 2 * abs(ratio) / np.sqrt(3))


def u_older_thou(turn: Around, point: Point, deflection_thou: Array, u_relative: Array, cal: Calibration) -> Array:
    """Return the standard uncertainty of a deflection under the older convention, with supports and shear.

    Parameters
    ----------
    turn : Around
        Flexibilities at both ends of the supports' range.
    point : Point
        Span at the temperature of the run.
    deflection_thou : ndarray
        Deflection under the older convention, thou, shape (S,).
    u_relative : ndarray
        Relative standard uncertainty of the spine, shape (S,).
    cal : Calibration
        Span and supports of the gauge.

    Returns
    -------
    ndarray
        Standard uncertainty, thou, shape (S,).
    """
    supports = support_half_width_thou(turn, point, OLDER)
    shear = shear_share(cal.span.span_mm, OLDER) * deflection_thou
    result: Array = np.sqrt((u_relative * deflection_thou) ** 2 + supports**2 / 3 + shear**2)
    return result
