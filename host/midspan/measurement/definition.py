"""The reference condition of every spine, and the way from an older one to it.

A spine is what a shaft shows under 880 g on two supports 28 in apart. Supports that hold the shaft along its axis, or
that are wide enough for it to roll off their rims, show another number: at 500 by a thousandth, at 1000 by a hundredth.
So a spine is stated for reactions normal to the bent shaft on narrow rims, which is what a shaft that turns on rollers
comes nearest to, and whatever else a bench has is converted.

Before evaluation 3 a result was read and stated for the middle between normal and vertical reactions, unless the
calibration said otherwise. Reading the same forces and travel again for normal reactions moves it by little, since the
gauge presses with nearly the standard load; a bare number of that time may be off by all that the supports can do.
"""

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from midspan.base.errors import ConversionError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import Support, deflection_mm, stiffness_between

Array = NDArray[np.float64]
Definition = Literal["normal reactions", "middle of the supports"]
DEFINITION: Definition = "normal reactions"  # of the spine that this version states; part of every result
OLDER_DEFINITION: Definition = "middle of the supports"  # of results that name none
REFERENCE_WORDS = (
    "midspan deflection under 880 g on supports 28 in (711.2 mm) apart, reactions normal to the bent shaft at narrow "
    "rims, at the temperature of measuring"
)


def to_reference_thou(spine_thou: ArrayLike, support: Support = "between") -> Array:
    """Return spines under the reference condition from spines stated for another support condition.

    Parameters
    ----------
    spine_thou : array_like
        Static spines under the standard load on the standard span, thou, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition for which they are stated, or its share of vertical reactions from 0 to 1.

    Returns
    -------
    ndarray
        The spines for reactions normal to the shaft, thou, same shape.

    Raises
    ------
    ConversionError
        A spine is not above 0, or is beyond a tenth of the span.

    Examples
    --------
    >>> to_reference_thou([500.0, 1000.0]).round(2).tolist()
    [500.58, 1004.66]
    """
    sag_mm = np.asarray(spine_thou, float) * MM_PER_THOU
    stiffness = stiffness_between((0.0, STANDARD.load_n), sag_mm, STANDARD.span_mm, support)
    return deflection_mm(STANDARD.load_n, STANDARD.span_mm, stiffness, "normal") / MM_PER_THOU


def assigned_under_reference(spine_thou: float, u_spine_thou: float, definition: str) -> tuple[float, float]:
    """Return an assigned spine under the reference condition, and its standard uncertainty.

    The readings behind an assigned value are not known. A value stated for the middle of the supports may come from
    supports anywhere between normal and vertical reactions, so half the difference counts as a rectangular bound.

    Parameters
    ----------
    spine_thou : float
        Assigned static spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    definition : str
        Definition for which the value is stated.

    Returns
    -------
    tuple of float
        Spine and standard uncertainty, thou; unchanged if the value is stated for the reference condition.

    Raises
    ------
    ConversionError
        The definition is unknown, or the spine is beyond a tenth of the span.

    References
    ----------
    JCGM 100:2008, 4.3.7 (rectangular bounds).

    Examples
    --------
    >>> spine, u = assigned_under_reference(500.0, 0.2, OLDER_DEFINITION)
    >>> round(spine, 2), round(u, 2)
    (500.58, 0.39)
    >>> assigned_under_reference(500.0, 0.2, DEFINITION)
    (500.0, 0.2)
    """
    if definition == DEFINITION:
        return spine_thou, u_spine_thou
    if definition != OLDER_DEFINITION:
        raise ConversionError(
            f"a spine stated for {definition!r:.60} cannot be converted; known are {DEFINITION!r} and "
            f"{OLDER_DEFINITION!r}",
            code="unknown_definition",
        )
    converted = float(to_reference_thou(spine_thou))
    return converted, math.hypot(u_spine_thou, (converted - spine_thou) / math.sqrt(3))
