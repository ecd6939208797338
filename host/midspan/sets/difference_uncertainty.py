"""Uncertainty of the differences between the shafts of a set.

An error of one gauge under one calibration is common to all its shafts: a force scale that is off shifts every spine of
a set by nearly the same, which does not make the set uneven. It enters a difference only with the difference of the two
sensitivities (JCGM 100:2008, 5.2.2). Scatter, zeros and creep are new for each shaft and enter in full. So do the
causes that differ between shafts of unlike kinds: how far the wall gives, the radius that rolls on the rims, and the
friction along the shaft, which goes with its surface. Shafts of one lot share most of these, so this errs on the safe
side. The screw's error repeats every turn: two shafts share it as far as the head pressed them at the same place of the
screw. The temperature acts alike on all shafts whose temperature is known, each by its distance from the calibration's;
unknown ones may differ. Results of different calibrations or gauges, and results without a list of causes, share
nothing.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from midspan.hand_bench.result import HandResult
from midspan.measurement.result_form import ResultKind
from midspan.sets.limits import Array
from midspan.store.stored_result import CAUSES, MeasuredResult

OF_EACH_SHAFT = frozenset(
    {
        "scatter of the readings", "zero before", "zero after", "zero drift", "screw error",
        "sinking", "creep", "axial friction", "rim radius", "roller runout",
        "shaft radius", "repeatability", "dial graduation", "dial tilt", "load off centre",
    }
)  # fmt: skip
_OF_UNKNOWN_TEMPERATURE = frozenset({"temperature"})
PROBABILITY = 0.95
OF_EVALUATION_2 = 12  # causes of its results; they are the first of today's
MadeBy = tuple[ResultKind, str, str | None]


@dataclass(frozen=True, slots=True)
class MemberResult:
    """The result behind the spine of a shaft, and the lead of the screw that measured it.

    Parameters
    ----------
    u_spine_thou : float
        Standard uncertainty of the spine, thou.
    result : MeasuredResult
        The stored result with its causes and sensitivities.
    lead_mm : float | None
        Travel a turn of the screw under its calibration, mm; None where unknown, which shares the screw's error with no
        other shaft.
    """

    u_spine_thou: float
    result: MeasuredResult
    lead_mm: float | None = None


def covariance(results: Sequence[MemberResult]) -> Array:
    """Return the covariance of the spines of several results.

    Parameters
    ----------
    results : Sequence[MemberResult]
        The results, in the order of the rows.

    Returns
    -------
    Array
        Covariance, thou^2, shape (shafts, shafts).

    References
    ----------
    JCGM 100:2008, 5.2.2 and F.1.2.3.

    Examples
    --------
    >>> from midspan.store.stored_result import OlderResult, ResultKind
    >>> silent = MemberResult(0.4, OlderResult(ResultKind.GAUGE, (), "{}"))
    >>> covariance([silent, silent]).round(4).tolist()  # they list no causes
    [[0.16, 0.0], [0.0, 0.16]]
    """
    total = np.diag([member.u_spine_thou**2 for member in results])
    made_by = [made_by_of(member.result) for member in results]
    for maker in {known for known in made_by if known is not None}:
        members = [i for i, other in enumerate(made_by) if other == maker]
        shared = np.array([shared_parts(results[i]) for i in members])
        block = shared @ shared.T
        np.fill_diagonal(block, 0.0)
        total[np.ix_(members, members)] += block
    return total


def made_by_of(result: MeasuredResult) -> MadeBy | None:
    """Return what a result must have in common with another to share errors with it.

    Parameters
    ----------
    result : MeasuredResult
        A stored result.

    Returns
    -------
    tuple or None
        Instrument, gauge and calibration; None where the result lists no causes.
    """
    return (result.kind, result.gauge, result.calibration) if result.gauge and _shares(result) else None


def _shares(result: MeasuredResult) -> dict[str, float]:
    """Return the signed shares of u(spine) by cause, thou; empty if another version stored the result without them."""
    causes, u_causes, sensitivities = CAUSES.get(result.kind, ()), result.u_causes or (), result.sensitivities or ()
    if len(u_causes) == OF_EVALUATION_2 and result.kind is ResultKind.GAUGE:
        causes = causes[:OF_EVALUATION_2]
    if not len(causes) == len(u_causes) == len(sensitivities):
        return {}
    return {name: u * by for (name, _), u, by in zip(causes, u_causes, sensitivities, strict=True)}


def shared_parts(member: MemberResult) -> list[float]:
    """Return the parts of the spine's uncertainty that all shafts of one gauge and calibration have in common.

    Parameters
    ----------
    member : MemberResult
        A result with its causes.

    Returns
    -------
    list[float]
        Signed parts, thou: one for each cause, 0 where it differs from shaft to shaft, then two of the screw.
    """
    shares = _shares(member.result)
    alone = OF_EACH_SHAFT | _OF_UNKNOWN_TEMPERATURE if _at_unknown_temperature(member.result) else OF_EACH_SHAFT
    of_all = [0.0 if name in alone else shares.get(name, 0.0) for name, _ in CAUSES[member.result.kind]]
    return [*of_all, *_screw(member.result, shares, member.lead_mm)]


def _at_unknown_temperature(result: MeasuredResult) -> bool:
    """Return True if a result of a gauge, with all of today's causes, does not say at what temperature it was made."""
    of_gauge = result.kind is ResultKind.GAUGE and len(result.u_causes or ()) == len(CAUSES[ResultKind.GAUGE])
    return of_gauge and result.temperature_c is None


