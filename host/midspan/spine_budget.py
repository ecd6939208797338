"""Every named cause of uncertainty of the mean spine, with its sensitivity, for S shafts at once.

Sensitivities are the exact derivatives of the conversion at the mean forces (JCGM 100:2008, 5.1.3). Causes of
type B that are known only by their bounds count as rectangular (4.3.7): half width over the root of three.
"""

from dataclasses import dataclass

import numpy as np

from midspan.calibration import Calibration
from midspan.conversion import Point, support_difference_thou
from midspan.gather import Forces
from midspan.harmonics import Array
from midspan.units import STANDARD, Convention

# Thin composite and metal tubes shear by up to 0.1 % of their bending on the standard span (coefficient after
# G. R. Cowper, J. Appl. Mech. 33 (1966) 335-340); on another span the share goes as 1 / L^2.
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
)


@dataclass(frozen=True)
class MeanForces:
    """Mean forces at the light and the full depth and the travel between them, each [S]."""

    low_n: Array
    high_n: Array
    travel_mm: Array

    def bend_mm(self, cal: Calibration) -> Array:
        """Travel that bent the shaft, without what the frame gave."""
        return self.travel_mm - cal.frame.give_mm_per_n * (self.high_n - self.low_n)


def spine_shares(
    mean: MeanForces, point: Point, u_fit_thou: Array, forces: Forces, cal: Calibration
) -> tuple[Array, Array]:
    """Standard uncertainty [S, causes] in each cause's own unit, and sensitivity [S, causes] in thou per unit."""
    before, after = _zero_sensitivities(point, forces)
    scale = point.by_low * mean.low_n + point.by_high * mean.high_n
    supports = np.abs(support_difference_thou(mean.low_n, mean.high_n, mean.bend_mm(cal), cal.span.span_mm, STANDARD))
    one = np.ones_like(scale)
    rows = (
        (u_fit_thou, one),
        (forces.u_zero_n[:, 0], before),
        (forces.u_zero_n[:, 1], after),
        # How the zero went between its two readings is unknown: anywhere between them, at either depth.
        (np.abs(forces.zero_drift_n) / np.sqrt(12), np.hypot(point.by_low, point.by_high)),
        (cal.force.u_scale * one, scale),
        (cal.force.u_linearity_n * one, point.by_high),
        (cal.travel.u_scale * one, point.by_travel * mean.travel_mm),
        (cal.travel.u_screw_mm * one, np.sqrt(2) * point.by_travel),
        (cal.frame.u_give_mm_per_n * one, point.by_give),
        (cal.span.u_span_mm * one, point.by_span),
        (supports / np.sqrt(3), one),
        (_shear_share(cal, STANDARD) * point.deflection_thou, one),
    )
    return np.stack([row[0] for row in rows], axis=1), np.stack([row[1] for row in rows], axis=1)


def _zero_sensitivities(point: Point, forces: Forces) -> tuple[Array, Array]:
    """Thou per N of the zero before and after: a zero that both depths shared would all but cancel."""
    low, high = forces.zero_share[:, 0], forces.zero_share[:, 1]
    return point.by_low * (1 - low) + point.by_high * (1 - high), point.by_low * low + point.by_high * high


def _shear_share(cal: Calibration, to: Convention) -> float:
    """Relative standard uncertainty from a shear that the bending formula does not know."""
    ratio = (STANDARD.span_mm / cal.span.span_mm) ** 2 - (STANDARD.span_mm / to.span_mm) ** 2
    return float(LARGEST_SHEAR_SHARE / 2 * abs(ratio) / np.sqrt(3))


def u_converted_thou(
    deflection_thou: Array, u_relative: Array, mean: MeanForces, cal: Calibration, to: Convention
) -> Array:
    """Standard uncertainty of a deflection under another convention: the spine's own, supports and shear added."""
    supports = support_difference_thou(mean.low_n, mean.high_n, mean.bend_mm(cal), cal.span.span_mm, to)
    shear = _shear_share(cal, to) * deflection_thou
    result: Array = np.sqrt((u_relative * deflection_thou) ** 2 + supports**2 / 3 + shear**2)
    return result
