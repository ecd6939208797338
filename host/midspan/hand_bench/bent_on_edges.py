"""Bending of a shaft that lies still on round edges with friction: the exact law, for one shaft or for many at once.

The reference condition has knife edges and no friction. A hand bench comes near it. Its edges have a radius, so the
contact moves around edge and shaft as the shaft bends: the axis of the shaft stays at rho, edge radius plus shaft
radius, from the edge's centre of curvature. At a slope theta the half span is shorter by rho sin theta, and the axis is
lower by rho (1 - cos theta). Under a growing load the shaft slides inward over its edges, and friction pulls it
outward, which makes it stiffer. For small deflections d on a span L their effects on d are -13.5 (rho / L) (d / L) and
-2.4 mu d / L.

With unit normal reaction and unit EI the turning angle psi from the support tangent obeys
psi'^2 = 2 (sin psi + mu (1 - cos psi)). The length unit is then sqrt(EI / N) for a normal reaction N.

>>> knife, rounded = Edges(711.2), Edges(711.2, rolling_mm=6.0)
>>> ei = knife.stiffness((0.0, 8.629852), 12.7)
>>> [round(float(edges.deflection_mm(8.629852, ei)), 3) for edges in (knife, rounded)]
[12.7, 12.674]
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.base.errors import ConversionError
from midspan.measurement.elastica import LARGEST_RATIO, NO_STIFFNESS, NOT_RISING, OUT_OF_RANGE

Array = NDArray[np.float64]
Value = Array | float
STEEPEST_RAD = 0.5  # slope at the edges; a shaft that sags by a tenth of the span has 0.3
STEPS = 40
UNLOADED_N = 1e-100  # in place of no load, at which the law would divide by the slope of 0
SETTLED = 1e-12  # relative change of a slope: a thousandth of a nanometre of sag
_NODE, _WEIGHT = np.polynomial.legendre.leggauss(8)
ROOT_OF_TURN = (_NODE + 1) / 2
PART = ROOT_OF_TURN * _WEIGHT / 2  # of the integral along half a shaft


@dataclass(frozen=True)
class Edges:
    """Two edges that carry a shaft; the shapes of the values broadcast.

    Parameters
    ----------
    span_mm : ndarray or float
        Distance between the edges, mm.
    rolling_mm : ndarray or float
        Edge radius plus shaft radius, mm; 0 for knife edges.
    friction : ndarray or float
        Force along the shaft over the normal reaction; above 0 if it pulls outward, as while the load grows.
    """

    span_mm: Value
    rolling_mm: Value = 0.0
    friction: Value = 0.0

    def deflection_mm(self, load_n: Value, stiffness_n_mm2: Value) -> Array:
        """Return how much lower the axis is at midspan under a load.

        Parameters
        ----------
        load_n : ndarray or float
            Load at midspan, N.
        stiffness_n_mm2 : ndarray or float
            Bending stiffness EI, N mm2.

        Returns
        -------
        ndarray
            Deflection, mm.

        Raises
        ------
        ConversionError
            The shaft bends by more than a tenth of the span.
        """
        slope = self._slope_at(np.maximum(load_n, UNLOADED_N) / np.asarray(stiffness_n_mm2, float))
        return self._in_range(self._sag_mm(slope))

    def stiffness(self, load_n: tuple[Value, Value], travel_mm: Value) -> Array:
        """Return the bending stiffness of a shaft from two loads and the travel between them.

        Parameters
        ----------
        load_n : tuple of ndarray or float
            First and second load, N; a first load of 0 means travel from the unloaded shaft.
        travel_mm : ndarray or float
            Deflection at the second load less deflection at the first, mm.

        Returns
        -------
        ndarray
            Bending stiffness EI, N mm2.

        Raises
        ------
        ConversionError
            The load does not rise with the travel, or the shaft bends by more than a tenth of the span.
        """
        low, high = (np.asarray(load, float) for load in load_n)
        has_first = bool(np.any(low > 0))
        travel = np.asarray(travel_mm, float)
        if not np.all(np.isfinite(low) & np.isfinite(high) & (high > np.maximum(low, 0.0)) & (travel > 0)):
            raise ConversionError(NOT_RISING)

        def excess(slope: Array) -> Array:
            """Return how much more than the travel lies between the loads at slopes under the second load, mm."""
            light = np.maximum(low, UNLOADED_N) / high * self._load_per_stiffness(slope) if has_first else None
            first = 0.0 if light is None else self._sag_mm(self._slope_at(light))
            more: Array = self._sag_mm(slope) - first - travel
            return more

        slope = _solved(excess, 3 * self._in_range(travel) * high / (high - low) / self.span_mm)
        self._in_range(self._sag_mm(slope))
        stiffness: Array = high / self._load_per_stiffness(slope)
        return stiffness

    def _slope_at(self, load_per_stiffness: Array) -> Array:
        """Return the slope at the edges under midspan loads over EI."""
        guess: Array = load_per_stiffness * self.span_mm**2 / 16  # the handbook's beam
        return _solved(lambda slope: self._load_per_stiffness(slope) - load_per_stiffness, guess)

    def _in_range(self, sag_mm: Array) -> Array:
        """Return deflections; ConversionError if they are beyond a tenth of the span, or not numbers."""
        if not np.all(np.abs(sag_mm) <= LARGEST_RATIO * self.span_mm):
            raise ConversionError(OUT_OF_RANGE)
        return sag_mm

    def _sag_mm(self, slope_rad: Array) -> Array:
        """Return the deflection at slopes at the edges, mm."""
        half, drop = _half_span_and_drop(slope_rad, np.asarray(self.friction))
        sag: Array = self._reach_mm(slope_rad) * drop / half + self.rolling_mm * (1 - np.cos(slope_rad))
        return sag

    def _load_per_stiffness(self, slope_rad: Array) -> Array:
        """Return the midspan load over EI at slopes at the edges, 1/mm2."""
        friction = np.asarray(self.friction)
        half, _ = _half_span_and_drop(slope_rad, friction)
        upright = np.cos(slope_rad) + friction * np.sin(slope_rad)
        load: Array = 2 * upright * (half / self._reach_mm(slope_rad)) ** 2
        return load

    def _reach_mm(self, slope_rad: Array) -> Array:
        """Return the horizontal distance between midspan and the axis over an edge, mm."""
        return np.asarray(self.span_mm / 2 - self.rolling_mm * np.sin(slope_rad))


def _half_span_and_drop(slope_rad: Array, friction: Array) -> tuple[Array, Array]:
    """Return horizontal half length and drop of half a shaft, in units of sqrt(EI / N).

    Substituting psi = slope t^2 removes the root from the integrand, and Gauss-Legendre quadrature converges.
    """
    turn = slope_rad[..., None] * ROOT_OF_TURN**2
    sine, cosine = np.sin(turn), np.cos(turn)
    bend = np.sqrt(2 * (sine + friction[..., None] * (1 - cosine)))
    each = 2 * slope_rad[..., None] / bend
    along, across = (each * cosine) @ PART, (each * sine) @ PART
    sine, cosine = np.sin(slope_rad), np.cos(slope_rad)
    return along * cosine + across * sine, along * sine - across * cosine


def _solved(excess: Callable[[Array], Array], guess_rad: Array) -> Array:
    """Return the slopes at which a rising function is 0, by the secant method from near the handbook's beam."""
    new: Array = np.minimum(guess_rad, STEEPEST_RAD)
    old = new * (1 - 1e-3)
    was = excess(old)
    for _ in range(STEPS):
        found = excess(new)
        change = np.divide(found * (new - old), found - was, out=np.zeros_like(found), where=found != was)
        old, was = new, found
        new = np.clip(new - change, 0.2 * new, np.minimum(3 * new, STEEPEST_RAD))
        if np.all(np.abs(new - old) <= SETTLED * np.abs(new)):
            return new
    raise ConversionError(NO_STIFFNESS)