def _screw(result: MeasuredResult, shares: Mapping[str, float], lead_mm: float | None) -> tuple[float, float]:
    """Return the cosine and sine parts of the screw's share, thou: a wave of unknown phase, read at two depths.

    wave(z + t) - wave(z) is 2 sin(pi t / lead) times a wave at the middle of both. z is where the head stood at the
    light depth: where the shaft's surface was found, and below it the shaft's bend and the frame's compliance under the
    light load.
    """
    if not lead_mm or isinstance(result, HandResult):
        return 0.0, 0.0
    travel_mm, light_n, load_n, surface_mm = result.travel_mm, result.light_load_n, result.load_n, result.surface_mm
    if travel_mm is None or light_n is None or load_n is None or not surface_mm:
        return 0.0, 0.0
    share = math.copysign(shares["screw error"], math.sin(math.pi * travel_mm / lead_mm))
    light = light_n / (load_n - light_n)
    middle = (-surface_mm[0] + (light + 0.5) * travel_mm) / lead_mm
    return share * math.cos(2 * math.pi * middle), share * math.sin(2 * math.pi * middle)


def u_difference(spread: Array, i: int, j: int) -> float:
    """Return the standard uncertainty of the difference of two values.

    Parameters
    ----------
    spread : Array
        Covariance of the values, shape (values, values).
    i : int
        Row of the first value.
    j : int
        Row of the second value.

    Returns
    -------
    float
        Standard uncertainty, in the unit of the values.

    References
    ----------
    JCGM 100:2008, 5.2.2.

    Examples
    --------
    >>> u_difference(np.array([[0.25, 0.16], [0.16, 0.25]]), 0, 1).__round__(6)
    0.424264
    """
    return math.sqrt(max(0.0, float(spread[i, i] + spread[j, j] - 2 * spread[i, j])))


def u_from_mean(spread: Array) -> Array:
    """Return the standard uncertainty of each value's distance from the mean of all.

    Parameters
    ----------
    spread : Array
        Covariance of the values, shape (values, values).

    Returns
    -------
    Array
        Standard uncertainties, shape (values,).

    Examples
    --------
    >>> u_from_mean(np.eye(2) + 5.0).round(6).tolist()  # an error common to both cancels
    [0.707107, 0.707107]
    """
    centred = np.eye(len(spread)) - 1 / len(spread)
    result: Array = np.sqrt(np.maximum(np.diag(centred @ spread @ centred), 0.0))
    return result


def range_by_noise(u_each: Array, probability: float = PROBABILITY) -> float:
    """Return the range that equal shafts would stay below with a given probability, from their own noise alone.

    Distribution of the range of independent normal values: each in turn is the lowest, and all others lie above it
    within the range. With equal u it is the studentized range of infinitely many degrees of freedom.

    Parameters
    ----------
    u_each : Array
        Standard uncertainty of each shaft's own noise, thou, shape (shafts,).
    probability : float
        Probability of staying below, 0 to 1.

    Returns
    -------
    float
        Range, thou; 0.0 where there is no noise.

    Examples
    --------
    >>> round(range_by_noise(np.ones(12)), 2)
    4.62
    """
    if not u_each.any():
        return 0.0
    u = np.maximum(u_each, 0.02 * u_each.max())  # a smaller u changes nothing, and its steps escape the grid
    grid = np.linspace(-6, 6, 121)

    def below(width: float) -> float:
        lowest = grid[:, None] * u  # [grid, which is the lowest]
        others = ndtr((lowest[..., None] + width) / u) - ndtr(lowest[..., None] / u)
        others[:, range(len(u)), range(len(u))] = 1.0
        density = np.exp(-(grid**2) / 2) / math.sqrt(2 * math.pi)
        return float(np.trapezoid(density[:, None] * others.prod(axis=2), grid, axis=0).sum())

    largest = 12 * float(u.max())
    return float(brentq(lambda width: below(width) - probability, 0.0, largest, xtol=1e-5 * largest))


def own_u(spread: Array) -> Array:
    """Return the u of independent values that would scatter about their mean as these do.

    Parameters
    ----------
    spread : Array
        Covariance of the values, shape (values, values).

    Returns
    -------
    Array
        Standard uncertainties, shape (values,).

    Examples
    --------
    >>> own_u(np.eye(2) + 5.0).round(6).tolist()
    [1.0, 1.0]
    """
    number = len(spread)
    result: Array = u_from_mean(spread) * math.sqrt(number / (number - 1))
    return result
