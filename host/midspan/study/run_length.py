"""Average run length of a control chart: readings until it signals, of a good gauge and after a lasting shift.

A chart that seldom accuses a good gauge finds a shift late, and the other way round. Both are computed here by Markov
chains, for independent normal readings about a known centre with a known sigma (D. Brook and D. A. Evans, Biometrika 59
(1972) 539-549; C. W. Champ and W. H. Woodall, Technometrics 29 (1987) 393-399). Limits from a few readings are widened
so that a reading of a good gauge signals as often as here; with them a shift is found later.

>>> [round(run_length(shift)) for shift in (0.0, 1.0, 2.0)]  # single readings at three sigma
[370, 44, 6]
>>> [round(run_length(shift, weight=0.2)) for shift in (0.0, 1.0, 2.0)]  # with the weighted mean
[244, 10, 3]
"""

import math
from collections.abc import Collection
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, eye_array
from scipy.sparse.linalg import spsolve
from scipy.special import ndtr

Array = NDArray[np.float64]
CELLS = 401  # of the weighted mean between its limits; twice as many change a run length by less than 0.01 %
# Sides of the zones of a reading, in sigmas.
EDGES = (-math.inf, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, math.inf)
ZONES = (-4, -3, -2, -1, 1, 2, 3, 4)
TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW = (
    "2 of 3 beyond two sigma on one side", "4 of 5 beyond one sigma on one side", "8 in a row on one side",
)  # fmt: skip
State = tuple[int, int, int, int, int]


@cache
def run_length(
    shift_sigmas: float, *, limit: float = 3.0, weight: float | None = None, mean_limit: float = 3.0
) -> float:
    """Return the average number of readings until one lies beyond its limits, or their weighted mean does.

    Parameters
    ----------
    shift_sigmas : float
        Lasting shift of the mean from the first reading on, in sigmas; 0 for a good gauge.
    limit : float
        Limit of a single reading, in sigmas; infinite for none.
    weight : float | None
        Weight of the newest reading in the exponentially weighted mean; None for single readings alone.
    mean_limit : float
        Limit of the weighted mean, in standard deviations of its settled value.

    Returns
    -------
    float
        Readings, the signalling one included.

    References
    ----------
    D. Brook and D. A. Evans, Biometrika 59 (1972) 539-549; J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990)
    1-12.

    Examples
    --------
    >>> round(run_length(1.0, limit=math.inf, weight=0.25), 3)
    11.154
    """
    if weight is None:
        return 1 / float(ndtr(shift_sigmas - limit) + ndtr(-shift_sigmas - limit))
    edge = mean_limit * math.sqrt(weight / (2 - weight))
    borders = np.linspace(-edge, edge, CELLS + 1)
    middles = (borders[:-1] + borders[1:]) / 2
    # The reading that takes the mean from the middle of a cell to each border.
    needed = (borders - (1 - weight) * middles[:, None]) / weight
    reached = ndtr(np.clip(needed, -limit, limit) - shift_sigmas)
    stays = np.diff(reached, axis=1)
    return float(np.linalg.solve(np.eye(CELLS) - stays, np.ones(CELLS))[CELLS // 2])


@cache
def rules_run_length(shift_sigmas: float, rules: frozenset[str]) -> float:
    """Return the average number of readings until one is beyond three sigma, or completes one of these run rules.

    Parameters
    ----------
    shift_sigmas : float
        Lasting shift of the mean from the first reading on, in sigmas; 0 for a good gauge.
    rules : frozenset[str]
        Names of run rules of the Western Electric handbook.

    Returns
    -------
    float
        Readings, the signalling one included.

    References
    ----------
    C. W. Champ and W. H. Woodall, Technometrics 29 (1987) 393-399.

    Examples
    --------
    >>> round(rules_run_length(0.0, frozenset({TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW})), 2)
    91.75
    """
    chance = np.diff(ndtr(np.array(EDGES) - shift_sigmas))
    numbers: dict[State, int] = {(0, 0, 0, 0, 0): 0}
    steps: list[tuple[int, int, float]] = []
    waiting = list(numbers)
    while waiting:
        state = waiting.pop()
        for zone, probability in zip(ZONES, chance, strict=True):
            after = _after(state, zone, rules)
            if after is None:
                continue
            if after not in numbers:
                numbers[after] = len(numbers)
                waiting.append(after)
            steps.append((numbers[state], numbers[after], float(probability)))
    at, to, share = zip(*steps, strict=True)
    size = len(numbers)
    stays = coo_array((share, (at, to)), shape=(size, size)).tocsc()
    return float(spsolve((eye_array(size) - stays).tocsc(), np.ones(size))[0])


def _after(state: State, zone: int, rules: Collection[str]) -> State | None:
    """Return the state after a reading in a zone, None if the chart signals.

    A state is the zones of the last four readings, as far as the rules look at them, and the length of the run on one
    side, below 0 on the lower side.
    """
    *earlier, run = state
    side = 1 if zone > 0 else -1
    run = run + side if run * side > 0 else side
    beyond = [side * past for past in (zone, *earlier)]
    if (
        beyond[0] == 4
        or (TWO_OF_THREE in rules and beyond[0] >= 3 and sum(past >= 3 for past in beyond[:3]) >= 2)
        or (FOUR_OF_FIVE in rules and beyond[0] >= 2 and sum(past >= 2 for past in beyond) >= 4)
        or (EIGHT_IN_A_ROW in rules and abs(run) == 8)
    ):
        return None
    newest, second, third = (past if abs(past) >= 2 else 0 for past in (zone, *earlier[:2]))
    fourth = earlier[2]
    # Only the last two readings are asked if they lie beyond two sigma.
    third, fourth = (int(math.copysign(2, past)) if past else 0 for past in (third, fourth))
    return newest, second, third, fourth, run if EIGHT_IN_A_ROW in rules else side
