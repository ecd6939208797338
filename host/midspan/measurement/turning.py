"""Fits of shafts that turn, each with what its own readings ask for: more orders, or slip between the depths undone.

Shafts whose readings ask for the same are fitted together. Most ask for nothing more than the harmonics to order 3.
"""

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from midspan.measurement.calibrated_columns import CalibratedReadings, with_shared_noise
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import readings_alike, unfiltered
from midspan.measurement.depth_consistency import joined, skidded
from midspan.measurement.harmonic_fit import fit_more_orders, fit_turns, supports_more_orders
from midspan.measurement.harmonics import COLUMNS, Array, HarmonicFit, Mask, Turns, rows_of
from midspan.measurement.shared_unknowns import Shared, added, expected_scatter_n, turned_rad, with_shared_unknowns
from midspan.measurement.turning_residual import Residual, residual_of, shows_more_orders, unfitted_n

# An angle that is undone in the steps themselves, rad, two degrees: what is smaller is linear in the fit.
LEAST_UNDONE_RAD = 0.04
SLIP_SIGMAS = 4.0
MOST_EXTRA = 6.0  # times the scatter: rollers and drift that make more disturbed the first fit


@dataclass(frozen=True)
class TurnedShafts:
    """Fits of some shafts of a batch.

    Parameters
    ----------
    rows : ndarray of int
        Their numbers in the batch, shape (R,).
    forces : CalibratedReadings
        Their readings.
    fit : HarmonicFit
        Harmonics at the depths.
    shared : Shared
        What the readings have in common beyond the harmonics.
    residual : Residual
        What the harmonics to which the shared unknowns were added leave of the readings.
    apart_rad : ndarray
        How far the shaft lies from where an even turning would have taken it, rad, shape (R,); 0 where noise explains
        it.
    expected_scatter_n : ndarray
        Scatter to expect beside that of the cell at rest, N, shape (R,): by uneven steps, and by unround rollers that
        were not looked for.
    """

    rows: NDArray[np.int64]
    forces: CalibratedReadings
    fit: HarmonicFit
    shared: Shared
    residual: Residual
    apart_rad: Array
    expected_scatter_n: Array


def turned(forces: CalibratedReadings, cal: Calibration) -> Iterator[TurnedShafts]:
    """Yield the fits of all shafts of a batch, those fitted alike together.

    Parameters
    ----------
    forces : CalibratedReadings
        Readings of S shafts.
    cal : Calibration
        Rollers of the gauge.

    Yields
    ------
    TurnedShafts
        Fits of some of the shafts; all of them together have each shaft once.

    Raises
    ------
    ConversionError
        The angles of the readings do not go evenly around a shaft.
    """
    fit = fit_turns(forces.turns, forces.nominal_steps, forces.u_relative_nominal)
    first = _Attempt(forces, fit, cal)
    more = shows_more_orders(first.residual, fit, first.alike, forces.filtering)
    # Unround rollers hide small waves; these are not fitted, but they may be there.
    higher_n = unfitted_n(first.cleaned(), first.fit, first.cleaned_alike, forces.filtering)
    first.fit = replace(first.fit, higher_n=higher_n)
    some = np.flatnonzero(more)
    if some.size:
        more[some] = supports_more_orders(rows_of(forces.turns, some), rows_of(fit, some))
    yield from _finished(first, np.arange(len(more)), ~more)
    uneven = np.flatnonzero(more)
    if uneven.size:
        there = rows_of(forces, uneven)
        fit = fit_more_orders(there.turns, rows_of(fit, uneven), there.nominal_steps, there.u_relative_nominal)
        yield from _finished(_Attempt(there, fit, cal), uneven, np.ones(uneven.size, bool))


