"""Stability: one check standard read again and again over days, and over longer stretches.

Three levels of scatter (NIST/SEMATECH e-Handbook, 2.4.4 and 2.6.2): within one session, from session to session,
from stretch to stretch. A drift is a straight line against time that chance seldom makes.

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
SIGMAS = 2.0  # of the limits of a check standard: NIST/SEMATECH e-Handbook, 2.6.2.2


@dataclass(frozen=True)
class PooledDeviation:
    """A standard deviation with its degrees of freedom."""

    sd: float
    dof: int


def pooled(deviations: Sequence[float], dofs: Sequence[int]) -> PooledDeviation:
    """Standard deviations pooled by their degrees of freedom.

    >>> pooled([3.0, 4.0], [5, 5])
    PooledDeviation(sd=3.5355339059327378, dof=10)
    """
    dof = sum(dofs)
    return PooledDeviation(math.sqrt(sum(n * sd**2 for sd, n in zip(deviations, dofs, strict=True)) / dof), dof)


def between(means: Sequence[float]) -> PooledDeviation:
    """Standard deviation of the means of sessions."""
    return PooledDeviation(float(np.std(means, ddof=1)), len(means) - 1)


def variance_between(level: PooledDeviation, within: PooledDeviation, readings: float) -> float:
    """Variance that sessions add beyond the scatter of their own readings, in each of which there are so many.

    An estimate below nothing means that they add none that can be seen.

    >>> variance_between(PooledDeviation(3.0, 9), PooledDeviation(4.0, 90), readings=4)
    5.0
    """
    return level.sd**2 - within.sd**2 / readings


@dataclass(frozen=True)
class StabilityStudy:
    """A check standard over S sessions: scatter within and between them, limits, and the drift per day."""

    days: tuple[float, ...]
    means: tuple[float, ...]
    deviations: tuple[float | None, ...]  # one a session, None where it has one reading
    within: PooledDeviation | None
    sessions: PooledDeviation
    session_variance: float | None
    sessions_p: float | None  # how often chance makes sessions differ so much, by their own scatter
    drift_per_day: float
    u_drift_per_day: float
    drift_p: float

    @property
    def within_sd(self) -> float:
        """Scatter within a session; of the session means when each has one reading."""
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
        """Whether chance makes so steep a line less than once in twenty times."""
        return self.drift_p < ALPHA

    @property
    def restless(self) -> tuple[int, ...]:
        """Sessions whose own scatter is above the F limit: something was loose that day."""
        if self.within is None:
            return ()
        each = self.within.dof // len(self.means)
        limit = precision_limit(self.within, each)
        return tuple(i for i, sd in enumerate(self.deviations) if sd is not None and sd > limit)


def precision_limit(within: PooledDeviation, dof: int) -> float:
    """Largest standard deviation that a session of this many degrees of freedom shows by chance, 19 times in 20.

    NIST/SEMATECH e-Handbook, 2.6.2.2: the pooled one times the root of F.

    >>> round(precision_limit(PooledDeviation(0.061388, 125), 5), 6)
    0.092831
    """
    return within.sd * math.sqrt(float(fdtri(dof, within.dof, 1 - ALPHA)))


def stability_study(sessions: Sequence[Sequence[float]], days: Sequence[float]) -> StabilityStudy:
    """Analyse the readings of each session and the day of each, counted from any day.

    Raises ReadingsError for fewer than three sessions, or when all fall on one moment.
    """
    if len(sessions) < 3:
        raise ReadingsError(f"{len(sessions)} session(s): stability needs three at least, better twenty over months")
    if len(set(days)) < 3:
        raise ReadingsError("the sessions have fewer than three different times: a drift cannot be told; note the time")
    means = [float(np.mean(one)) for one in sessions]
    deviations = [float(np.std(one, ddof=1)) if len(one) > 1 else None for one in sessions]
    dofs = [len(one) - 1 for one in sessions]
    within = pooled([sd or 0.0 for sd in deviations], dofs) if sum(dofs) else None
    level = between(means)
    readings = sum(dofs) / len(sessions) + 1
    line = fit_polynomial(days, means, 1)
    slope, u_slope = float(line.coefficients[1]), float(line.u[1])
    p = 2 * float(stdtr(line.degrees_of_freedom, -abs(slope) / u_slope)) if u_slope > 0 else float(slope == 0)
    added = None if within is None else variance_between(level, within, readings)
    chance = None if within is None else one_way(sessions, "session")[0].p
    return StabilityStudy(tuple(days), tuple(means), tuple(deviations), within, level, added, chance, slope, u_slope, p)
