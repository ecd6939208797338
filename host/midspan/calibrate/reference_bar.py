"""Reference bars: a round bar of known size and modulus, or of assigned spine, as a check of the whole chain.

The bar's spine follows from E pi (D^4 - d^4) / 64 and the elastica; u from those of diameter (four times, relative)
and modulus. What the gauge finds is compared with it as laboratories are compared (E_n of ISO/IEC 17043, from
memory): |E_n| above 1 is a bias that the uncertainties do not cover. It is reported, and never put into a
calibration.

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
from midspan.calibrate.outcome import ProcedureResult
from midspan.measurement.elastica import deflection_ratio, ratio_and_slope

K = 2.0  # both expanded uncertainties of E_n cover 95 %
NOT_THIS_BAR = 0.2  # relative; further off it is another bar, or another unit


@dataclass(frozen=True)
class Expected:
    """What a bar should show, in thou under 880 g on 28 in, and why."""

    name: str
    spine_thou: float
    u_spine_thou: float
    source: str


@dataclass(frozen=True)
class RoundBar:
    """A round bar or tube: outer diameter in mm, modulus in GPa, standard uncertainties, inner diameter."""

    name: str
    diameter_mm: float
    u_diameter_mm: float
    modulus_gpa: float
    u_modulus_gpa: float
    inner_mm: float = 0.0
    u_inner_mm: float = 0.0

    @property
    def stiffness_n_mm2(self) -> float:
        """Bending stiffness EI (Roark's Formulas for Stress and Strain, 7th ed., table A.1).

        Raises ReadingsError for a bore as wide as the bar.
        """
        if not 0 <= self.inner_mm < self.diameter_mm:
            raise ReadingsError(f"bar {self.name}: inner diameter {self.inner_mm:g} mm is not below the outer one")
        return self.modulus_gpa * 1e3 * math.pi * (self.diameter_mm**4 - self.inner_mm**4) / 64

    def expected(self) -> Expected:
        """Its spine with uncertainty; how supports push is unknown from frictionless to vertical (JCGM 100, 4.3.7)."""
        group = STANDARD.load_n * STANDARD.span_mm**2 / self.stiffness_n_mm2
        ratio, slope = (float(value) for value in ratio_and_slope(np.array(group), "between"))
        ends = float(deflection_ratio(group, "normal") - deflection_ratio(group, "vertical"))
        fourth = self.diameter_mm**4 - self.inner_mm**4
        u_stiffness = math.hypot(
            self.u_modulus_gpa / self.modulus_gpa,
            4 * self.diameter_mm**3 * self.u_diameter_mm / fourth,
            4 * self.inner_mm**3 * self.u_inner_mm / fourth,
        )
        thou = STANDARD.span_mm / MM_PER_THOU
        u = math.hypot(slope * group * u_stiffness, ends / 2 / math.sqrt(3))
        return Expected(self.name, thou * ratio, thou * u, "from its section and modulus")


def assigned(name: str, spine_thou: float, u_spine_thou: float, source: str) -> Expected:
    """A bar whose spine was assigned, on a hand bench for instance.

    Raises ReadingsError when spine or uncertainty is none.

    >>> assigned("bar 3", 502.1, 0.2, "hand bench, spring").spine_thou
    502.1
    """
    if not (math.isfinite(spine_thou) and spine_thou > 0 and u_spine_thou > 0):
        raise ReadingsError(f"bar {name}: give a spine above zero and its standard uncertainty")
    return Expected(name, spine_thou, u_spine_thou, source)


class BarEntry(Section):
    """The [bar] of a file that `midspan hand assign` writes."""

    id: Annotated[str, Field(min_length=1, max_length=64)]
    spine_thou: Annotated[float, Field(gt=1, lt=10_000)]
    u_spine_thou: Annotated[float, Field(gt=0, lt=100)]
    dof: Annotated[float, Field(ge=1)] = math.inf
    assigned: date | None = None
    source: str = ""


class BarFile(Section):
    """A whole file of an assigned bar."""

    bar: BarEntry


def load_bar(path: Path) -> Expected:
    """A bar whose value was assigned, from its file; ConfigurationError names what is wrong in it."""
    bar = validated(BarFile, read_toml(path), path).bar
    return assigned(bar.id, bar.spine_thou, bar.u_spine_thou, bar.source)


def check_bar(expected: Expected, spine_thou: Sequence[float], u_spine_thou: Sequence[float]) -> ProcedureResult:
    """Bias of the gauge on the bar, with its uncertainty and E_n. Raises ReadingsError for quite another bar."""
    if min(u_spine_thou) < 0:
        raise ReadingsError(f"bar {expected.name}: u_spine_thou {min(u_spine_thou):g} is negative; correct it")
    mean = float(np.mean(spine_thou))
    off = mean / expected.spine_thou - 1
    if abs(off) > NOT_THIS_BAR:
        raise ReadingsError(
            f"bar {expected.name}: measured {mean:.1f} thou, expected {expected.spine_thou:.1f}; is it this bar, and "
            "are diameter in mm and modulus in GPa?"
        )
    scatter = float(np.std(spine_thou, ddof=1)) / math.sqrt(len(spine_thou)) if len(spine_thou) > 1 else 0.0
    # Repeats share the gauge's calibration: its uncertainty does not shrink with their number.
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


def _verdict(bias: float, u_bias: float, ratio: float, expected: Expected) -> str:
    found = f"bias {bias:+.2f} thou, U = {K * u_bias:.2f} (k = 2), E_n = {ratio:+.2f}"
    if abs(ratio) <= 1:
        weak = expected.u_spine_thou > 0.005 * expected.spine_thou
        note = "; the bar itself is known too poorly to say more" if weak else ""
        return f"{found}: gauge and bar agree within their uncertainties{note}"
    return (
        f"{found}: gauge and bar disagree beyond their uncertainties; look for the cause (span, masses, give, the bar "
        "itself). Nothing was corrected for it"
    )
