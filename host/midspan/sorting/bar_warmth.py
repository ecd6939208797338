"""Change of a check standard's spine with its temperature: a warm bar is softer, which is no error of the gauge.

Young's modulus falls with temperature, and the section grows by the fourth power of the expansion. The span is the
gauge's. Modulus of steel by Roark's Formulas for Stress and Strain, table of temperature effects (differences near
20 C); of aluminium 6061 from memory of ASME B31.3, table C-6; expansion by W. D. Callister, Materials Science and
Engineering, appendix B.

>>> change, u = change_thou("steel", 500.0, 20.0, 25.0)
>>> round(change, 2), round(u, 2)
(0.58, 0.15)
"""

import math
from typing import Literal

Material = Literal["steel", "aluminium"]
# Relative change of the modulus per K, its standard uncertainty, and linear expansion per K.
MODULUS_PER_K: dict[Material, tuple[float, float]] = {"steel": (-2.8e-4, 0.5e-4), "aluminium": (-5.5e-4, 1e-4)}
EXPANSION_PER_K: dict[Material, float] = {"steel": 1.17e-5, "aluminium": 2.34e-5}
U_TEMPERATURE_K = 0.5  # of one thermometer against the bar (common practice, no source)
U_UNKNOWN_K = 3.0  # of the difference of two rooms where a temperature is not known (common practice, no source)


def change_thou(
    material: Material | None, spine_thou: float, assigned_at_c: float | None, measured_at_c: float | None
) -> tuple[float, float]:
    """Return how much softer a bar was at its measurement than at its assignment, with the standard uncertainty.

    Parameters
    ----------
    material : {"steel", "aluminium"} or None
        Material of the bar, None if unknown.
    spine_thou : float
        Spine of the bar, thou.
    assigned_at_c : float or None
        Temperature for which its value was assigned, degrees Celsius; None if unknown.
    measured_at_c : float or None
        Temperature at the measurement, degrees Celsius; None if unknown.

    Returns
    -------
    tuple of float
        Change of the spine and its standard uncertainty, thou: 0 and 0 for an unknown material, 0 with a wide
        uncertainty where a temperature is not known.
    """
    if material is None:
        return 0.0, 0.0
    modulus, u_modulus = MODULUS_PER_K[material]
    per_k = spine_thou * (-modulus - 4 * EXPANSION_PER_K[material])
    if assigned_at_c is None or measured_at_c is None:
        return 0.0, per_k * U_UNKNOWN_K
    warmer = measured_at_c - assigned_at_c
    return per_k * warmer, math.hypot(spine_thou * u_modulus * warmer, per_k * math.sqrt(2) * U_TEMPERATURE_K)
