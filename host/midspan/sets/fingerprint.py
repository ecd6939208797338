"""Fingerprints: what of a shaft stays when it is measured again, with the variances that this has.

They are the logarithm of the spine, and the waves of orders 1 to 3 of the curve (how the spine changes around the
shaft) and of the surface (bow, ovality, three-sidedness), each over the spine. Noise of force moves all of them in
proportion to the deflection, and an error of the force scale leaves the waves as they are. A wave is a complex number,
so the angles between the waves count, while the turning of the whole shaft does not (see `turning_likelihood`).

Two kinds of variance are told apart. Under one calibration of one gauge a shaft repeats within what mountings scatter:
the shaft lies a little elsewhere and its readings are noisy. Errors of the calibration are the same both times. Between
calibrations, gauges and benches each result has in addition the U that it states.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive

from midspan.measurement.harmonics import COLUMNS
from midspan.sets.limits import Array
from midspan.sets.turning_likelihood import Waves
from midspan.store.comparable import ComparableResult

QUANTITIES = 7  # log spine, curve of orders 1 to 3, surface of orders 1 to 3
SERIES, ORDERS = 2, 3
EVENNESS, BOW = 2, 4  # the quantities that tell most shafts apart: curve twice a turn, surface once a turn
# Mountings scatter at least by the smallest step in which the gauge sees anything: 0.001 thou and 0.00002 mm at 500.
FLOOR = np.array([2e-6, 2e-6, 2e-6, 2e-6, 4e-8, 4e-8, 4e-8])
# Assumed where a stock has too few repeats to tell: 0.025 thou of spine, 0.02 thou of the curve, 0.0005 mm at 500.
ASSUMED = np.array([5e-5, 4e-5, 4e-5, 4e-5, 1e-6, 1e-6, 1e-6])
# What use may change, assumed: 0.3 % of spine, 0.2 thou of the curve and 0.02 mm of the surface at 500.
USED = np.array([3e-3, 4e-4, 4e-4, 4e-4, 4e-5, 4e-5, 4e-5])
ENOUGH_REPEATS = 3  # degrees of freedom; fewer say less than the assumption


@dataclass(frozen=True)
class Fingerprints:
    """Fingerprints of several shafts.

    Parameters
    ----------
    log_spine : Array
        Logarithm of the spine in thou, shape (shafts,).
    waves : Waves
        Complex amplitudes over the spine: curve (1) and surface (mm/thou), shape (shafts, 2, 3).
    scatter : Array
        Variance of `log_spine`, and of each of the two parts of each wave, from the scatter of the readings alone,
        shape (shafts, 7); infinite where a quantity is unknown.
    stated : Array
        The same from everything that the result states, shape (shafts, 7).
    """

    log_spine: Array
    waves: Waves
    scatter: Array
    stated: Array

    def __len__(self) -> int:
        """Return the number of shafts."""
        return len(self.log_spine)

    def of(self, rows: Sequence[int] | NDArray[np.int64]) -> Fingerprints:
        """Return the fingerprints of some of the shafts.

        Parameters
        ----------
        rows : Sequence[int] | NDArray[np.int64]
            Numbers of the rows.

        Returns
        -------
        Fingerprints
            Their fingerprints.
        """
        chosen = np.asarray(rows)
        return Fingerprints(self.log_spine[chosen], self.waves[chosen], self.scatter[chosen], self.stated[chosen])

    @property
    def traits(self) -> Array:
        """The logarithm of the spine and the six amplitudes, which no turning changes, shape (shafts, 7)."""
        return np.column_stack([self.log_spine, np.abs(self.waves).reshape(len(self), -1)])

    def within(self, repeats: Repeats | None) -> Array:
        """Return the variances of a comparison under one calibration, shape (shafts, 7).

        Parameters
        ----------
        repeats : Repeats | None
            How well mountings repeat; None, or too few, for the assumption.

        Returns
        -------
        Array
            Variances; infinite where a quantity is unknown.
        """
        if repeats is None or repeats.dof < ENOUGH_REPEATS:
            known = ASSUMED**2 if repeats is None else np.maximum(ASSUMED**2, repeats.variance)
            return np.asarray(np.maximum(self.scatter, known))
        return np.asarray(np.where(np.isfinite(self.scatter), repeats.variance, np.inf))

    def between(self, repeats: Repeats | None) -> Array:
        """Return the variances of a comparison with another calibration, gauge or bench, shape (shafts, 7).

        Parameters
        ----------
        repeats : Repeats | None
            How well mountings repeat; None for the assumption.

        Returns
        -------
        Array
            Variances; infinite where a quantity is unknown.
        """
        return np.asarray(self.stated + np.where(np.isfinite(self.scatter), self.within(repeats), np.inf))


@dataclass(frozen=True)
class Repeats:
    """How well the fingerprint of a shaft repeats when the shaft is laid in and measured again.

    Parameters
    ----------
    sd : Array
        Standard deviations of the logarithm of the spine and of each part of the waves, shape (7,).
    dof : int
        Degrees of freedom they rest on.
    """

    sd: Array
    dof: int

    @property
    def variance(self) -> Array:
        """Variances to be used: not below the floor, and larger where few repeats are known, shape (7,)."""
        return np.asarray(np.maximum(self.sd, FLOOR) ** 2 * (1 + 4 / self.dof))


def fingerprints(curve_thou: Array, surface_mm: Array, u: Uncertain | None = None) -> Fingerprints:
    """Return the fingerprints of shafts from their harmonic coefficients.

    Parameters
    ----------
    curve_thou : Array
        Harmonic coefficients of the spine around the shaft, thou, shape (shafts, 7).
    surface_mm : Array
        Harmonic coefficients of the surface, mm, shape (shafts, 7).
    u : Uncertain | None
        Their uncertainties; None for none.

    Returns
    -------
    Fingerprints
        The fingerprints.

    Examples
    --------
    >>> curve, surface = np.array([[500.0, 0, 0, 3, 4, 0, 0]]), np.zeros((1, 7))
    >>> abs(fingerprints(curve, surface).waves[0, 0]).tolist()
    [0.0, 0.01, 0.0]
    """
    spine = curve_thou[:, :1]
    waves = np.stack([_waves(curve_thou), _waves(surface_mm)], axis=1) / spine[:, :, None]
    known = u or Uncertain.nothing(len(curve_thou))
    scatter = np.hstack([_each(known.curve_thou), _each(known.surface_mm)[:, 1:]]) / spine
    stated = scatter.copy()
    stated[:, 0] = np.maximum(scatter[:, 0], known.spine_thou / spine[:, 0])
    # A spread is twice the wave that is twice a turn, a runout twice the wave that is once a turn.
    stated[:, EVENNESS] = np.maximum(scatter[:, EVENNESS], known.spread_thou / 2 / spine[:, 0])
    stated[:, BOW] = np.maximum(scatter[:, BOW], known.runout_mm / 2 / spine[:, 0])
    return Fingerprints(np.log(spine[:, 0]), waves, scatter**2, stated**2)


def prints_of(results: Sequence[ComparableResult]) -> Fingerprints:
    """Return the fingerprints of stored results.

    Parameters
    ----------
    results : Sequence[ComparableResult]
        Results, at least one.

    Returns
    -------
    Fingerprints
        Their fingerprints. Scatter that a result does not say counts as none, a U that it does not say as unknown.
    """
    numbers = np.array([result.numbers for result in results])
    curve, surface, u_curve, u_surface, others = np.split(numbers, np.arange(1, 5) * COLUMNS, axis=1)
    scatter_curve, scatter_surface = (np.where(np.isnan(u), 0.0, u) for u in (u_curve, u_surface))
    spine, spread, runout = np.where(np.isnan(others), np.inf, others).T
    return fingerprints(curve, surface, Uncertain(scatter_curve, scatter_surface, spine, spread, runout))


@dataclass(frozen=True)
class Uncertain:
    """Standard uncertainties of results; infinite where a quantity was not measured.

    Parameters
    ----------
    curve_thou : Array
        Of the coefficients of the curve, from readings and supports, thou, shape (shafts, 7).
    surface_mm : Array
        Of the coefficients of the surface, mm, shape (shafts, 7).
    spine_thou : Array
        Of the spine, from all causes, thou, shape (shafts,).
    spread_thou : Array
        Of the spread, from all causes, thou, shape (shafts,).
    runout_mm : Array
        Of the runout, from all causes, mm, shape (shafts,).
    """

    curve_thou: Array
    surface_mm: Array
    spine_thou: Array
    spread_thou: Array
    runout_mm: Array

    @classmethod
    def nothing(cls, shafts: int) -> Uncertain:
        """Return uncertainties of zero for a number of shafts.

        Parameters
        ----------
        shafts : int
            Number of shafts.

        Returns
        -------
        Uncertain
            Zeros.
        """
        many, single = np.zeros((shafts, COLUMNS)), np.zeros(shafts)
        return cls(many, many, single, single, single)


def _waves(coefficients: Array) -> Waves:
    """Return the complex amplitudes of orders 1 to 3 of harmonic series, shape (shafts, 3)."""
    result: Waves = coefficients[:, 1::2] + 1j * coefficients[:, 2::2]
    return result


def _each(u: Array) -> Array:
    """Return the u of the mean and of each part of the three waves, shape (shafts, 4)."""
    return np.column_stack([u[:, 0], np.sqrt((u[:, 1::2] ** 2 + u[:, 2::2] ** 2) / 2)])


def repeats_of(groups: Sequence[Array]) -> Repeats | None:
    """Return how well fingerprints repeat, None if no shaft was measured more than once.

    Parameters
    ----------
    groups : Sequence[Array]
        Traits of each shaft that was measured again, shape (times, 7) each; see `Fingerprints.traits`.

    Returns
    -------
    Repeats | None
        Pooled standard deviations with their degrees of freedom.
    """
    again = [group for group in groups if len(group) > 1]
    dof = sum(len(group) - 1 for group in again)
    if dof < 1:
        return None
    squares = np.array([((group - group.mean(axis=0)) ** 2).sum(axis=0) for group in again])
    mean_square = np.array([(group[:, 1:] ** 2).mean(axis=0) for group in again])
    variance = squares.sum(axis=0) / dof
    variance[1:] /= 2 - np.pi / 2  # as if there were no waves: from there it converges in a few rounds
    for _ in range(10):
        share = _amplitude_share(np.maximum(mean_square / np.maximum(variance[1:], 1e-300) - 2, 0))
        variance[1:] = (squares[:, 1:] / share).sum(axis=0) / dof
    return Repeats(np.sqrt(variance), dof)


def _amplitude_share(power: Array) -> Array:
    """Return the variance of an amplitude over that of its parts, by the squared amplitude over the latter.

    Close to zero an amplitude scatters by less than its two parts do.

    C. G. Koay, P. J. Basser, Analytically exact correction scheme for signal extraction from noisy magnitude MR
    signals, Journal of Magnetic Resonance 179 (2006) 317-322.
    """
    # Beyond, the share is 1; below, few repeats do not tell a power from none, and it would change little.
    power = np.where(power < 1, 0.0, np.minimum(power, 1e4))
    quarter = power / 4
    return np.asarray(2 + power - np.pi / 8 * ((2 + power) * ive(0, quarter) + power * ive(1, quarter)) ** 2)


def changed_by_use(variance: Array) -> Array:
    """Return variances with the allowance for what use changes.

    Parameters
    ----------
    variance : Array
        Variances of differences, shape (..., 7).

    Returns
    -------
    Array
        Larger variances, same shape.
    """
    return np.asarray(variance + USED**2)


def together(parts: Sequence[Fingerprints]) -> Fingerprints:
    """Return the fingerprints of several groups as one group.

    Parameters
    ----------
    parts : Sequence[Fingerprints]
        Groups, at least one.

    Returns
    -------
    Fingerprints
        All of them in order.
    """
    names = ("log_spine", "waves", "scatter", "stated")
    return replace(parts[0], **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})
