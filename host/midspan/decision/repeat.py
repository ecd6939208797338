"""Tell if measuring a shaft again can settle a doubt about a limit.

A repeat renews the scatter of the readings and the zeros. It keeps the errors of the calibration: with these the second
value lies where the first one lay, and as near the limit.

>>> repeat_helps(beyond=0.2, guard=0.5, renewed=0.3), repeat_helps(beyond=0.2, guard=0.5, renewed=0.01)
(True, False)
"""

import math

from scipy.special import ndtr

from midspan.hand_bench import conversion
from midspan.measurement.result_form import ResultKind
from midspan.measurement.spine_budget import CAUSES

RENEWED = frozenset(
    {
        "scatter of the readings", "zero before", "zero after", "zero drift",
        "repeatability", "dial tilt", "load off centre",
    }
)  # fmt: skip
WORTH_IT = 0.05  # least chance of a decision for which a shaft is measured again
_CAUSES = {ResultKind.GAUGE: CAUSES, ResultKind.HAND_BENCH: conversion.CAUSES}


def renewed_thou(result: object) -> float | None:
    """Return the part of a spine's standard uncertainty that a repeat renews.

    Parameters
    ----------
    result : object
        A result with its causes.

    Returns
    -------
    float or None
        Standard uncertainty, thou; None for a result that does not list its causes.
    """
    causes = _CAUSES.get(getattr(result, "kind", ResultKind.UNMEASURED), ())
    u_causes, sensitivities = getattr(result, "u_causes", None), getattr(result, "sensitivities", None)
    if (
        not causes
        or u_causes is None
        or sensitivities is None
        or not len(causes) == len(u_causes) == len(sensitivities)
    ):
        return None
    rows = zip(causes, u_causes, sensitivities, strict=True)
    return math.hypot(*(u * by for (name, _), u, by in rows if name in RENEWED))


def repeat_helps(beyond: float, guard: float, renewed: float) -> bool:
    """Return True if a second measurement would leave the guard band with a chance worth the time.

    Parameters
    ----------
    beyond : float
        Distance of the value beyond the limit, below 0 inside.
    guard : float
        Width of the guard band on either side of the limit, same unit.
    renewed : float
        Standard uncertainty that a repeat renews, same unit.

    Returns
    -------
    bool
        True if the chance is 5 % or more. A second value scatters about the first with the root of 2 times `renewed`.
    """
    if renewed <= 0:
        return False
    scatter = math.sqrt(2) * renewed
    return float(ndtr((-guard - beyond) / scatter) + ndtr((beyond - guard) / scatter)) >= WORTH_IT
