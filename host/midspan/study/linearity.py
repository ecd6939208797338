"""Bias against reference values, and its change along the range.

A bias is tested against the scatter of its own readings (t test). Over several references the bias is fitted as a
straight line: a slope means an error of the gauge's scale, a constant an error of its zero (AIAG Measurement Systems
Analysis, 4th ed., chapter III A). Several references are tested at once with one t quantile for all of them, so that
one in twenty studies raises a false alarm, not one in twenty references (Z. Sidak, J. Am. Stat. Assoc. 62 (1967)
626-633; NIST/SEMATECH e-Handbook, 2.3.7).

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
SIGMAS_OF_A_STUDY, SHARE_OF_TOLERANCE = 6.0, 0.2  # type-1 study: a fifth of the tolerance over six sigma
CAPABLE = 1.33  # least capability index of a good gauge (common practice, no source)


@dataclass(frozen=True)
class Reference:
    """The known value of a part.

    Parameters
    ----------
    value : float
        Its value, in the unit of the readings.
    u : float
        Standard uncertainty of that value, 0 if unknown.
    """

    value: float
    u: float = 0.0


@dataclass(frozen=True)
class BiasStudy:
    """Mean error of repeated readings of one reference.

    Parameters
    ----------
    number : int
        How many readings.
    mean : float
        Their mean.
    sd : float
        Their standard deviation.
    reference : float
        The known value.
    u_reference : float
        Standard uncertainty of the known value.
    t : float
        Bias over the standard deviation of the mean.
    p : float
        Probability of so large a t by chance.
    half_width : float
        Half the 95 % interval of the bias, without the uncertainty of the reference.
    """

    number: int
    mean: float
    sd: float
    reference: float
    u_reference: float
    t: float
    p: float
    half_width: float

    @property
    def bias(self) -> float:
        """Mean minus reference."""
        return self.mean - self.reference

    @property
    def is_real(self) -> bool:
        """True if neither scatter nor the reference's uncertainty explains the bias (U with k = 2)."""
        return self.p < ALPHA and abs(self.bias) > 2 * math.hypot(self.sd / math.sqrt(self.number), self.u_reference)

    def cg(self, tolerance: float) -> float:
        """Return the capability index Cg: a fifth of the tolerance over six standard deviations.

        Parameters
        ----------
        tolerance : float
            Width between the limits, in the unit of the readings.

        Returns
        -------
        float
            Cg, which sees repeatability alone.
        """
        return SHARE_OF_TOLERANCE * tolerance / (SIGMAS_OF_A_STUDY * self.sd)

    def cgk(self, tolerance: float) -> float:
        """Return the capability index Cgk: a tenth of the tolerance less the bias, over three standard deviations.

        Parameters
        ----------
        tolerance : float
            Width between the limits, in the unit of the readings.

        Returns
        -------
        float
            Cgk, which sees repeatability and bias.
        """
        return (SHARE_OF_TOLERANCE / 2 * tolerance - abs(self.bias)) / (SIGMAS_OF_A_STUDY / 2 * self.sd)


def bias_study(values: Sequence[float], reference: float, u_reference: float = 0.0) -> BiasStudy:
    """Study the bias of repeated readings of one reference; differences of pairs are studied with 0 as the reference.

    Parameters
    ----------
    values : Sequence[float]
        The readings.
    reference : float
        The known value.
    u_reference : float
        Its standard uncertainty.

    Returns
    -------
    BiasStudy
        The study, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Fewer than two readings (code `too_few`), or readings without scatter (code `no_scatter`).

    References
    ----------
    AIAG Measurement Systems Analysis, 4th ed., chapter III A.

    Examples
    --------
    >>> round(bias_study([500.1, 500.3, 500.2, 500.2], reference=500.0).p, 4)
    0.0163
    """
    data = np.asarray(values, float)
    if len(data) < 2:
        raise ReadingsError(
            f"reference {reference:g} was read {len(data)} time(s): read it at least twice, better ten", code="too_few"
        )
    mean, sd = float(data.mean()), float(data.std(ddof=1))
    if np.ptp(data) == 0:
        raise ReadingsError(
            f"all readings of reference {reference:g} are {mean:g}: the gauge resolves too little for a test",
            code="no_scatter",
        )
    u, dof = sd / math.sqrt(len(data)), len(data) - 1
    t = (mean - reference) / u
    half = float(stdtrit(dof, 1 - ALPHA / 2)) * u
    return BiasStudy(len(data), mean, sd, reference, u_reference, t, 2 * float(stdtr(dof, -abs(t))), half)


