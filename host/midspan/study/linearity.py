"""Bias against reference values, and whether it changes along the range.

A bias is tested against the scatter of its own readings (t test). Over several references the bias is fitted as a
straight line: a slope means that the gauge's scale is off, a constant that its zero is (AIAG Measurement Systems
Analysis, 4th ed., chapter III A). Several references are tested at once with a t quantile for all of them together,
so that one in twenty studies raises a false alarm, not one in twenty references (Z. Sidak, J. Am. Stat. Assoc. 62
(1967) 626-633; NIST/SEMATECH e-Handbook, 2.3.7).

>>> study = bias_study([500.1, 500.3, 500.2, 500.2], reference=500.0)
>>> round(study.bias, 3), study.is_real
(0.2, True)
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import PolynomialFit, fit_polynomial

ALPHA = 0.05
SIGMAS_OF_A_STUDY, SHARE_OF_TOLERANCE = 6.0, 0.2  # type-1 study: a fifth of the tolerance against six sigma
# Common practice, no source: a capability index of 1.33 is asked for.
CAPABLE = 1.33


@dataclass(frozen=True)
class Reference:
    """The value of a part known from elsewhere, with its standard uncertainty."""

    value: float
    u: float = 0.0


@dataclass(frozen=True)
class BiasStudy:
    """Mean error of repeated readings of one reference; `u_reference` is the standard uncertainty of its value."""

    number: int
    mean: float
    sd: float
    reference: float
    u_reference: float
    t: float
    p: float
    half_width: float  # of the 95 % interval of the bias, reference uncertainty left out

    @property
    def bias(self) -> float:
        """Mean minus reference."""
        return self.mean - self.reference

    @property
    def is_real(self) -> bool:
        """Whether neither scatter nor the reference's uncertainty explains the bias (U with k = 2)."""
        return self.p < ALPHA and abs(self.bias) > 2 * math.hypot(self.sd / math.sqrt(self.number), self.u_reference)

    def cg(self, tolerance: float) -> float:
        """A fifth of the tolerance over six standard deviations: repeatability alone."""
        return SHARE_OF_TOLERANCE * tolerance / (SIGMAS_OF_A_STUDY * self.sd)

    def cgk(self, tolerance: float) -> float:
        """The same with the bias taken off: a tenth of the tolerance less the bias, over three deviations."""
        return (SHARE_OF_TOLERANCE / 2 * tolerance - abs(self.bias)) / (SIGMAS_OF_A_STUDY / 2 * self.sd)


def bias_study(values: Sequence[float], reference: float, u_reference: float = 0.0) -> BiasStudy:
    """Bias of repeated readings of one reference.

    Differences of pairs are studied the same way, with 0 as the reference. Raises ReadingsError for fewer than two
    readings or when all are the same.
    """
    data = np.asarray(values, float)
    if len(data) < 2:
        raise ReadingsError(f"reference {reference:g} was read {len(data)} time(s): read it at least twice, better ten")
    mean, sd = float(data.mean()), float(data.std(ddof=1))
    if np.ptp(data) == 0:
        raise ReadingsError(
            f"all readings of reference {reference:g} are {mean:g}: the gauge resolves too little for a test"
        )
    u, dof = sd / math.sqrt(len(data)), len(data) - 1
    t = (mean - reference) / u
    half = float(stdtrit(dof, 1 - ALPHA / 2)) * u
    return BiasStudy(len(data), mean, sd, reference, u_reference, t, 2 * float(stdtr(dof, -abs(t))), half)


def simultaneous_t(tests: int, dof: float, alpha: float = ALPHA) -> float:
    """t quantile with which so many two-sided tests together raise a false alarm with probability alpha.

    NIST/SEMATECH e-Handbook, 2.3.7: 1 - (1 - (1 - alpha)^(1/m)) / 2.

    >>> round(simultaneous_t(3, 38), 6)
    2.497575
    """
    return float(stdtrit(dof, 1 - (1 - (1 - alpha) ** (1 / tests)) / 2))


@dataclass(frozen=True)
class LinearityStudy:
    """Bias at each reference and the straight line through all of them: bias = line(reference)."""

    at: tuple[BiasStudy, ...]
    references: tuple[float, ...]  # one a reading
    biases: tuple[float, ...]
    line: PolynomialFit
    r_squared: float
    names: tuple[str, ...]

    @property
    def t(self) -> tuple[float, float]:
        """t of intercept and slope."""
        intercept, slope = self.line.coefficients / self.line.u
        return float(intercept), float(slope)

    @property
    def p(self) -> tuple[float, float]:
        """How often chance alone makes so large a t, of intercept and slope."""
        dof = self.line.degrees_of_freedom
        return 2 * float(stdtr(dof, -abs(self.t[0]))), 2 * float(stdtr(dof, -abs(self.t[1])))

    @property
    def worst(self) -> tuple[str, float]:
        """The reference with the largest bias, and that bias."""
        i = int(np.argmax([abs(one.bias) for one in self.at]))
        return self.names[i], self.at[i].bias

    def real_biases(self) -> tuple[str, ...]:
        """References whose bias is real with all of them tested at once, on the scatter pooled over them.

        A bias inside the uncertainty of its own reference (k = 2) is none of the gauge.
        """
        dof = sum(one.number - 1 for one in self.at)
        pooled = math.sqrt(sum((one.number - 1) * one.sd**2 for one in self.at) / dof)
        t = simultaneous_t(len(self.at), dof)
        limits = (math.hypot(t * pooled / math.sqrt(one.number), 2 * one.u_reference) for one in self.at)
        return tuple(
            name for name, one, limit in zip(self.names, self.at, limits, strict=True) if abs(one.bias) > limit
        )


def linearity_study(parts: Sequence[str], values: Sequence[float], known: Mapping[str, Reference]) -> LinearityStudy:
    """Analyse readings of several parts whose values are known, one reading a line.

    Raises ReadingsError when fewer than three references differ.
    """
    names = tuple(dict.fromkeys(parts))
    different = len({known[name].value for name in names})
    if different < 3:
        raise ReadingsError(
            f"{different} different reference(s): linearity needs three, better five; for fewer use: midspan study bias"
        )
    references = [known[part].value for part in parts]
    at = tuple(
        bias_study([v for part, v in zip(parts, values, strict=True) if part == name], known[name].value, known[name].u)
        for name in names
    )
    biases = np.asarray(values, float) - np.asarray(references, float)
    line = fit_polynomial(references, biases, 1)
    unexplained = line.residual_sd**2 * line.degrees_of_freedom / float(((biases - biases.mean()) ** 2).sum())
    return LinearityStudy(at, tuple(references), tuple(biases.tolist()), line, 1 - unexplained, names)
