"""Local gravity for masses hung on the bench: as measured, or from latitude and height.

Normal gravity of the WGS 84 ellipsoid by Somigliana's closed formula, continued to the height by the series of the
free-air change. Rock and relief change it by a few parts in ten thousand; half of that is the uncertainty.

>>> round(normal_gravity(45.0), 6), round(normal_gravity(45.0, 1000.0), 6)
(9.806198, 9.803113)
"""

import math
from dataclasses import dataclass

from midspan.base.errors import ConversionError
from midspan.base.units import STANDARD_GRAVITY

# WGS 84 (NGA.STND.0036): gravity at the equator in m/s2, Somigliana's constant, eccentricity squared,
# flattening, ratio of centrifugal to gravitational acceleration at the equator, equatorial radius in m.
EQUATOR, SOMIGLIANA, ECCENTRICITY2 = 9.7803253359, 0.00193185265241, 0.00669437999014
FLATTENING, CENTRIFUGAL, RADIUS_M = 1 / 298.257223563, 0.00344978650684, 6378137.0
# Free-air anomalies seldom exceed 100 mGal on inhabited land; half of that is the standard uncertainty.
U_ANOMALY = 5e-4  # m/s2
PLAUSIBLE = (9.76, 9.84)  # m/s2, from mountains at the equator to the poles
HEIGHTS_M = (-500.0, 6000.0)  # inhabited places


@dataclass(frozen=True)
class Gravity:
    """Local gravity.

    Parameters
    ----------
    m_s2 : float
        Gravity, m/s2.
    u_m_s2 : float
        Its standard uncertainty, m/s2.
    source : str
        Origin of the value, in words.
    """

    m_s2: float
    u_m_s2: float
    source: str


# Where the place is unknown: between equator and poles gravity differs from it by up to 0.27 %.
STANDARD = Gravity(STANDARD_GRAVITY, 0.015, "standard gravity, not that of the place")


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Return the gravity of the WGS 84 ellipsoid.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, degrees.
    height_m : float
        Height above the ellipsoid, m.

    Returns
    -------
    float
        Gravity, m/s2.

    Raises
    ------
    ConversionError
        The latitude is beyond a pole (code "latitude"), or the height is not that of an inhabited place
        ("height").

    References
    ----------
    NGA.STND.0036 (WGS 84) for the ellipsoid and Somigliana's formula.
    H. Moritz, Geodetic Reference System 1980, J. Geod. 74 (2000) 128-133, equation 2-121, for the height.
    """
    if not -90 <= latitude_deg <= 90:
        raise ConversionError(f"latitude {latitude_deg:g} is not between -90 and 90 degrees", code="latitude")
    if not HEIGHTS_M[0] <= height_m <= HEIGHTS_M[1]:
        raise ConversionError(
            f"height {height_m:g} m is not between {HEIGHTS_M[0]:g} and {HEIGHTS_M[1]:g} m", code="height"
        )
    sine2 = math.sin(math.radians(latitude_deg)) ** 2
    surface = EQUATOR * (1 + SOMIGLIANA * sine2) / math.sqrt(1 - ECCENTRICITY2 * sine2)
    h = height_m / RADIUS_M
    return surface * (1 - 2 * (1 + FLATTENING + CENTRIFUGAL - 2 * FLATTENING * sine2) * h + 3 * h * h)


def local_gravity(latitude_deg: float, height_m: float, u_m_s2: float = U_ANOMALY) -> Gravity:
    """Return the gravity at a place, with the anomaly that the formula leaves out as its uncertainty.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, degrees.
    height_m : float
        Height above the sea, m.
    u_m_s2 : float
        Standard uncertainty, m/s2.

    Returns
    -------
    Gravity
        Value with its uncertainty and source.

    Raises
    ------
    ConversionError
        There is no inhabited place with this latitude and height.

    Examples
    --------
    >>> local_gravity(47.0, 400.0).source
    'latitude 47 deg, height 400 m'
    """
    value = normal_gravity(latitude_deg, height_m)
    return Gravity(value, u_m_s2, f"latitude {latitude_deg:g} deg, height {height_m:g} m")


def typed_gravity(m_s2: float, u_m_s2: float) -> Gravity:
    """Return gravity as it was measured.

    Parameters
    ----------
    m_s2 : float
        Gravity, m/s2.
    u_m_s2 : float
        Its standard uncertainty, m/s2.

    Returns
    -------
    Gravity
        Value with its uncertainty and source.

    Raises
    ------
    ConversionError
        The value is not that of the earth's surface (code "gravity"), or the uncertainty is out of range
        ("u_gravity").

    Examples
    --------
    >>> typed_gravity(981.0, 0.0)
    Traceback (most recent call last):
    midspan.base.errors.ConversionError: gravity 981 m/s2 is outside 9.76 to 9.84: is it in another unit?
    """
    if not PLAUSIBLE[0] <= m_s2 <= PLAUSIBLE[1]:
        raise ConversionError(
            f"gravity {m_s2:g} m/s2 is outside {PLAUSIBLE[0]} to {PLAUSIBLE[1]}: is it in another unit?", code="gravity"
        )
    if not 0 <= u_m_s2 < 0.05:
        raise ConversionError(f"uncertainty of gravity {u_m_s2:g} m/s2 is not between 0 and 0.05", code="u_gravity")
    return Gravity(m_s2, u_m_s2, "typed in")
