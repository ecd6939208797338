"""Stability: one check standard read again and again over days, and over longer stretches.

Three levels of scatter (NIST/SEMATECH e-Handbook, 2.4.4 and 2.6.2): within one session, from session to session, from
stretch to stretch. A drift is a straight line against time that is significant.

>>> sessions = [[500.1, 500.2, 500.0], [500.3, 500.2, 500.4], [500.1, 500.0, 500.2], [500.2, 500.3, 500.1]]
>>> study = stability_study(sessions, days=[0.0, 1.0, 2.0, 3.0])
>>> round(study.within_sd, 3), study.drifts
(0.1, False)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, stdtr

from midspan.base.errors import ReadingsError
from midspan.base.polynomial import fit_polynomial
from midspan.study.gauge_rr import one_way

ALPHA = 0.05
SIGMAS = 2.0  # limits of a check standard, in standard deviations (NIST/SEMATECH e-Handbook, 2.6.2.2)


@dataclass(frozen=True)
class PooledDeviation:
    """A standard deviation with its degrees of freedom.

    Parameters
    ----------
    sd : float
        Standard deviation.
    dof : int
        Degrees of freedom.
    """

    sd: float
    dof: int


def pooled(deviations: Sequence[float], dofs: Sequence[int]) -> PooledDeviation:
    """Pool standard deviations by their degrees of freedom.

    Parameters
    ----------
    deviations : Sequence[float]
        Standard deviations.
    dofs : Sequence[int]
        Degrees of freedom of each.

    Returns
    -------
    PooledDeviation
        The pooled standard deviation.

    Examples
    --------
    >>> pooled([3.0, 4.0], [5, 5])
    PooledDeviation(sd=3.5355339059327378, dof=10)
    """
    dof = sum(dofs)
    return PooledDeviation(math.sqrt(sum(n * sd**2 for sd, n in zip(deviations, dofs, strict=True)) / dof), dof)


def between(means: Sequence[float]) -> PooledDeviation:
    """Return the standard deviation between sessions.

    Parameters
    ----------
    means : Sequence[float]
        Mean of each session.

    Returns
    -------
    PooledDeviation
        Standard deviation of the means.

    Examples
    --------
    >>> between([1.0, 2.0, 3.0])
    PooledDeviation(sd=1.0, dof=2)
    """
    return PooledDeviation(float(np.std(means, ddof=1)), len(means) - 1)


def variance_between(level: PooledDeviation, within: PooledDeviation, readings: float) -> float:
    """Return the variance that sessions add beyond the scatter of their own readings.

    Parameters
    ----------
    level : PooledDeviation
        Standard deviation between the sessions.
    within : PooledDeviation
        Standard deviation within a session.
    readings : float
        Readings in each session.

    Returns
    -------
    float
        Variance; a negative estimate means that sessions add nothing that can be seen.

    Examples
    --------
    >>> variance_between(PooledDeviation(3.0, 9), PooledDeviation(4.0, 90), readings=4)
    5.0
    """
    return level.sd**2 - within.sd**2 / readings


@dataclass(frozen=True)
class StabilityStudy:
    """A check standard over several sessions.

    Parameters
    ----------
    days : tuple[float, ...]
        Day of each session, from any day.
    means : tuple[float, ...]
        Mean of each session.
    deviations : tuple[float | None, ...]
        Standard deviation of each session, None where it has one reading.
    within : PooledDeviation | None
        Pooled scatter within the sessions, None if all have one reading.
    sessions : PooledDeviation
        Scatter of the means of the sessions.
    session_variance : float | None
        Variance that sessions add beyond their own scatter, None if all have one reading.
    sessions_p : float | None
        Probability that sessions differ so much by chance, None if all have one reading.
    drift_per_day : float
        Slope of the means against time, unit of the readings per day.
    u_drift_per_day : float
        Its standard uncertainty.
    drift_p : float
        Probability of so steep a slope by chance.
    """

    days: tuple[float, ...]
    means: tuple[float, ...]
    deviations: tuple[float | None, ...]
    within: PooledDeviation | None
    sessions: PooledDeviation
    session_variance: float | None
    sessions_p: float | None
    drift_per_day: float
    u_drift_per_day: float
    drift_p: float

    @property
    def within_sd(self) -> float:
        """Standard deviation within a session; of the session means if each has one reading."""
        return (self.within or self.sessions).sd

    @property
    def mean(self) -> float:
        """Mean of the sessions."""
        return float(np.mean(self.means))

    @property
    def limits(self) -> tuple[float, float]:
        """Mean less and plus two standard deviations of the session means."""
        return self.mean - SIGMAS * self.sessions.sd, self.mean + SIGMAS * self.sessions.sd

    @property
    def drifts(self) -> bool:
        """True if the drift is significant at 5 %."""
        return self.drift_p < ALPHA

    @property
    def restless(self) -> tuple[int, ...]:
        """Sessions, counted from 0, whose own scatter is above the F limit: something was loose that day."""
        if self.within is None:
            return ()
        each = self.within.dof // len(self.means)
        limit = precision_limit(self.within, each)
        return tuple(i for i, sd in enumerate(self.deviations) if sd is not None and sd > limit)


def precision_limit(within: PooledDeviation, dof: int) -> float:
    """Return the largest standard deviation that a session shows by chance, 19 times in 20.

    It is the pooled standard deviation times the root of F.

    Parameters
    ----------
    within : PooledDeviation
        Pooled standard deviation within sessions.
    dof : int
        Degrees of freedom of the session.

    Returns
    -------
    float
        Limit of the session's standard deviation.

    References
    ----------
    NIST/SEMATECH e-Handbook, 2.6.2.2.

    Examples
    --------
    >>> round(precision_limit(PooledDeviation(0.061388, 125), 5), 6)
    0.092831
    """
    return within.sd * math.sqrt(float(fdtri(dof, within.dof, 1 - ALPHA)))


def stability_study(sessions: Sequence[Sequence[float]], days: Sequence[float]) -> StabilityStudy:
    """Study the stability of a check standard.

    Parameters
    ----------
    sessions : Sequence[Sequence[float]]
        Readings of each session.
    days : Sequence[float]
        Day of each session, from any day.

    Returns
    -------
    StabilityStudy
        The study, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Fewer than three sessions (code `too_few`), or fewer than three different times (code `one_time`).

    References
    ----------
    NIST/SEMATECH e-Handbook, 2.4.4 and 2.6.2.

    Examples
    --------
    >>> study = stability_study([[500.1], [500.3], [500.2]], days=[0.0, 1.0, 2.0])
    >>> round(study.drift_per_day, 3), study.within is None
    (0.05, True)
    """
    if len(sessions) < 3:
        raise ReadingsError(
            f"{len(sessions)} session(s): stability needs at least three, better twenty over months", code="too_few"
        )
    if len(set(days)) < 3:
        raise ReadingsError(
            "the sessions have fewer than three different times, so a drift cannot be seen; record the time",
            code="one_time",
        )
    means = [float(np.mean(session)) for session in sessions]
    deviations = [float(np.std(session, ddof=1)) if len(session) > 1 else None for session in sessions]
    dofs = [len(session) - 1 for session in sessions]
    within = pooled([sd or 0.0 for sd in deviations], dofs) if sum(dofs) else None
    level = between(means)
    readings = sum(dofs) / len(sessions) + 1
    line = fit_polynomial(days, means, 1)
    slope, u_slope = float(line.coefficients[1]), float(line.u[1])
    p = 2 * float(stdtr(line.degrees_of_freedom, -abs(slope) / u_slope)) if u_slope > 0 else float(slope == 0)
    added = None if within is None else variance_between(level, within, readings)
    chance = None if within is None else one_way(sessions, "session")[0].p
    return StabilityStudy(tuple(days), tuple(means), tuple(deviations), within, level, added, chance, slope, u_slope, p)