def simultaneous_t(tests: int, dof: float, alpha: float = ALPHA) -> float:
    """Return the t quantile with which all these two-sided tests together raise a false alarm with probability alpha.

    1 - (1 - (1 - alpha)^(1/m)) / 2.

    Parameters
    ----------
    tests : int
        Number of tests, m.
    dof : float
        Degrees of freedom of the scatter.
    alpha : float
        Probability of a false alarm in any of them.

    Returns
    -------
    float
        Quantile of Student's t, dimensionless.

    References
    ----------
    NIST/SEMATECH e-Handbook, 2.3.7.

    Examples
    --------
    >>> round(simultaneous_t(3, 38), 6)
    2.497575
    """
    return float(stdtrit(dof, 1 - (1 - (1 - alpha) ** (1 / tests)) / 2))


@dataclass(frozen=True)
class LinearityStudy:
    """Bias at each reference, and the straight line through all biases.

    Parameters
    ----------
    at : tuple[BiasStudy, ...]
        The study of each reference.
    references : tuple[float, ...]
        Known value of the part of each reading.
    biases : tuple[float, ...]
        Bias of each reading.
    line : PolynomialFit
        Bias as a straight line of the known value.
    r_squared : float
        Share of the variance of the biases that the line explains.
    names : tuple[str, ...]
        Names of the references.
    """

    at: tuple[BiasStudy, ...]
    references: tuple[float, ...]
    biases: tuple[float, ...]
    line: PolynomialFit
    r_squared: float
    names: tuple[str, ...]

    @property
    def t(self) -> tuple[float, float]:
        """Student's t of intercept and slope."""
        intercept, slope = self.line.coefficients / self.line.u
        return float(intercept), float(slope)

    @property
    def p(self) -> tuple[float, float]:
        """Probabilities of so large a t by chance, of intercept and slope."""
        dof = self.line.degrees_of_freedom
        return 2 * float(stdtr(dof, -abs(self.t[0]))), 2 * float(stdtr(dof, -abs(self.t[1])))

    @property
    def worst(self) -> tuple[str, float]:
        """Name of the reference with the largest bias, and that bias."""
        i = int(np.argmax([abs(study.bias) for study in self.at]))
        return self.names[i], self.at[i].bias

    def real_biases(self) -> tuple[str, ...]:
        """Return the references whose bias is significant with all of them tested at once, on their pooled scatter.

        A bias inside the expanded uncertainty of its own reference (k = 2) does not count.

        Returns
        -------
        tuple[str, ...]
            Names of those references; empty if there is none.
        """
        dof = sum(study.number - 1 for study in self.at)
        pooled = math.sqrt(sum((study.number - 1) * study.sd**2 for study in self.at) / dof)
        t = simultaneous_t(len(self.at), dof)
        limits = (math.hypot(t * pooled / math.sqrt(study.number), 2 * study.u_reference) for study in self.at)
        return tuple(
            name for name, study, limit in zip(self.names, self.at, limits, strict=True) if abs(study.bias) > limit
        )


def linearity_study(parts: Sequence[str], values: Sequence[float], known: Mapping[str, Reference]) -> LinearityStudy:
    """Study the biases of several parts with known values.

    Parameters
    ----------
    parts : Sequence[str]
        Part of each reading.
    values : Sequence[float]
        The readings.
    known : Mapping[str, Reference]
        Known value of each part by its name.

    Returns
    -------
    LinearityStudy
        The study, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Fewer than three references that differ (code `too_few`), or a reference read once or without scatter.

    References
    ----------
    AIAG Measurement Systems Analysis, 4th ed., chapter III A.
    """
    names = tuple(dict.fromkeys(parts))
    different = len({known[name].value for name in names})
    if different < 3:
        raise ReadingsError(
            f"{different} different reference(s): three are needed, better five; for fewer use: midspan study bias",
            code="too_few",
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
