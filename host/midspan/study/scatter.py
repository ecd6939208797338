"""Scatter of a check standard by its plan: within sessions and between them, and the u of any mean of its readings.

Readings of one session share what changes from day to day: the room, how the gauge was set down. Their own scatter is
then too small for a limit that holds on another day, and their number too large. So a variance within and one between
sessions are estimated (NIST/SEMATECH e-Handbook, 2.6.2 and 7.4.2), and a mean of readings gets the u of both.

>>> plan = scatter_of([500.1, 500.2, 500.4, 500.5, 500.0, 500.1], [0, 0, 1, 1, 2, 2])
>>> plan.source.value, round(plan.sigma, 3), round(plan.dof, 1)
('within and between sessions', 0.214, 2.2)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtrit

Array = NDArray[np.float64]
# Mean and standard deviation of the range of two normal readings, 2 / sqrt(pi) and sqrt(2 - 4 / pi).
D2, D3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
SESSIONS_WANTED = 3  # fewer do not show what sessions add (common practice, no source)
NEW_SESSION_DAYS = 0.25  # a longer pause begins a new session (common practice, no source)


class ScatterSource(StrEnum):
    """Source of the sigma of a chart."""

    GIVEN = "given"
    MOVING_RANGE = "moving range"  # of readings that are each a session of their own, a shift perhaps among them
    DEVIATION = "standard deviation"  # of such readings of a stretch that was good
    ONE_SESSION = "within one session"  # what another session adds is not known
    SESSIONS = "within and between sessions"


@dataclass(frozen=True)
class Scatter:
    """Variances of a reading within and between sessions.

    Parameters
    ----------
    within : float
        Variance within a session, in the squared unit of the readings.
    between : float
        Variance that sessions add.
    source : ScatterSource
        Plan by which they were estimated.
    dof_within : float
        Degrees of freedom of the variance within; infinite for a given sigma.
    dof_between : float
        Degrees of freedom between the sessions.
    size : float
        Readings in a session of the baseline.
    """

    within: float
    between: float
    source: ScatterSource
    dof_within: float = math.inf
    dof_between: float = math.inf
    size: float = 1.0

    @property
    def sigma(self) -> float:
        """Standard deviation of a single reading."""
        return math.sqrt(self.within + self.between)

    @property
    def dof(self) -> float:
        """Degrees of freedom of `sigma`."""
        return float(self._dof(np.ones(1), np.ones(1))[0])

    def u(self, weights: Array, sessions: Sequence[int]) -> Array:
        """Return the standard deviations of weighted sums of readings.

        Parameters
        ----------
        weights : Array
            Weight of each reading in each sum, shape (sums, readings).
        sessions : Sequence[int]
            Session of each reading.

        Returns
        -------
        Array
            Standard deviation of each sum, shape (sums,).
        """
        own, shared = _squares(weights, sessions)
        return np.sqrt(self.within * own + self.between * shared)

    def reach(self, weights: Array, sessions: Sequence[int], sigmas: float) -> Array:
        """Return how far weighted sums of readings stray by chance, as seldom as so many known standard deviations.

        Parameters
        ----------
        weights : Array
            Weight of each reading in each sum, shape (sums, readings).
        sessions : Sequence[int]
            Session of each reading.
        sigmas : float
            Known standard deviations.

        Returns
        -------
        Array
            Distance of each sum from its mean, shape (sums,): its standard deviation times a quantile of Student's t.
        """
        u = self.u(weights, sessions)
        if self.source is ScatterSource.GIVEN:
            return sigmas * u
        distance: Array = -stdtrit(self._dof(*_squares(weights, sessions)), ndtr(-sigmas)) * u
        return distance

    def _dof(self, own: Array, shared: Array) -> Array:
        """Return the degrees of freedom of the variances of sums of readings (Satterthwaite)."""
        if math.isinf(self.dof_between):
            return np.full(own.shape, self.dof_within)
        # The mean square between sessions estimates within + size x between.
        of_sessions = (self.within + self.size * self.between) * shared / self.size
        of_readings = self.within * (own - shared / self.size)
        return (of_sessions + of_readings) ** 2 / (of_sessions**2 / self.dof_between + of_readings**2 / self.dof_within)


def _squares(weights: Array, sessions: Sequence[int]) -> tuple[Array, Array]:
    """Return the sums of squared weights, of single readings and of whole sessions, each of shape (sums,)."""
    of_session = np.equal.outer(np.asarray(sessions), np.unique(np.asarray(sessions))).astype(float)
    return (weights**2).sum(axis=1), ((weights @ of_session) ** 2).sum(axis=1)


def sessions_of(days: Sequence[float]) -> list[int]:
    """Return the session of each reading: a pause of more than six hours begins a new one.

    Parameters
    ----------
    days : Sequence[float]
        Time of each reading, days, rising.

    Returns
    -------
    list[int]
        Numbers of sessions from 0.

    Examples
    --------
    >>> sessions_of([0.0, 0.1, 1.0, 1.1, 1.2])
    [0, 0, 1, 1, 1]
    """
    return [0, *np.cumsum(np.diff(days) > NEW_SESSION_DAYS).tolist()] if days else []


def scatter_of(values: Sequence[float], sessions: Sequence[int], *, good: bool = False) -> Scatter:
    """Return the scatter of readings by the plan that their sessions allow.

    Parameters
    ----------
    values : Sequence[float]
        Readings in the order of time, at least two.
    sessions : Sequence[int]
        Session of each.
    good : bool
        True if the gauge was good all the time; else single readings show their scatter by moving ranges, which a shift
        hardly widens.

    Returns
    -------
    Scatter
        Variances within and between sessions.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2.2 (moving range) and 7.4.2 (variances); dof of the moving range by J. D. Cryer and
    T. P. Ryan, J. Quality Technology 22 (1990) 187-192, of a sum of variances by F. E. Satterthwaite, Biometrics
    Bulletin 2 (1946) 110-114.

    Examples
    --------
    >>> scatter_of([500.0, 500.2, 500.1], [0, 1, 2]).source.value
    'moving range'
    """
    data, number = np.asarray(values, float), len(values)
    groups = [data[np.asarray(sessions) == session] for session in dict.fromkeys(sessions)]
    if len(groups) == number and good:
        return Scatter(float(data.var(ddof=1)), 0.0, ScatterSource.DEVIATION, number - 1)
    if len(groups) == number:
        sd = float(np.abs(np.diff(data)).mean()) / D2
        dof = (number - 1) ** 2 / (2 * (0.8264 * number - 1.082))
        return Scatter(sd**2, 0.0, ScatterSource.MOVING_RANGE, dof)
    dof = number - len(groups)
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in groups) / dof
    if len(groups) < SESSIONS_WANTED:
        return Scatter(within, 0.0, ScatterSource.ONE_SESSION, dof)
    sizes = np.array([len(group) for group in groups])
    means = np.array([group.mean() for group in groups])
    dof_between = len(groups) - 1
    mean_square = float(sizes @ (means - data.mean()) ** 2) / dof_between
    size = (number - float(sizes @ sizes) / number) / dof_between
    if mean_square <= within:  # sessions add nothing that shows
        within = mean_square = float(data.var(ddof=1))
    return Scatter(within, (mean_square - within) / size, ScatterSource.SESSIONS, dof, dof_between, size)
