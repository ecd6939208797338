"""Name a measured shaft: the probability of each known shaft, and that it is none of these.

Bayes' rule over shafts that are all equally likely beforehand, and the chance that the shaft was never measured, which
is stated. What a known shaft would show again comes from its result: under the same calibration within what mountings
repeat, elsewhere within the U that both results state. An error that one gauge makes on all its shafts is the same
whichever of them lies there; for a single question it adds to the variance of each difference, and nothing else.
What an unknown shaft would show is the density of the stock, and of arrow shafts at large where the stock is small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import logsumexp

from midspan.sets.fingerprint import Fingerprints, Repeats, changed_by_use
from midspan.sets.likeness import Index, Nearby, compared, neighbours, search_points
from midspan.sets.limits import Array

UNKNOWN_BEFOREHAND = 0.5  # chance that a shaft was never measured, before it is measured: no opinion
SURE = 0.985  # probability from which a shaft, or that it is none of these, is said without reserve
WORTH_A_LINE = 0.005  # probability from which a shaft is listed
CANDIDATES = 64  # nearest shafts that are compared with all their waves
_AT_ONCE = 2000  # shafts asked about in a block: some 100 MB


class Naming(StrEnum):
    """How sure it is which shaft was measured."""

    SURE = "sure"
    NOT_SURE = "not sure"
    NONE = "none of these"


@dataclass(frozen=True)
class Candidate:
    """A known shaft that may be the measured one.

    Parameters
    ----------
    shaft : int
        Its number.
    probability : float
        Probability that it was measured, 0 to 1.
    """

    shaft: int
    probability: float


@dataclass(frozen=True)
class Recognition:
    """Which shaft was measured.

    Parameters
    ----------
    candidates : tuple[Candidate, ...]
        Known shafts that are worth a line, the likeliest first.
    none : float
        Probability that it is none of the known shafts, 0 to 1.
    """

    candidates: tuple[Candidate, ...]
    none: float

    @property
    def naming(self) -> Naming:
        """Certainty of the answer: sure of a shaft, not sure, or none."""
        if self.none >= SURE:
            return Naming.NONE
        return Naming.SURE if self.candidates and self.candidates[0].probability >= SURE else Naming.NOT_SURE


@dataclass(frozen=True)
class KnownShafts:
    """Known shafts that one gauge measured under one calibration.

    Parameters
    ----------
    shafts : Sequence[int]
        Their numbers.
    prints : Fingerprints
        Their fingerprints in that order.
    repeats : Repeats | None
        How well that gauge repeats, None for the assumption.
    is_same : bool
        True if the shaft asked about was measured under this calibration too.
    """

    shafts: Sequence[int]
    prints: Fingerprints
    repeats: Repeats | None
    is_same: bool

    @property
    def knows(self) -> Array:
        """True for the quantities that all these results know, shape (7,)."""
        return np.asarray(np.isfinite(self.prints.scatter).all(axis=0))

    def variances(self, asked: Fingerprints, repeats: Repeats | None, used: bool) -> tuple[Array, Array]:
        """Return the variances of the shafts asked about and of these in a comparison, shape (shafts, 7) each.

        Parameters
        ----------
        asked : Fingerprints
            Shafts asked about.
        repeats : Repeats | None
            How well their gauge repeats.
        used : bool
            True if shafts may have changed with use.

        Returns
        -------
        tuple[Array, Array]
            Variances; infinite where either side does not know a quantity.
        """
        if self.is_same:
            of_asked, own = asked.within(self.repeats), self.prints.within(self.repeats)
        else:
            of_asked, own = asked.between(repeats), self.prints.between(self.repeats)
        return changed_by_use(of_asked) if used else of_asked, own


def recognise(
    asked: Fingerprints,
    known: Sequence[KnownShafts],
    repeats: Repeats | None = None,
    used: bool = False,
    unknown: float = UNKNOWN_BEFOREHAND,
) -> list[Recognition]:
    """Return which known shaft each of several measured ones is; each is asked about for itself.

    Parameters
    ----------
    asked : Fingerprints
        Shafts asked about, all measured under one calibration.
    known : Sequence[KnownShafts]
        Known shafts by calibration, each shaft once.
    repeats : Repeats | None
        How well the gauge of those asked about repeats, None for the assumption.
    used : bool
        True to allow for what use may have changed.
    unknown : float
        Probability beforehand that a shaft is none of the known, above 0 and below 1.

    Returns
    -------
    list[Recognition]
        An answer for each shaft asked about.

    References
    ----------
    C. G. G. Aitken, D. Lucy, Evaluation of trace evidence in the form of multivariate data, Applied Statistics 53
    (2004) 109-122: likelihood ratio with a normal density within and a kernel density between sources.
    """
    groups = [group for group in known if len(group.shafts)]
    if not groups:
        return [Recognition((), 1.0)] * len(asked)
    found: list[Recognition] = []
    for start in range(0, len(asked), _AT_ONCE):
        block = asked.of(range(start, min(start + _AT_ONCE, len(asked))))
        found += _answers(block, groups, repeats, used, unknown)
    return found


def _answers(
    asked: Fingerprints, groups: list[KnownShafts], repeats: Repeats | None, used: bool, unknown: float
) -> list[Recognition]:
    """Return the answers for one block of shafts."""
    number = sum(len(group.shafts) for group in groups)
    shafts, ratios = [], []
    for group in groups:
        compared_with = _stock_of(group, groups)
        near = _nearest(asked, group, group.variances(asked, repeats, used))
        if compared_with is group:
            log_stranger = near.log_stranger
        else:
            of_asked, own = compared_with.variances(asked, repeats, used)
            masked = np.where(group.knows, of_asked, np.inf)
            log_stranger = _nearest(asked, compared_with, (masked, own)).log_stranger
        rows, log_ratio = near.rows, near.log_same - log_stranger[:, None]
        shafts.append(np.asarray(group.shafts)[rows])
        ratios.append(log_ratio)
    log_each = np.concatenate(ratios, axis=1) + np.log((1 - unknown) / number)
    total = np.logaddexp(logsumexp(log_each, axis=1), np.log(unknown))
    each, none = np.exp(log_each - total[:, None]), np.exp(np.log(unknown) - total)
    return [_recognition(*row) for row in zip(np.concatenate(shafts, axis=1), each, none.tolist(), strict=True)]


def _stock_of(group: KnownShafts, groups: list[KnownShafts]) -> KnownShafts:
    """Return the largest group that knows what a group knows, from which the density of shafts is taken."""
    return max((other for other in groups if (other.knows >= group.knows).all()), key=lambda other: len(other.shafts))


def _nearest(asked: Fingerprints, group: KnownShafts, variances: tuple[Array, Array]) -> Nearby:
    """Return how the shafts asked about compare with the nearest of a group."""
    middle = np.sqrt(np.median(variances[0], axis=0) + np.median(variances[1], axis=0))
    points, of_asked = (search_points(prints, middle) for prints in (group.prints, asked))
    near = neighbours(points, of_asked, min(CANDIDATES, len(points)))
    return compared(asked, group.prints, near, variances)


def _recognition(shafts: Index, probability: Array, none: float) -> Recognition:
    """Return the answer for one shaft."""
    likely = np.argsort(-probability, kind="stable")
    rows = [(int(shafts[i]), float(probability[i])) for i in likely.tolist() if probability[i] >= WORTH_A_LINE]
    return Recognition(tuple(Candidate(*row) for row in rows), none)
