"""Find measurements that are likely of one shaft, compared within what one gauge repeats under one calibration.

Four traits of a shaft stay when it is put in again, turned or end for end: its spine, how uneven it is, how far it is
bowed, and the angle between its bow and its soft side. Noise of force moves the first three in proportion to the
deflection, so each is taken relative to it, and what a check standard repeats holds for every shaft. Two measurements
are likely of one shaft when they agree within that and hardly any two different shafts of this stock would. U is not
used: it holds the errors common to one calibration, and within U every matched shaft is another's twin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import stdtrit

from midspan.sets.limits import Array

Index = NDArray[np.int64]
MISSED = 0.01  # share of shafts measured twice that fall outside the tolerance
CHANCE = 5e-5  # other shafts expected as near: a twentieth of the promised 1 in 1,000, as a stock lies in clumps
NEIGHBOURS = 20  # to measure the density of the stock around a shaft: enough to count, few enough to lie close
ENOUGH = 6  # shafts; fewer do not span four quantities
COPIES = 5  # most numbers of one shaft that the search allows for
MOSTLY = 0.75  # of the neighbours; if more agree, the gauge cannot tell the shafts of this stock apart
AT_ONCE = 10_000  # shafts a block: their neighbours take less than some 100 MB
BALL = (np.pi**2 / 2) ** 0.25  # side of a cube with the volume of a ball of radius 1 in four dimensions
# An amplitude close to zero scatters by less than its two parts do (Rayleigh's distribution).
OF_PARTS = 1 / np.sqrt(2 - np.pi / 2)


@dataclass(frozen=True)
class Repeats:
    """How well the traits of one shaft repeat when it is measured again.

    Parameters
    ----------
    sd : Array
        Standard deviations of the first three of `traits`, shape (3,).
    dof : int
        Degrees of freedom they rest on.
    """

    sd: Array
    dof: int

    @property
    def factor(self) -> float:
        """Standard deviations by which a trait may differ; more where few repeats are known."""
        return float(stdtrit(self.dof, 1 - MISSED / 8))  # four traits, two sides


@dataclass(frozen=True)
class Likeness:
    """Measurements that are likely of one shaft, and those that cannot be told from others.

    Parameters
    ----------
    pairs : tuple[tuple[int, int], ...]
        Pairs of rows that are likely one shaft, the lower row first.
    unsure : tuple[int, ...]
        Rows with a likely partner, where too many other shafts are as near.
    """

    pairs: tuple[tuple[int, int], ...]
    unsure: tuple[int, ...]


def traits(curve_thou: Array, surface_mm: Array) -> Array:
    """Return the four traits of shafts that do not depend on how they lie in the gauge.

    They are the logarithm of the spine, the twice-a-turn amplitude over the spine (1), the bow over the spine
    (mm/thou), and the angle between bow and soft side, 0 to pi/2, because a shaft end for end is its mirror image.

    Parameters
    ----------
    curve_thou : Array
        Harmonic coefficients of the spine around the shaft, thou, shape (shafts, 7).
    surface_mm : Array
        Harmonic coefficients of the surface, mm, shape (shafts, 7).

    Returns
    -------
    Array
        Traits, shape (shafts, 4).
    """
    spine, uneven, bow = curve_thou[:, 0], _part(curve_thou, 2), _part(surface_mm, 1)
    between = np.angle(uneven * np.conj(bow) ** 2)
    return np.stack([np.log(spine), np.abs(uneven) / spine, np.abs(bow) / spine, np.abs(between) / 2], axis=1)


def _part(coefficients: Array, order: int) -> NDArray[np.complex128]:
    """Return the complex amplitude of one order of a harmonic series, shape (shafts,)."""
    result: NDArray[np.complex128] = coefficients[:, 2 * order - 1] + 1j * coefficients[:, 2 * order]
    return result


def repeats_of(groups: Sequence[Array]) -> Repeats | None:
    """Return how well traits repeat, None if no shaft was measured more than once.

    Parameters
    ----------
    groups : Sequence[Array]
        Traits of each shaft that was measured again, shape (times, 4) each.

    Returns
    -------
    Repeats | None
        Pooled standard deviations with their degrees of freedom.
    """
    dof = sum(len(again) - 1 for again in groups)
    if dof < 1:
        return None
    squares = sum(((again[:, :3] - again[:, :3].mean(axis=0)) ** 2).sum(axis=0) for again in groups)
    sd = np.sqrt(np.asarray(squares) / dof)
    near_nothing = np.concatenate(groups)[:, :3].mean(axis=0) < 3 * sd
    sd[near_nothing] *= OF_PARTS
    return Repeats(np.maximum(sd, np.finfo(float).eps), dof)


def likely_same(found: Array, repeats: Repeats) -> Likeness:
    """Find rows that are likely of one shaft.

    The neighbours of each shaft say how many strangers would by chance be as near as the row that agrees: their number,
    times the share of their volume that is as near. Where that is not small, agreement says nothing.

    Parameters
    ----------
    found : Array
        Traits of all measurements, shape (shafts, 4).
    repeats : Repeats
        How well they repeat.

    Returns
    -------
    Likeness
        Likely pairs, and rows that cannot be told from others.
    """
    if len(found) <= ENOUGH:
        return Likeness((), tuple(range(len(found))))
    alike = _Alike(found, repeats)
    near = alike.neighbours(NEIGHBOURS)
    copies = 1 + alike.compared(near)[0].sum() / len(found)
    if copies - 1 > MOSTLY * near.shape[1]:
        return Likeness((), tuple(range(len(found))))
    if copies >= 1.5:  # a stock measured on many nights: look further, past the copies, to other shafts
        near = alike.neighbours(round(NEIGHBOURS * min(copies, COPIES)))
    agree, distance = alike.compared(near)
    rows, columns = np.nonzero(agree)
    others, apart = near[rows, columns], distance[rows, columns]
    size = alike.room(near)
    strangers = near.shape[1] * np.maximum(_part_of(size[rows], apart), _part_of(size[others], apart))
    told = strangers <= CHANCE
    pairs = {(min(pair), max(pair)) for pair in zip(rows[told].tolist(), others[told].tolist(), strict=True)}
    return Likeness(tuple(sorted(pairs)), tuple(np.unique(rows[~told]).tolist()))


def _part_of(room: Array, apart: Array) -> Array:
    """Return the share of boxes [pairs, 4] that lies within a distance; at most 1 along each axis."""
    result: Array = np.minimum(BALL * apart[:, None] / room, 1.0).prod(axis=1)
    return result


class _Alike:
    """Shafts as points: 1 is the tolerance in each of the first three traits; each angle has its own tolerance."""

    def __init__(self, found: Array, repeats: Repeats) -> None:
        tolerance = repeats.factor * repeats.sd
        self.points = found[:, :3] / (tolerance * np.sqrt(2))
        self.angle = found[:, 3]
        # Noise across an amplitude turns it by noise over amplitude; the soft side comes twice a turn, hence half.
        with np.errstate(divide="ignore"):
            self.u_angle = np.hypot(tolerance[1] / found[:, 1] / 2, tolerance[2] / found[:, 2])
        self.u_angle = np.minimum(self.u_angle, np.pi)

    def neighbours(self, number: int) -> Index:
        """Return this number of nearest others of each shaft by the first three traits, shape (shafts, number)."""
        number = min(number, len(self.points) - 1)
        near = cKDTree(self.points).query(self.points, k=number + 1, p=np.inf)[1]
        others = near != np.arange(len(near))[:, None]
        others[others.all(axis=1), -1] = False  # among equal shafts the search may not return the shaft itself
        result: Index = near[others].reshape(-1, number)
        return result

    def compared(self, near: Index) -> tuple[NDArray[np.bool_], Array]:
        """Return which neighbours agree in all four traits, and their distance in tolerances."""
        away = (self.angle[near] - self.angle[:, None]) / np.hypot(self.u_angle[near], self.u_angle[:, None])
        agree, squares = np.abs(away) <= 1, away**2
        for column in self.points.T:
            away = column[near] - column[:, None]
            agree &= np.abs(away) <= 1
            squares += away**2
        return agree, np.sqrt(squares)

    def room(self, near: Index) -> Array:
        """Return the widths of the box that the neighbours of each shaft fill, shape (shafts, 4)."""
        parts = np.array_split(np.arange(len(near)), 1 + len(near) // AT_ONCE)
        return np.concatenate([self._room(part, near[part]) for part in parts])

    def _room(self, shafts: Index, near: Index) -> Array:
        """Return the widths for one block of shafts."""
        turned = (self.angle[near] - self.angle[shafts, None]) / (np.sqrt(2) * self.u_angle[shafts, None])
        away = np.concatenate([self.points[near] - self.points[shafts, None], turned[..., None]], axis=2)
        away -= away.mean(axis=1, keepdims=True)
        scatter = np.linalg.eigvalsh(away.swapaxes(1, 2) @ away / (near.shape[1] - 1))
        width: Array = np.sqrt(12 * np.maximum(scatter, 1e-12))  # variance of a rectangle: a twelfth of width squared
        return width
