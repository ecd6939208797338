"""Shape of the supports, as stated by whoever built the gauge, and what it means for a bent shaft.

A shaft that bends rolls inward over its supports and rises on them, so its span is a little shorter than that at rest.
What counts is the height of its axis above the centre of curvature of the rims: rim and shaft radius together, times
the cosine of the angle at which a pair of rollers nips it.

>>> rollers = Supports(rim_radius_mm=2.0, roller_diameter_mm=30.0, axle_distance_mm=31.0)
>>> {key: round(value, 2) for key, value in rollers.section(6.0, 6.0).items()}
{'rim_mm': 2.54, 'u_rim_mm': 0.05}
"""

import math
from dataclasses import dataclass

from midspan.base.errors import ConfigurationError


@dataclass(frozen=True)
class Supports:
    """Supports of a gauge.

    Parameters
    ----------
    rim_radius_mm : float
        Radius of the crown or edge that carries the shaft, seen from the side, mm; 0 for a knife edge.
    u_rim_radius_mm : float
        Its standard uncertainty, mm.
    roller_diameter_mm : float | None
        Diameter of the rollers, mm; None where the shaft lies on top of a support.
    axle_distance_mm : float | None
        Distance of the axles of the two rollers of a support, mm; None as above.
    """

    rim_radius_mm: float
    u_rim_radius_mm: float = 0.1
    roller_diameter_mm: float | None = None
    axle_distance_mm: float | None = None

    def upright(self, shaft_mm: float) -> float:
        """Return the cosine of the angle between the vertical and the push of a roller.

        Parameters
        ----------
        shaft_mm : float
            Diameter of the shaft, mm.

        Returns
        -------
        float
            Cosine, 1 where the shaft lies on top of a support.

        Raises
        ------
        ConfigurationError
            Only one of roller diameter and axle distance is known (code "rollers"), or the shaft falls through between
            the rollers (code "falls_through").

        Examples
        --------
        >>> round(Supports(2.0, 0.1, 30.0, 31.0).upright(6.0), 4)
        0.5084
        """
        if self.roller_diameter_mm is None and self.axle_distance_mm is None:
            return 1.0
        if self.roller_diameter_mm is None or self.axle_distance_mm is None:
            raise ConfigurationError(
                "give both --roller-diameter and --axle-distance, or neither for a shaft on top of its supports",
                code="rollers",
            )
        sine = self.axle_distance_mm / (self.roller_diameter_mm + shaft_mm)
        if sine >= 1:
            raise ConfigurationError(
                f"a shaft of {shaft_mm:g} mm falls through between rollers of {self.roller_diameter_mm:g} mm whose "
                f"axles are {self.axle_distance_mm:g} mm apart; correct --roller-diameter, --axle-distance or the "
                "diameters of the shafts",
                code="falls_through",
            )
        return math.sqrt(1 - sine**2)

    def section(self, thinnest_mm: float, thickest_mm: float) -> dict[str, float]:
        """Return the keys of the table "span" that follow from the shape of the supports.

        Parameters
        ----------
        thinnest_mm, thickest_mm : float
            Diameters of the thinnest and the thickest shaft to be measured, mm.

        Returns
        -------
        dict[str, float]
            Keys rim_mm, the middle of its range, and u_rim_mm, mm.

        Raises
        ------
        ConfigurationError
            The diameters are in the wrong order (code "diameters"), or those of the rollers do not fit.

        References
        ----------
        JCGM 100:2008, 4.3.7 (rectangular distribution between thinnest and thickest shaft).
        """
        if not 0 < thinnest_mm <= thickest_mm:
            raise ConfigurationError(
                f"the thinnest shaft has {thinnest_mm:g} mm, the thickest {thickest_mm:g}; correct --thinnest or "
                "--thickest",
                code="diameters",
            )
        low, high = (
            (self.rim_radius_mm + diameter / 2) * self.upright(diameter) for diameter in (thinnest_mm, thickest_mm)
        )
        u_radius = self.u_rim_radius_mm * self.upright((thinnest_mm + thickest_mm) / 2)
        return {"rim_mm": (low + high) / 2, "u_rim_mm": math.hypot(u_radius, (high - low) / 2 / math.sqrt(3))}