def _finished(first: "_Attempt", rows: NDArray[np.int64], wanted: Mask) -> Iterator[TurnedShafts]:
    """Yield the fits of the shafts wanted, after another fit without large unknowns where there are any."""
    large = first.large()
    plain, again = np.flatnonzero(wanted & ~large), np.flatnonzero(wanted & large)
    if plain.size == len(rows):
        yield first.done(rows)
    elif plain.size:
        yield first.of(plain).done(rows[plain])
    if not again.size:
        return
    shared = rows_of(first.shared, again)
    even = _evened(rows_of(first.given, again), shared, first.turned_rad[again])
    if first.begun.coefficients_n.shape[-1] == COLUMNS:
        fit = fit_turns(even.turns, even.nominal_steps, even.u_relative_nominal)
    else:
        begun = rows_of(first.begun, again)
        fit = fit_more_orders(even.turns, begun, even.nominal_steps, even.u_relative_nominal)
    second = _Attempt(even, fit, first.cal)
    second.fit = replace(second.fit, higher_n=rows_of(first.fit, again).higher_n)
    yield second.done(rows[again], shared)


class _Attempt:
    """A fit with its residuals and further unknowns, before the depths are compared."""

    def __init__(self, forces: CalibratedReadings, fit: HarmonicFit, cal: Calibration) -> None:
        self.given, self.begun, self.cal = forces, fit, cal
        self.residual = residual_of(forces.turns, fit)
        self.alike = readings_alike(self.residual.off_n, self.residual.kept > 0, forces.filtering)
        self.fit, self.shared, self.cleaned_alike = with_shared_unknowns(fit, self.residual, forces, self.alike, cal)
        self.turned_rad = turned_rad(fit, self.residual, forces)

    def of(self, index: NDArray[np.int64]) -> "_Attempt":
        """Return the attempt for some of its shafts."""
        some = copy(self)
        some.given, some.begun, some.fit = (rows_of(part, index) for part in (self.given, self.begun, self.fit))
        some.shared, some.residual = rows_of(self.shared, index), rows_of(self.residual, index)
        some.alike, some.cleaned_alike = self.alike[index], self.cleaned_alike[index]
        some.turned_rad = self.turned_rad[index]
        return some

    def cleaned(self) -> Residual:
        """Return what is left of the readings without drift and rollers."""
        _, left = self.residual.projected(self.shared.extra_n[:, :, None, :].copy())  # which is done in place
        return replace(self.residual, off_n=self.residual.off_n - left[:, :, 0])

    def large(self) -> Mask:
        """Return True for the shafts whose unknowns are larger than the fit is linear in."""
        slip, far = np.abs(self.shared.slip), np.abs(self.turned_rad).max(axis=1)
        slips = (slip > SLIP_SIGMAS * self.shared.u_slip) & (slip * far > LEAST_UNDONE_RAD)
        square = (self.shared.extra_n**2 * self.residual.kept).sum(axis=-1) / self.fit.used
        result: Mask = slips | (square > (MOST_EXTRA * self.fit.scatter_n) ** 2).any(axis=1)
        return result

    def done(self, rows: NDArray[np.int64], undone: Shared | None = None) -> TurnedShafts:
        """Return the fit with what its depths have in common; `undone` was taken out of the readings before."""
        forces = with_shared_noise(self.given, self.cleaned_alike)
        fit, apart, slipped = joined(unfiltered(self.fit, forces.filtering, self.cleaned_alike), forces)
        fit = skidded(fit, np.hypot(self.shared.skid_rad, apart[:, None]))
        shared = self.shared if undone is None else added(undone, self.shared)
        expected = expected_scatter_n(self.fit, self.residual, forces, self.cal)
        return TurnedShafts(rows, forces, fit, shared, self.residual, np.where(slipped, apart, 0.0), expected)


def _evened(forces: CalibratedReadings, shared: Shared, turned_rad: Array) -> CalibratedReadings:
    """Return readings as those of a shaft that slips alike at all depths, without drift and on round rollers.

    The steps of the light depth shrink by the slip, and all later ones come earlier by what the shaft then lacks.
    """
    steps, valid = forces.turns.steps, forces.turns.valid
    per_rad = forces.nominal_steps / (2 * np.pi)
    lacking = shared.slip[:, None] * turned_rad * per_rad[:, None]
    middle = np.where(valid, steps, 0.0).sum(axis=-1) / valid.sum(axis=-1)
    within = (steps - middle[..., None]) * (shared.slip[:, None] * np.array([1.0, 0.0, 1.0]))[..., None]
    evened = np.where(valid, steps - lacking[..., None] - within, 0.0)
    return replace(forces, turns=Turns(evened, forces.turns.force_n - shared.extra_n, valid))
