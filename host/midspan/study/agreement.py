"""Do several instruments agree on the same shafts, and if not, which one is off and what could make it so?

Each instrument measures each travelling shaft once or more. An instrument is judged against what the others find, so
one that is far off cannot pull the reference towards itself. Its deviations from them form a pattern over soft and
stiff shafts, and each cause of its own budget has a pattern too: the causes whose pattern is alike are the first to
look at. Nothing is corrected.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from midspan.base.errors import ReadingsError
from midspan.uncertainty.comparison import K_95
from midspan.uncertainty.consensus import Consensus, Results, consensus

Array = NDArray[np.float64]
CHANCE = 0.05  # of calling any instrument off where all are sound
AS_GOOD = 3.84  # a cause within this much of the best in chi-squared explains as well (95 % point, one degree)


@dataclass(frozen=True, eq=False)
class Visit:
    """Results of one instrument under one calibration: the shafts it measured, all with errors in common.

    Parameters
    ----------
    instrument : str
        Name of the gauge or hand bench.
    shafts : tuple of str
        Names of the shafts, one for each result.
    spines_thou : ndarray
        Spines under the reference condition, thou, shape (results,).
    own_u_thou : ndarray
        Standard uncertainties of what is new in each result: scatter, zeros, mounting; thou, shape (results,).
    shares_thou : Mapping of str to ndarray
        What each common cause moves the results by, per standard uncertainty of it, signed, thou, shape (results,).
    """

    instrument: str
    shafts: tuple[str, ...]
    spines_thou: Array
    own_u_thou: Array
    shares_thou: Mapping[str, Array] = field(default_factory=dict)

    @property
    def covariance(self) -> Array:
        """Covariance of the results, thou squared, shape (results, results)."""
        shared = np.array([*self.shares_thou.values()]).reshape(-1, len(self.shafts))
        total: Array = np.diag(self.own_u_thou**2) + shared.T @ shared
        return total


@dataclass(frozen=True)
class Cause:
    """A cause of uncertainty whose error would look like the deviations of an instrument.

    Parameters
    ----------
    name : str
        Its name in the budget.
    sigmas : float
        Size of the error that fits best, in its standard uncertainties; a large one means that its calibration is wrong
        rather than unlucky.
    explains : float
        Part of the deviations' chi-squared that it explains.
    """

    name: str
    sigmas: float
    explains: float


@dataclass(frozen=True, eq=False)
class Standing:
    """An instrument against what the others find.

    Parameters
    ----------
    instrument : str
        Its name.
    shafts : tuple of str
        Shafts that it shares with others.
    deviations_thou : ndarray
        Its result less that of the others for each of them, thou.
    u_deviations_thou : ndarray
        Standard uncertainties of these, thou.
    mean_thou : float
        Mean deviation, thou; not a number if it shares no shaft with any other.
    u_mean_thou : float
        Standard uncertainty of that, thou.
    p : float
        Chance of deviations as large where every budget is right, over all instruments of the comparison.
    causes : tuple of Cause
        Causes of its budget whose pattern fits, best first; empty for an instrument that agrees.
    """

    instrument: str
    shafts: tuple[str, ...]
    deviations_thou: Array
    u_deviations_thou: Array
    mean_thou: float
    u_mean_thou: float
    p: float
    causes: tuple[Cause, ...] = ()

    @property
    def e_n(self) -> float:
        """Mean deviation over its expanded uncertainty (95 %)."""
        return self.mean_thou / (K_95 * self.u_mean_thou)

    @property
    def agrees(self) -> bool:
        """True if its deviations are within what the budgets allow, or nothing could tell."""
        return not self.p < CHANCE


@dataclass(frozen=True, eq=False)
class Intercomparison:
    """A comparison of instruments.

    Parameters
    ----------
    shafts : tuple of str
        The shafts, in the order of the reference values.
    reference : Consensus
        Reference value of each shaft from all instruments.
    standings : tuple of Standing
        Each instrument, in the order of first appearance.
    """

    shafts: tuple[str, ...]
    reference: Consensus
    standings: tuple[Standing, ...]

    @property
    def off(self) -> tuple[Standing, ...]:
        """Instruments that do not agree with the others, the surest first.

        Of two instruments that differ nobody can say which is off, so both are named.
        """
        return tuple(sorted((each for each in self.standings if not each.agrees), key=lambda each: each.p))


def agreement(visits: Sequence[Visit]) -> Intercomparison:
    """Return how the instruments of a comparison stand to each other.

    Parameters
    ----------
    visits : sequence of Visit
        Results of each instrument; an instrument may come more than once, with another calibration.

    Returns
    -------
    Intercomparison
        Reference values and the standing of each instrument.

    Raises
    ------
    ReadingsError
        There are fewer than two instruments (code "one_instrument"), or no shaft was measured by two (code
        "no_common_shaft").

    Examples
    --------
    >>> def of(name, shift, u=0.2):
    ...     spines = np.array([300.0, 500.0, 900.0]) * (1 + shift)
    ...     scale = {"force scale": spines * 4e-4, "zero": np.full(3, 0.1)}
    ...     return Visit(name, ("a", "b", "c"), spines, np.full(3, 0.03), scale)
    >>> found = agreement([of("attic", 1e-4), of("shop", 0.004), of("club", -1e-4)])
    >>> [(each.instrument, each.causes[0].name, round(each.causes[0].sigmas)) for each in found.off]
    [('shop', 'force scale', 10)]
    """
    names = list(dict.fromkeys(visit.instrument for visit in visits))
    if len(names) < 2:
        raise ReadingsError(
            "a comparison needs two instruments or more; measure the same shafts on another one", code="one_instrument"
        )
    shafts = tuple(dict.fromkeys(shaft for visit in visits for shaft in visit.shafts))
    standings = [_standing(name, visits, len(names)) for name in names]
    if all(math.isnan(each.mean_thou) for each in standings):
        raise ReadingsError(
            "no shaft was measured by two instruments; send the same ones round", code="no_common_shaft"
        )
    return Intercomparison(shafts, consensus(_results(visits, shafts)), tuple(standings))


def _results(visits: Sequence[Visit], shafts: Sequence[str]) -> Results:
    """Return all results side by side; different visits share nothing."""
    number = {shaft: i for i, shaft in enumerate(shafts)}
    values = np.concatenate([visit.spines_thou for visit in visits])
    things = np.array([number[shaft] for visit in visits for shaft in visit.shafts])
    covariance, begin = np.zeros((len(values), len(values))), 0
    for visit in visits:
        end = begin + len(visit.shafts)
        covariance[begin:end, begin:end] = visit.covariance
        begin = end
    return Results(values, covariance, things)


def _standing(instrument: str, visits: Sequence[Visit], instruments: int) -> Standing:
    """Return how an instrument stands to the reference values that all others give."""
    own = [visit for visit in visits if visit.instrument == instrument]
    others = [visit for visit in visits if visit.instrument != instrument]
    known = tuple(dict.fromkeys(shaft for visit in others for shaft in visit.shafts))
    shared = tuple(dict.fromkeys(shaft for visit in own for shaft in visit.shafts if shaft in known))
    if not shared:
        nothing = np.empty(0)
        return Standing(instrument, (), nothing, nothing, math.nan, math.nan, math.nan)
    mine, shares = _mean_of_each(own, shared)
    reference = consensus(_results(others, known))
    rows = [known.index(shaft) for shaft in shared]
    off = mine.values - reference.values[rows]
    spread = mine.covariance + reference.covariance[np.ix_(rows, rows)]
    # The plain mean: a weighted mean of results with errors in common may lie outside them (Peelle's puzzle).
    mean, u_mean = float(off.mean()), math.sqrt(float(spread.mean()))
    causes = _causes(off, spread, shares)
    # The mean, and the pattern of each cause, are looked for in every instrument: as many chances to be wrong.
    looks = instruments * (1 + len(causes))
    strongest = max([(mean / u_mean) ** 2, *(cause.explains for cause in causes)])
    p = min(1.0, looks * 2 * float(norm.sf(math.sqrt(strongest))))
    named = tuple(cause for cause in causes if cause.explains > causes[0].explains - AS_GOOD) if p < CHANCE else ()
    return Standing(instrument, shared, off, np.sqrt(np.diag(spread)), mean, u_mean, p, named)


def _mean_of_each(own: Sequence[Visit], shafts: Sequence[str]) -> tuple[Consensus, dict[str, Array]]:
    """Return an instrument's value of each shaft, and what each cause of its newest calibration moves them by."""
    kept = [_only(visit, shafts) for visit in own]
    found = consensus(_results([visit for visit in kept if visit.shafts], shafts), scatter=False)
    newest = kept[-1]
    shares = {
        name: np.array([share[newest.shafts.index(shaft)] if shaft in newest.shafts else 0.0 for shaft in shafts])
        for name, share in newest.shares_thou.items()
    }
    return found, shares


def _only(visit: Visit, shafts: Sequence[str]) -> Visit:
    """Return a visit with some shafts only."""
    rows = [i for i, shaft in enumerate(visit.shafts) if shaft in shafts]
    shares = {name: share[rows] for name, share in visit.shares_thou.items()}
    kept = tuple(visit.shafts[i] for i in rows)
    return Visit(visit.instrument, kept, visit.spines_thou[rows], visit.own_u_thou[rows], shares)


def _causes(off: Array, spread: Array, shares: Mapping[str, Array]) -> list[Cause]:
    """Return the causes with what each explains of the deviations, best first."""
    found = []
    for name, share in shares.items():
        if not share.any():
            continue
        weighed = np.linalg.solve(spread, share)
        size, sums = float(weighed @ off), float(weighed @ share)
        found.append(Cause(name, size / sums, size**2 / sums))
    return sorted(found, key=lambda cause: -cause.explains)
