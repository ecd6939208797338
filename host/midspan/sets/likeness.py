"""Which measurements are likely of one shaft: compared within what one gauge repeats under one calibration.

A shaft is known by four things that stay when it is put in again, turned or end for end: its spine, how uneven it is,
how far it is bowed, and the angle between its bow and its soft side. Noise of force moves the first three in
proportion to the deflection, so each is taken relative to it, and what a check standard repeats holds for every shaft.
Two shafts are likely one when they agree within that and hardly any two different ones of this stock would. U has no
say: it holds what one calibration has wrong alike for all, and within it every matched shaft is another's twin.
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
MISSED = 0.01  # share of shafts measured twice that do not agree within the tolerance
CHANCE = 5e-5  # strangers expected as near: a twentieth of the promised 1 in 1,000, for stocks that lie in clumps
NEIGHBOURS = 20  # that tell how dense the stock is around a shaft: enough to count, few enough to be like it
ENOUGH = 6  # others: fewer do not span four quantities
COPIES = 5  # times that a shaft may stand there before nobody tells
MOSTLY = 0.75  # of the neighbours: where so many agree, the gauge parts none of this stock
AT_ONCE = 10_000  # shafts: what is held of their neighbours stays below some 100 MB
BALL = (np.pi**2 / 2) ** 0.25  # side of a cube as large as a ball of radius 1 in four dimensions
# An amplitude near nothing scatters by less than its two parts do (Rayleigh's distribution).
OF_PARTS = 1 / np.sqrt(2 - np.pi / 2)


@dataclass(frozen=True)
class Repeats:
    """Standard deviations of what `traits` gives of one shaft measured again and again, with degrees of freedom."""

    sd: Array
    dof: int

    @property
    def factor(self) -> float:
        """How many standard deviations a difference may have: wider where few repeats are known."""
        return float(stdtrit(self.dof, 1 - MISSED / 8))  # four traits, two sides


@dataclass(frozen=True)
class Likeness:
    """Pairs of measurements that are likely of one shaft, and those of which nobody can tell: too many are alike."""

    pairs: tuple[tuple[int, int], ...]
    unsure: tuple[int, ...]


def traits(curve_thou: Array, surface_mm: Array) -> Array:
    """What stays of shafts however they lie [shafts, 4], from the coefficients of curve and surface [shafts, 7].

    The logarithm of the spine, amplitude twice a turn and bow over the spine (1 and mm/thou), and the angle between bow
    and soft side in radians, 0 to pi/2: a shaft end for end is its mirror image.
    """
    spine, uneven, bow = curve_thou[:, 0], _part(curve_thou, 2), _part(surface_mm, 1)
    between = np.angle(uneven * np.conj(bow) ** 2)
    return np.stack([np.log(spine), np.abs(uneven) / spine, np.abs(bow) / spine, np.abs(between) / 2], axis=1)


def _part(coefficients: Array, order: int) -> NDArray[np.complex128]:
    result: NDArray[np.complex128] = coefficients[:, 2 * order - 1] + 1j * coefficients[:, 2 * order]
    return result


def repeats_of(groups: Sequence[Array]) -> Repeats | None:
    """What is repeated, from the traits of shafts measured more than once, each [times, 4]; None without any."""
    dof = sum(len(one) - 1 for one in groups)
    if dof < 1:
        return None
    squares = sum(((one[:, :3] - one[:, :3].mean(axis=0)) ** 2).sum(axis=0) for one in groups)
    sd = np.sqrt(np.asarray(squares) / dof)
    near_nothing = np.concatenate(groups)[:, :3].mean(axis=0) < 3 * sd
    sd[near_nothing] *= OF_PARTS
    return Repeats(np.maximum(sd, np.finfo(float).eps), dof)


def likely_same(found: Array, repeats: Repeats) -> Likeness:
    """Which of the traits [shafts, 4] are likely of one shaft.

    Around each shaft its neighbours tell how many strangers would by chance be as near to it as the one that agrees: as
    many as they are, times the part of their room that is as near. Where that is not small, agreement says nothing.
    """
    if len(found) <= ENOUGH:
        return Likeness((), tuple(range(len(found))))
    alike = _Alike(found, repeats)
    near = alike.neighbours(NEIGHBOURS)
    copies = 1 + alike.compared(near)[0].sum() / len(found)
    if copies - 1 > MOSTLY * near.shape[1]:
        return Likeness((), tuple(range(len(found))))
    if copies >= 1.5:  # a stock measured on many nights: neighbours are others, not copies
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
    """The part of rooms [pairs, 4] that is at most so far away; what is narrower cannot part anything."""
    result: Array = np.minimum(BALL * apart[:, None] / room, 1.0).prod(axis=1)
    return result


class _Alike:
    """Shafts as points, a tolerance being 1 in each of the first three traits; the angle has one of its own a shaft."""

    def __init__(self, found: Array, repeats: Repeats) -> None:
        tolerance = repeats.factor * repeats.sd
        self.points = found[:, :3] / (tolerance * np.sqrt(2))
        self.angle = found[:, 3]
        # Across, a part of noise turns an amplitude by itself over the amplitude; a soft side comes twice a turn.
        with np.errstate(divide="ignore"):
            self.u_angle = np.hypot(tolerance[1] / found[:, 1] / 2, tolerance[2] / found[:, 2])
        self.u_angle = np.minimum(self.u_angle, np.pi)

    def neighbours(self, number: int) -> Index:
        """So many nearest others of each shaft [shafts, number], by the first three traits."""
        number = min(number, len(self.points) - 1)
        near = cKDTree(self.points).query(self.points, k=number + 1, p=np.inf)[1]
        others = near != np.arange(len(near))[:, None]
        others[others.all(axis=1), -1] = False  # among equals a shaft may not be the nearest to itself
        result: Index = near[others].reshape(-1, number)
        return result

    def compared(self, near: Index) -> tuple[NDArray[np.bool_], Array]:
        """Which neighbours agree with each shaft in all four traits, and how far from it each is, in tolerances."""
        away = (self.angle[near] - self.angle[:, None]) / np.hypot(self.u_angle[near], self.u_angle[:, None])
        agree, squares = np.abs(away) <= 1, away**2
        for column in self.points.T:
            away = column[near] - column[:, None]
            agree &= np.abs(away) <= 1
            squares += away**2
        return agree, np.sqrt(squares)

    def room(self, near: Index) -> Array:
        """How wide the neighbours of each shaft lie, [shafts, 4], along the axes of their scatter."""
        parts = np.array_split(np.arange(len(near)), 1 + len(near) // AT_ONCE)
        return np.concatenate([self._room(part, near[part]) for part in parts])

    def _room(self, shafts: Index, near: Index) -> Array:
        turned = (self.angle[near] - self.angle[shafts, None]) / (np.sqrt(2) * self.u_angle[shafts, None])
        away = np.concatenate([self.points[near] - self.points[shafts, None], turned[..., None]], axis=2)
        away -= away.mean(axis=1, keepdims=True)
        scatter = np.linalg.eigvalsh(away.swapaxes(1, 2) @ away / (near.shape[1] - 1))
        width: Array = np.sqrt(12 * np.maximum(scatter, 1e-12))  # an even box's variance: a twelfth
        return width
