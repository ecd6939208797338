"""Covariance of spine, spread and runout of a shaft: what they share of the calibration.

The spread is a difference of deflections, so a relative error of the spine is one of the spread. A height of the
surface shares with the spine what changes the travel and the slope of force over travel. The scatter of the readings
gives each quantity its own error.
"""

import numpy as np

from midspan.measurement.harmonics import Array
from midspan.measurement.quantities import Found
from midspan.measurement.spine_budget import CAUSES, OF_SLOPE, Shares

OF_HEIGHT = (*OF_SLOPE, "travel scale", "screw error", "press tilt")
_COLUMNS = [[name for name, _ in CAUSES].index(cause) for cause in OF_HEIGHT]


def quantity_covariance(found: Found, spine: Shares) -> Array:
    """Return the covariance of spine, spread and runout.

    Parameters
    ----------
    found : dict
        Values and standard uncertainties of S shafts by field of `ShaftResult`.
    spine : Shares
        Budgets of the spines.

    Returns
    -------
    ndarray
        Covariance in the order spine (thou), spread (thou), runout (mm), shape (S, 3, 3).

    References
    ----------
    JCGM 102:2011, 6.2 (many results of the same inputs).
    """
    value = np.stack([found["spine_thou"], found["spread_thou"], found["runout_mm"]], axis=1)
    u = np.stack([found["u_spine_thou"], found["u_spread_thou"], found["u_runout_mm"]], axis=1)
    relative = value / value[:, :1]
    of_height = ((spine.u_causes * spine.sensitivities)[:, _COLUMNS] ** 2).sum(axis=1)
    shared = np.broadcast_to(spine.u[:, None, None] ** 2, (len(u), 3, 3)).copy()
    shared[:, 2, :] = shared[:, :, 2] = of_height[:, None]
    result = shared * relative[:, :, None] * relative[:, None, :]
    result[:, range(3), range(3)] = u**2
    return result
