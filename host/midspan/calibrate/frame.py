"""Calibrate the frame: pressing on a rigid bar shows the compliance of frame and cell, in mm of travel per newton.

The bend of the bar adds to it and is taken off. It follows from the bar's size, so the size has to be known: a bar of
25 mm of steel bends by 0.65 thou of spine, one of 20 mm by 1.6. A bar that bends like a shaft is refused, and so is a
travel that jumps at some force: there the load turns the nut over.

>>> from midspan.calibrate.readings_table import readings_of
>>> force = [0.5 * i for i in range(1, 20)]
>>> table = readings_of("typed", travel_mm=[8.0 + 0.0137 * f for f in force], force_n=force)
>>> round(calibrate_frame(table, RigidBar(25.0)).section["give_mm_per_n"], 6)
0.011793
"""

from dataclasses import dataclass

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array
from midspan.base.units import STANDARD
from midspan.calibrate.fit_tests import HIGHEST_ORDER, Evidence, FTest, choose_order, combined, f_test
from midspan.calibrate.outcome import DOF_GUESS, ProcedureResult, Remark, chosen
from midspan.calibrate.readings_table import CalibrationReadings

LEAST_N = 0.4  # below this force the contact is still closing
MOST_GIVE = 0.2  # mm/N; the softest usable frame: the stiffest shafts yield only twice as much
MOST_SHARE_OF_BAR = 0.3
FEWEST = 5
FEWEST_TO_SPLIT = 7  # readings that can tell a jump from a curve
WIDEST_JUMP = 4  # readings from before to behind it: some may be taken while the nut is on its way
SUDDEN = 1e-4  # probability of such a jump in a travel that has none
LEAST_JUMP_MM = 0.002  # 0.1 thou of spine at 500


@dataclass(frozen=True)
class RigidBar:
    """Round solid bar on the supports.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    modulus_gpa : float
        Young's modulus, GPa.
    span_mm : float
        Distance between the supports, mm.
    u_diameter_mm : float
        Standard uncertainty of the diameter, mm; a caliper's by default.
    u_modulus_gpa : float
        Standard uncertainty of the modulus, GPa; steels lie within about twice the default.
    u_span_mm : float
        Standard uncertainty of the span, mm.
    """

    diameter_mm: float
    modulus_gpa: float = 205.0
    span_mm: float = STANDARD.span_mm
    u_diameter_mm: float = 0.03
    u_modulus_gpa: float = 5.0
    u_span_mm: float = 1.0

    @property
    def bend_mm_per_n(self) -> float:
        """Bend between the supports for each newton at the middle, mm/N."""
        return bar_bend_mm_per_n(self.diameter_mm, self.modulus_gpa, self.span_mm)

    @property
    def u_bend_mm_per_n(self) -> float:
        """Standard uncertainty of the bend, mm/N; it goes with the span cubed and the diameter to the fourth power."""
        relative = (
            4 * self.u_diameter_mm / self.diameter_mm,
            self.u_modulus_gpa / self.modulus_gpa,
            3 * self.u_span_mm / self.span_mm,
        )
        return self.bend_mm_per_n * float(np.hypot.reduce(relative))


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


