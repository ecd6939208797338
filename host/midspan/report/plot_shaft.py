"""Stiffness of one shaft around its circumference as a picture, with its uncertainty.

On the left is the cross-section: outward is stiffer, the dashed circle is the mean. On the right is the same curve
unrolled, and below it the height of the surface, so that nobody takes a bow for a stiff side. Curves differ by line
style, not by colour.
"""

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.errors import OutputError
from midspan.base.formatting import angle as angle_words
from midspan.base.formatting import printable
from midspan.base.units import MM_PER_THOU
from midspan.hand_bench.result import HandResult
from midspan.measurement.harmonics import Array, basis, curve_at
from midspan.measurement.result import ShaftResult
from midspan.measurement.shown_quantities import (
    across_unit,
    expanded_thou,
    in_across_unit,
    meaning,
    runout_text,
    spine_text,
    spread_text,
)
from midspan.report.picture import FAINT, INK, LIGHT, SHADE, check_ending, paper
from midspan.uncertainty.budget import Coverage

Drawn = ShaftResult | HandResult


def draw_around(result: Drawn, path: Path, k: float | None = None) -> None:
    """Draw a shaft and write the picture to a file.

    Parameters
    ----------
    result : ShaftResult or HandResult
        The result.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    k : float or None
        Coverage factor, None for 95 %.

    Raises
    ------
    OutputError
        Another ending, the file cannot be written, or a number is not finite.
    """
    check_ending(path)
    if not np.isfinite([*result.curve_thou, *result.curve_covariance, *result.surface_mm, result.u_spine_thou]).all():
        words = f"{path}: shaft {result.shaft} has numbers that are not finite; there is nothing to draw"
        raise OutputError(words, code="nothing_to_draw")
    with paper(path, 10.5, 5.2) as figure:
        around(figure, result, k)


def around(figure: Figure, result: Drawn, k: float | None) -> None:
    """Draw cross-section, unrolled curve and surface of a shaft on an empty figure.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    result : ShaftResult or HandResult
        The result.
    k : float or None
        Coverage factor, None for 95 %.
    """
    level_thou = expanded_thou(result, k) or 0.0
    k_spread = Coverage(factor=k).k(result.dof_spread)  # the curve's shape comes from the same readings as the spread
    grid = figure.add_gridspec(2, 2, width_ratios=(1, 1.25), height_ratios=(1.6, 1))
    angle = np.linspace(0, 2 * np.pi, 361)
    deviation, band = _deviation(result, angle, k_spread)
    _section(figure.add_subplot(grid[:, 0], projection="polar"), result, angle, -deviation, band)
    _unrolled(figure.add_subplot(grid[0, 1]), result, angle, deviation, band, in_across_unit(level_thou))
    _surface(figure.add_subplot(grid[1, 1]), result, angle)
    figure.suptitle(_title(result, k), fontsize=11.5)


def _title(result: Drawn, k: float | None) -> str:
    """Return name, spine and spread of the shaft, readings and calibration."""
    name = f"Shaft {result.shaft}" + (f" ({printable(result.label)})" if result.label else "")
    return (
        f"{name}: spine {spine_text(result, k)}, spread around {spread_text(result, k)}; {meaning(k)}\n"
        f"{result.readings} readings, calibration {result.calibration}"
    )


def _deviation(result: Drawn, angle: Array, k: float) -> tuple[Array, Array]:
    """Return deflection minus its mean at each angle and the half width of its band, in the chosen unit."""
    columns = basis(angle)
    columns[0] = 0.0
    covariance = np.array(result.curve_covariance).reshape(len(columns), -1)
    variance = np.einsum("in,ij,jn->n", columns, covariance, columns)
    higher = result.higher_thou if isinstance(result, ShaftResult) else ()
    unit = in_across_unit(1.0)
    return unit * curve_at(angle, (0.0, *result.curve_thou[1:]), higher), unit * k * np.sqrt(variance)


def _section(axes: Any, result: Drawn, angle: Array, outward: Array, band: Array) -> None:
    """Draw the cross-section, deviations enlarged."""
    reach = max(float(np.abs(outward).max() + band.max()), in_across_unit(result.spread_floor_thou)) * 1.25
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    axes.fill_between(angle, outward - band, outward + band, color=SHADE, lw=0)
    axes.plot(angle, np.zeros_like(angle), color=FAINT, ls="--", lw=1)
    axes.plot(angle, outward, color=INK, lw=1.6)
    title = "around the shaft, deviation enlarged: outward is stiffer"
    if result.stiff_side_deg is not None:
        sides = np.radians([result.stiff_side_deg, result.stiff_side_deg + 180])
        axes.plot([sides[0], sides[0]], [-1.6 * reach, 1.12 * reach], color=INK, lw=1, ls=":")
        axes.plot([sides[1], sides[1]], [-1.6 * reach, 1.12 * reach], color=INK, lw=1, ls=":")
        title += f"\ndotted: stiff side {angle_words(result.stiff_side_deg)}°"
    axes.set_ylim(-1.6 * reach, 1.12 * reach)
    axes.set_yticks([0], ["mean"], fontsize=8, color=FAINT)
    axes.set_rlabel_position((result.stiff_side_deg or 0) + 68)
    axes.set_xticks(np.radians(np.arange(0, 360, 45)))
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_title(title, fontsize=10)


def _unrolled(axes: Any, result: Drawn, angle: Array, deviation: Array, band: Array, level: float) -> None:
    """Draw the curve against the angle, with the bands of its level and its shape."""
    degrees = np.degrees(angle)
    mean = in_across_unit(result.spine_thou)
    curve = mean + deviation
    axes.fill_between(degrees, curve - level, curve + level, color=LIGHT, lw=0, label=f"± of its level, {level:.2g}")
    axes.fill_between(degrees, curve - band, curve + band, color=SHADE, lw=0,
                      label=f"± of its shape, {band.max():.1g}")  # fmt: skip
    axes.plot(degrees, curve, color=INK, lw=1.6, label="deflection at this angle")
    axes.axhline(mean, color=FAINT, ls="--", lw=1, label="mean spine")
    quarters = np.arange(0, 360, 90)
    axes.plot(quarters, curve[quarters], "s", mfc="white", mec=INK, ms=5, label="the standard's four readings")
    axes.set_ylabel(f"deflection, {across_unit()} (28 in, 880 g)")
    room = float(np.ptp(curve)) + 2 * level
    axes.set_ylim(curve.min() - level - 0.1 * room, curve.max() + level + 0.6 * room)  # room for the legend
    axes.legend(fontsize=8, ncols=2, frameon=False, loc="upper left")
    _degrees(axes)


def _surface(axes: Any, result: Drawn, angle: Array) -> None:
    """Draw the height of the surface against the angle."""
    higher = result.higher_mm if isinstance(result, ShaftResult) else ()
    height = in_across_unit(1.0) / MM_PER_THOU * curve_at(angle, (0.0, *result.surface_mm[1:]), higher)
    axes.plot(np.degrees(angle), height, color=INK, lw=1.2, ls="-.")
    axes.axhline(0, color=FAINT, lw=0.8, ls="--")
    axes.set_ylabel(f"surface, {across_unit()}")
    runout = "not measured" if result.runout_mm is None else str(runout_text(result))
    axes.set_xlabel(f"angle from the start, degrees          runout at midspan {runout}")
    _degrees(axes)


def _degrees(axes: Any) -> None:
    """Mark every 45 degrees."""
    axes.set_xlim(0, 360)
    axes.set_xticks(np.arange(0, 361, 45))
