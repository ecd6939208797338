"""The reference condition of every spine, and the way from an older one to it.

A spine is what a shaft shows under 880 g on two supports 28 in apart. Supports that hold the shaft along its axis, or
that are wide enough for it to roll off their rims, show another number: at 500 by a thousandth, at 1000 by a hundredth.
So a spine is stated for reactions normal to the bent shaft on narrow rims, which is what a shaft that turns on rollers
comes nearest to, and whatever else a bench has is converted.

Results before evaluation 3 were stated for the middle between normal and vertical reactions, unless the calibration
said otherwise.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.elastica import Support, deflection_mm, stiffness_between

Array = NDArray[np.float64]
DEFINITION = "normal reactions"  # of the spine that this version states; part of every result
OLDER_DEFINITION = "middle of the supports"  # of results that name none


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
