"""Exact unit definitions and the two conventions in which static spine is quoted.

Sources: NIST SP 811 (2008) appendix B.8 for inch, pound and grain (exact); 3rd CGPM (1901) for standard gravity; ASTM
F2031 for 28 in and 880 g. The older 26 in and 2 lb are common practice for wood shafts, no source. 880 g and 1.94 lb
differ by 35 parts in a million: here the standard load is 880 g.

>>> round(STANDARD.load_n, 6), round(STANDARD.span_mm, 1)
(8.629852, 711.2)
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

MM_PER_INCH = 25.4
MM_PER_THOU = 0.0254
KG_PER_POUND = 0.45359237
GRAM_PER_GRAIN = 0.06479891
STANDARD_GRAVITY = 9.80665  # m/s2
Numbers = TypeVar("Numbers", float, NDArray[np.float64])


@dataclass(frozen=True)
class Convention:
    """A span and a dead-weight load for which a midspan deflection is quoted.

    Parameters
    ----------
    name : str
        Span and load as the trade writes them.
    span_mm : float
        Distance between the supports, mm.
    load_n : float
        Weight of the load in standard gravity, N.
    """

    name: str
    span_mm: float
    load_n: float


STANDARD = Convention("28 in, 880 g", 28 * MM_PER_INCH, 0.880 * STANDARD_GRAVITY)
OLDER = Convention("26 in, 2 lb", 26 * MM_PER_INCH, 2 * KG_PER_POUND * STANDARD_GRAVITY)


def pounds_from_thou(deflection_thou: Numbers) -> Numbers:
    """Return spine in pounds of the older convention.

    26 divided by the deflection in inches: common practice for wood shafts, no source.

    Parameters
    ----------
    deflection_thou : float or ndarray
        Deflection at 26 in and 2 lb, thou, any shape; above 0.

    Returns
    -------
    float or ndarray
        Spine in pounds, same shape.

    Examples
    --------
    >>> pounds_from_thou(520.0)
    50.0
    """
    return 26_000 / deflection_thou
