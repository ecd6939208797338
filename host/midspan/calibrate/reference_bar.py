"""Check the whole gauge with a reference bar: a round bar of known size and modulus, or a bar of assigned spine.

The spine of a round bar follows from E pi (D^4 - d^4) / 64 and the elastica; its uncertainty from those of the
diameter (four times, relative) and the modulus. The gauge is compared with the bar as laboratories are compared (E_n
of ISO/IEC 17043, from memory): |E_n| above 1 is a bias that the uncertainties do not cover. The bias is reported and
never put into a calibration.

>>> bar = RoundBar("steel 6 mm", 6.0, 0.003, 205.0, 1.0)
>>> round(bar.expected().spine_thou, 1), round(bar.expected().u_spine_thou, 1)
(195.3, 1.0)
>>> check_bar(bar.expected(), [195.9, 196.1], [0.3, 0.3]).figures["en_ratio"] < 1
True
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import Field

from midspan.base.config import Section, read_toml, validated
from midspan.base.errors import ReadingsError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.calibrate.outcome import ProcedureResult, Remark
from midspan.measurement.definition import OLDER_DEFINITION, Definition, assigned_under_reference
from midspan.measurement.elastica import ratio_and_slope

K = 2.0  # coverage factor of both expanded uncertainties in E_n, for 95 %
NOT_THIS_BAR = 0.2  # relative; a larger difference means another bar or another unit


@dataclass(frozen=True)
class Expected:
    """Spine that a bar should show under 880 g on 28 in.

    Parameters
    ----------
    name : str
        Name of the bar.
    spine_thou : float
        Spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    source : str
        Where the value comes from.
    """

    name: str
    spine_thou: float
    u_spine_thou: float
    source: str


@dataclass(frozen=True)
class RoundBar:
    """Round bar or tube.

    Parameters
    ----------
    name : str
        Name of the bar.
    diameter_mm : float
        Outer diameter, mm.
    u_diameter_mm : float
        Its standard uncertainty, mm.
    modulus_gpa : float
        Young's modulus, GPa.
    u_modulus_gpa : float
        Its standard uncertainty, GPa.
    inner_mm : float
        Inner diameter, mm; 0 for a solid bar.
    u_inner_mm : float
        Its standard uncertainty, mm.
    """

    name: str
    diameter_mm: float
    u_diameter_mm: float
    modulus_gpa: float
    u_modulus_gpa: float
    inner_mm: float = 0.0
    u_inner_mm: float = 0.0

    @property
    def stiffness_n_mm2(self) -> float:
        """Bending stiffness EI, N mm^2.

        Raises
        ------
        ReadingsError
            The bore is as wide as the bar.

        References
        ----------
        Roark's Formulas for Stress and Strain, 7th ed., table A.1.
        """
        if not 0 <= self.inner_mm < self.diameter_mm:
            raise ReadingsError(
                f"bar {self.name}: inner diameter {self.inner_mm:g} mm is not below the outer diameter "
                f"{self.diameter_mm:g} mm; correct them"
            )
        return self.modulus_gpa * 1e3 * math.pi * (self.diameter_mm**4 - self.inner_mm**4) / 64

    def expected(self) -> Expected:
        """Return the spine of the bar under the reference condition, with its uncertainty.

        Returns
        -------
        Expected
            Spine and standard uncertainty, thou.

        Raises
        ------
        ReadingsError
            The bore is as wide as the bar.

        Examples
        --------
        >>> round(RoundBar("steel 6 mm", 6.0, 0.003, 205.0, 1.0).expected().spine_thou, 1)
        195.3
        """
        group = STANDARD.load_n * STANDARD.span_mm**2 / self.stiffness_n_mm2
        ratio, slope = (float(value) for value in ratio_and_slope(np.array(group)))
        fourth = self.diameter_mm**4 - self.inner_mm**4
        u_stiffness = math.hypot(
            self.u_modulus_gpa / self.modulus_gpa,
            4 * self.diameter_mm**3 * self.u_diameter_mm / fourth,
            4 * self.inner_mm**3 * self.u_inner_mm / fourth,
        )
        thou = STANDARD.span_mm / MM_PER_THOU
        return Expected(self.name, thou * ratio, thou * slope * group * u_stiffness, "from its section and modulus")


def assigned(name: str, spine_thou: float, u_spine_thou: float, source: str) -> Expected:
    """Return a bar whose spine was assigned, for instance on a hand bench.

    Parameters
    ----------
    name : str
        Name of the bar.
    spine_thou : float
        Assigned spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    source : str
        Where the value comes from.

    Returns
    -------
    Expected
        The bar.

    Raises
    ------
    ReadingsError
        Spine or uncertainty is not above zero.

    Examples
    --------
    >>> assigned("bar 3", 502.1, 0.2, "hand bench, spring").spine_thou
    502.1
    """
    if not (math.isfinite(spine_thou) and spine_thou > 0 and u_spine_thou > 0):
        raise ReadingsError(f"bar {name}: give a spine above zero and its standard uncertainty")
    return Expected(name, spine_thou, u_spine_thou, source)


class BarEntry(Section):
    """Table [bar] of a file written by `midspan hand assign`.

    Parameters
    ----------
    id : str
        Name of the bar.
    spine_thou : float
        Assigned spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    dof : float
        Degrees of freedom of the uncertainty.
    assigned : date | None
        Day of the assignment.
    source : str
        Where the value comes from.
    definition : str
        Reference condition of the spine; files of older versions do not state theirs.
    """

    id: Annotated[str, Field(min_length=1, max_length=64)]
    spine_thou: Annotated[float, Field(gt=1, lt=10_000)]
    u_spine_thou: Annotated[float, Field(gt=0, lt=100)]
    dof: Annotated[float, Field(ge=1)] = math.inf
    assigned: date | None = None
    source: str = ""
    definition: Definition = OLDER_DEFINITION


class BarFile(Section):
    """File of an assigned bar.

    Parameters
    ----------
    bar : BarEntry
        Its only table.
    """

    bar: BarEntry


def load_bar(path: Path) -> Expected:
    """Return a bar of assigned spine from its file, under the reference condition of this version.

    Parameters
    ----------
    path : Path
        File in TOML.

    Returns
    -------
    Expected
        The bar.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or a value is missing or wrong.
    """
    bar = validated(BarFile, read_toml(path), path).bar
    spine, u_spine = assigned_under_reference(bar.spine_thou, bar.u_spine_thou, bar.definition)
    return assigned(bar.id, spine, u_spine, bar.source)


def check_bar(expected: Expected, spine_thou: Sequence[float], u_spine_thou: Sequence[float]) -> ProcedureResult:
    """Return the bias of the gauge on a bar, with its uncertainty and E_n.

    Parameters
    ----------
    expected : Expected
        Spine that the bar should show.
    spine_thou : Sequence[float]
        Measured spines, thou.
    u_spine_thou : Sequence[float]
        Their standard uncertainties, thou.

    Returns
    -------
    ProcedureResult
        Figures and a verdict; its section is empty.

    Raises
    ------
    ReadingsError
        An uncertainty is negative, or the spine is so far off that it must be another bar (code "another_bar").

    References
    ----------
    ISO/IEC 17043, E_n ratio, from memory.
    """
    if min(u_spine_thou) < 0:
        raise ReadingsError(f"bar {expected.name}: u_spine_thou {min(u_spine_thou):g} is negative; correct it")
    mean = float(np.mean(spine_thou))
    off = mean / expected.spine_thou - 1
    if abs(off) > NOT_THIS_BAR:
        raise ReadingsError(
            f"bar {expected.name}: measured {mean:.1f} thou, expected {expected.spine_thou:.1f}; check that it is this "
            "bar, with its diameter in mm and its modulus in GPa",
            code="another_bar",
        )
    scatter = float(np.std(spine_thou, ddof=1)) / math.sqrt(len(spine_thou)) if len(spine_thou) > 1 else 0.0
    # All repeats share the gauge's calibration, so its uncertainty does not shrink with their number.
    u_gauge = max(u_spine_thou)
    u_bias = math.hypot(scatter, u_gauge, expected.u_spine_thou)
    bias = mean - expected.spine_thou
    ratio = bias / (K * u_bias)
    figures = {
        "expected_thou": expected.spine_thou,
        "measured_thou": mean,
        "bias_thou": bias,
        "u_bias_thou": u_bias,
        "en_ratio": ratio,
    }
    budget = {
        "readings_thou": (scatter, max(1.0, len(spine_thou) - 1.0)),
        "gauge_thou": (u_gauge, math.inf),
        "bar_thou": (expected.u_spine_thou, math.inf),
    }
    return ProcedureResult("bar", {}, figures, budget, (_verdict(bias, u_bias, ratio, expected),))


def _verdict(bias: float, u_bias: float, ratio: float, expected: Expected) -> Remark:
    """Return the remark that says if gauge and bar agree."""
    found = f"bias {bias:+.2f} thou, allowed {K * u_bias:.2f} thou (E_n = {ratio:+.2f})"
    if abs(ratio) <= 1:
        weak = expected.u_spine_thou > 0.005 * expected.spine_thou
        note = "; the bar itself is known too poorly to say more" if weak else ""
        return Remark("agrees", f"{found}: gauge and bar agree{note}")
    return Remark(
        "disagrees",
        f"{found}: gauge and bar disagree. Look for the cause (span, masses, frame, the bar itself); nothing was "
        "corrected",
    )
