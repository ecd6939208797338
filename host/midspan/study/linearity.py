"""Bias against reference values, and its change along the range.

A bias is tested against the scatter of its own readings (t test) and the uncertainty of its reference. Over several
references the bias is fitted as a straight line: a slope means an error of the gauge's scale, a constant an error of
its zero (AIAG Measurement Systems Analysis, 4th ed., chapter III A). Several references are tested at once with one t
quantile for all of them, so that one in twenty studies raises a false alarm, not one in twenty references (Z. Sidak, J.
Am. Stat. Assoc. 62 (1967) 626-633; NIST/SEMATECH e-Handbook, 2.3.7).

References that one bench assigned with the same masses are wrong together, by the same share of their values. That
looks exactly like an error of the gauge's scale, and no number of readings tells the two apart. So the uncertainty of
slope and constant holds that of the references, with the correlation between them: the part that is stated as shared,
or, where none is stated, all of it shared or none of it, whichever is larger.

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
from midspan.study.population import capability_bound

ALPHA = 0.05
SIGMAS_OF_A_STUDY, SHARE_OF_TOLERANCE = 6.0, 0.2  # type-1 study: a fifth of the tolerance over six sigma


@dataclass(frozen=True)
class Reference:
    """The known value of a part.

    Parameters
    ----------
    value : float
        Its value, in the unit of the readings.
    u : float
        Standard uncertainty of that value, 0 if unknown.
    u_shared : float | None
        Part of `u` that all references share, such as that of the masses: an error of the same share of every value.
        None if it is not known how much.
    """

    value: float
    u: float = 0.0
    u_shared: float | None = None

    def __post_init__(self) -> None:
        """Raise ReadingsError if the shared part is not within 0 and `u`."""
        if self.u < 0 or (self.u_shared is not None and not 0 <= self.u_shared <= self.u):
            raise ReadingsError(
                f"reference {self.value:g}: u {self.u:g} with a shared part of {self.u_shared or 0:g}; give a shared "
                "part from 0 to u",
                code="shared_part",
            )


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

    def cgk_bounds(self, tolerance: float) -> tuple[float, float]:
        """Return the bounds of the true Cgk, which so many readings leave open.

        Parameters
        ----------
        tolerance : float
            Width between the limits, in the unit of the readings.

        Returns
        -------
        tuple[float, float]
            Lower and upper bound, each with 95 % confidence.
        """
        found = self.cgk(tolerance)
        return capability_bound(found, self.number, ALPHA), capability_bound(found, self.number, 1 - ALPHA)


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
    u_of_references : tuple[float, float]
        Standard uncertainty of intercept and slope that the references cause.
    """

    at: tuple[BiasStudy, ...]
    references: tuple[float, ...]
    biases: tuple[float, ...]
    line: PolynomialFit
    r_squared: float
    names: tuple[str, ...]
    u_of_references: tuple[float, float]

    @property
    def t(self) -> tuple[float, float]:
        """Student's t of intercept and slope against the scatter alone."""
        intercept, slope = self.line.coefficients / self.line.u
        return float(intercept), float(slope)

    @property
    def u(self) -> tuple[float, float]:
        """Standard uncertainty of intercept and slope by scatter and references together."""
        scatter = self.line.u
        return math.hypot(scatter[0], self.u_of_references[0]), math.hypot(scatter[1], self.u_of_references[1])

    @property
    def p(self) -> tuple[float, float]:
        """Probabilities of so large an intercept and slope by scatter and references (Welch and Satterthwaite)."""
        return self._chance(0), self._chance(1)

    def _chance(self, i: int) -> float:
        """Return the probability of so large a coefficient by chance."""
        dof = self.line.degrees_of_freedom * (self.u[i] / float(self.line.u[i])) ** 4
        return 2 * float(stdtr(dof, -abs(float(self.line.coefficients[i])) / self.u[i]))

    @property
    def worst(self) -> tuple[str, float]:
        """Name of the reference with the largest bias, and that bias."""
        i = int(np.argmax([abs(study.bias) for study in self.at]))
        return self.names[i], self.at[i].bias

    def real_biases(self) -> tuple[str, ...]:
        """Return the references whose bias neither their pooled scatter nor their own uncertainty explains.

        All are tested at once, so that one study in twenty raises a false alarm.

        Returns
        -------
        tuple[str, ...]
            Names of those references; empty if there is none.
        """
        dof = sum(study.number - 1 for study in self.at)
        variance = sum((study.number - 1) * study.sd**2 for study in self.at) / dof
        return tuple(
            name
            for name, study in zip(self.names, self.at, strict=True)
            if abs(study.bias) > self._limit(study, variance, dof)
        )

    def _limit(self, study: BiasStudy, variance: float, dof: int) -> float:
        """Return the largest bias of a reference that chance makes."""
        scatter = variance / study.number
        both = scatter + study.u_reference**2
        return simultaneous_t(len(self.at), dof * (both / scatter) ** 2) * math.sqrt(both)


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
    by_references = _u_of_references(parts, [known[name] for name in names], names)
    return LinearityStudy(at, tuple(references), tuple(biases.tolist()), line, 1 - unexplained, names, by_references)


def _u_of_references(
    parts: Sequence[str], references: Sequence[Reference], names: Sequence[str]
) -> tuple[float, float]:
    """Return the standard uncertainty of intercept and slope that errors of the references cause.

    Both are linear in the biases: an error that all references share adds up with its sign, errors of their own add in
    squares (JCGM 100:2008, 5.2.2). Where the shared part is not known, the larger of both extremes counts.
    """
    value = {name: reference.value for name, reference in zip(names, references, strict=True)}
    each = np.linalg.pinv(np.vander([value[part] for part in parts], 2, increasing=True))
    by_name = np.array([each[:, np.array(parts) == name].sum(axis=1) for name in names])  # [reference, coefficient]
    u = np.array([reference.u for reference in references])
    least = np.array([reference.u_shared or 0.0 for reference in references])
    most = np.array([reference.u if reference.u_shared is None else reference.u_shared for reference in references])
    sign = np.sign([reference.value for reference in references])
    variances = [((shared * sign) @ by_name) ** 2 + (u**2 - shared**2) @ by_name**2 for shared in (least, most)]
    constant, slope = np.sqrt(np.max(variances, axis=0))
    return float(constant), float(slope)