def calibrate_frame(readings: CalibrationReadings, bar: RigidBar, u_scales: float = 3e-4) -> ProcedureResult:
    """Return the compliance of frame and cell with its uncertainty.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns travel_mm, force_n.
    bar : RigidBar
        The bar, whose bend is taken off.
    u_scales : float
        Relative standard uncertainty of travel over force.

    Returns
    -------
    ProcedureResult
        Section "frame" of the calibration file, figures and remarks.

    Raises
    ------
    ReadingsError
        The bar bends like a shaft (code "bar_bends") or is too thin ("bar_too_thin"), the readings stop short of the
        working load ("too_few"), travel falls as force grows ("reversed") or jumps at some force ("nut_turns_over").
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
    _refuse(whole, bar.bend_mm_per_n, readings)
    _refuse_a_jump(travel[pressed], force[pressed], readings)
    u_fit = float(np.sqrt(lever @ evidence.fit.covariance @ lever))
    half = _nonlinear(evidence, low, high)
    budget = {
        "readings_mm_per_n": (u_fit, float(evidence.fit.degrees_of_freedom)),
        "scales_mm_per_n": (u_scales * whole, DOF_GUESS),
        "bar_mm_per_n": (bar.u_bend_mm_per_n, DOF_GUESS),
        "curvature_mm_per_n": (half / np.sqrt(3), DOF_GUESS),
    }
    u, dof = combined(*budget.values())
    section = {"give_mm_per_n": whole - bar.bend_mm_per_n, "u_give_mm_per_n": u, "dof_give": dof}
    figures = {"residual_sd_mm": evidence.fit.residual_sd, "bar_mm_per_n": bar.bend_mm_per_n}
    return ProcedureResult("frame", section, figures, budget, _remarks(evidence, half, whole))


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


def _refuse_a_jump(travel: Array, force: Array, readings: CalibrationReadings) -> None:
    """Refuse a travel that jumps at some force, beyond what a smooth curve and its scatter explain.

    A nut that changes flank lets the head stay behind by its play, at a force that hardly grows meanwhile. A step at
    each gap of the readings in turn is added to a parabola; the chance of the best is that of any of them.
    """
    order = np.argsort(travel, kind="stable")
    travel, force = travel[order], force[order]
    tried = [_Jump.between(start, end, travel, force) for start, end in _gaps(len(force))]
    if not tried:
        return
    best = min(tried, key=lambda jump: jump.test.chance)
    if best.height_mm > LEAST_JUMP_MM and best.test.chance * len(tried) < SUDDEN:
        raise ReadingsError(
            f"{readings.source}: between {force[best.start]:.2f} and {force[best.end]:.2f} N the head moves "
            f"{best.height_mm:.3f} mm that neither frame nor bar gives: the load turns the nut over, so every shaft "
            "would read too soft. Look at the counterweight and what rubs",
            code="nut_turns_over",
        )


@dataclass(frozen=True)
class _Jump:
    """Step of the travel between two readings, mm, with the test of its being there."""

    start: int
    end: int
    height_mm: float
    test: FTest

    @classmethod
    def between(cls, start: int, end: int, travel: Array, force: Array) -> "_Jump":
        """Return the step from one reading to another; those between them were taken while the nut was on its way."""
        outside = np.r_[: start + 1, end : len(force)]
        smooth = np.vander(force[outside] / force[-1], HIGHEST_ORDER + 1)
        left, _ = _squares(smooth, travel[outside])
        rest, height = _squares(np.column_stack([smooth, outside >= end]), travel[outside])
        return cls(start, end, height, f_test(left - rest, 1, rest, len(outside) - HIGHEST_ORDER - 2))


def _gaps(number: int) -> list[tuple[int, int]]:
    """Return pairs of readings between which a step may lie: two or more lie on either side, and enough are left."""
    return [
        (start, start + width)
        for width in range(1, WIDEST_JUMP + 1)
        for start in range(1, number - 1 - width)
        if number - width + 1 >= FEWEST_TO_SPLIT
    ]


def _squares(columns: Array, travel: Array) -> tuple[float, float]:
    """Return the sum of squares that a least-squares fit leaves, and its last coefficient, mm."""
    found = np.linalg.lstsq(columns, travel - travel.mean(), rcond=None)[0]
    return float(((travel - travel.mean() - columns @ found) ** 2).sum()), float(found[-1])


def _nonlinear(evidence: Evidence, low: float, high: float) -> float:
    """Return half the change of the compliance between light and full load, mm/N; 0 for a straight line."""
    if evidence.order == 1:
        return 0.0
    return abs(float(evidence.fit.coefficients[2])) * (high - low)


def _remarks(evidence: Evidence, half: float, whole: float) -> tuple[Remark, ...]:
    """Return the remarks on a frame calibration."""
    return chosen(
        (
            evidence.order == 2,
            "curved",
            f"the give is not the same at all loads ({evidence.sentence()}; it changes by {2 * half / whole:.0%} "
            "from light to full load): look for a nut that the load turns over, a loose joint or a bar that rocks; the "
            "change is in its uncertainty",
        ),
        (
            whole > 0.05,
            "soft_frame",
            f"the frame gives {whole:.3f} mm/N, several times what a stiff one does: stiffen it",
        ),
    )
