"""Contact of a shaft with the rims that carry it and with the head's bearings: how far it sinks in, and the pressure.

Hertz's theory: elastic half-spaces, no friction. The wall of a thin tube bends on top of that; only pressing over a
support shows by how much.

References
----------
K. L. Johnson, Contact Mechanics (1985), 4.2 for the point contact and 5.6 for cylinders.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, log, pi, radians, sqrt

from frame.dimensions import STANDARD_GRAVITY, Frame

LOAD_N = 0.88 * STANDARD_GRAVITY  # 880 g
LIGHT = 0.1  # of the load, at the light depth
THOU_MM = 0.0254
# Spine is the travel between both depths over the share of the load between them. What goes with the two-thirds power
# of the force is in that share for 0.87 of its size at the full load.
OF_POINT = (1 - LIGHT ** (2 / 3)) / (1 - LIGHT)


@dataclass(frozen=True)
class Material:
    """Young's modulus, N/mm2, and Poisson's ratio."""

    modulus: float
    poisson: float

    @property
    def compliance(self) -> float:
        """Compliance that a material adds to 1 / E*, mm2/N."""
        return (1 - self.poisson**2) / self.modulus


# From memory: steel and aluminium after MIL-HDBK-5J; carbon and wood across their fibres, known to a third at best.
MATERIALS = {
    "steel": Material(207_000, 0.29),
    "aluminium": Material(71_000, 0.33),
    "carbon": Material(9_000, 0.30),
    "wood": Material(800, 0.35),
}
YIELD_MPA = {"aluminium": 500.0}  # 7075-T6, from memory; soft alloys have half
SHAKEDOWN = 2.7  # of the yield stress: above this pressure a rolling contact yields anew at each turn


@dataclass(frozen=True)
class Contact:
    """Half axes of the area of contact, mm, its highest pressure, N/mm2, and the approach of both bodies, mm."""

    longer: float
    shorter: float
    pressure: float
    approach: float


def _complete(m: float) -> tuple[float, float]:
    """Return the complete elliptic integrals K and E of a parameter m = e^2, by the arithmetic-geometric mean.

    >>> [round(value, 6) for value in _complete(0.5)]
    [1.854075, 1.350644]
    """
    a, b, part, power = 1.0, sqrt(1 - m), m / 2, 0.5
    while abs(a - b) > 1e-15 * a:
        a, b, c = (a + b) / 2, sqrt(a * b), (a - b) / 2
        power *= 2
        part += power * c * c
    k = pi / (2 * a)
    return k, k * (1 - part)


def _eccentricity(ratio: float) -> float:
    """Return e^2 of the ellipse for a ratio of the relative curvatures, 1 or more."""
    low, high = 1e-9, 1 - 1e-15
    for _ in range(200):
        m = (low + high) / 2
        k, e = _complete(m)
        if (e / (1 - m) - k) < ratio * (k - e):
            low = m
        else:
            high = m
    return (low + high) / 2


def contact_modulus(first: Material, second: Material) -> float:
    """Return E*, N/mm2.

    >>> round(contact_modulus(MATERIALS["steel"], MATERIALS["steel"]))
    113004
    """
    return 1 / (first.compliance + second.compliance)


def point_contact(force_n: float, curvatures: tuple[float, float], modulus: float) -> Contact:
    """Return the contact of two bodies whose planes of curvature agree.

    `curvatures` are the sums of both bodies' curvatures in the two planes, 1/mm, both above 0; `modulus` is E*.

    >>> ball = point_contact(10, (0.2, 0.2), 113004)  # a ball of 5 mm radius on a flat: (3 F R / 4 E*)^(1/3)
    >>> round(ball.longer, 4), round(ball.pressure)
    (0.0692, 996)
    """
    small, large = min(curvatures) / 2, max(curvatures) / 2
    if large / small < 1 + 1e-6:
        radius = (3 * force_n / (8 * modulus * small)) ** (1 / 3)
        return Contact(radius, radius, 1.5 * force_n / (pi * radius**2), 2 * small * radius**2)
    m = _eccentricity(large / small)
    k, e = _complete(m)
    longer = (3 * force_n * (k - e) / (2 * pi * modulus * m * small)) ** (1 / 3)
    shorter = longer * sqrt(1 - m)
    pressure = 1.5 * force_n / (pi * longer * shorter)
    return Contact(longer, shorter, pressure, 1.5 * force_n * k / (pi * longer * modulus))


def cylinder_contact(force_n: float, length: float, bodies: tuple[tuple[float, Material], ...]) -> Contact:
    """Return the contact of two parallel cylinders, each a radius and a material; the approach is that of their axes.

    >>> pair = cylinder_contact(100, 10, ((5, MATERIALS["steel"]), (5, MATERIALS["steel"])))
    >>> round(pair.shorter, 4), round(pair.pressure)  # p = (F E* / pi l R)^(1/2), R = 2.5
    (0.0168, 379)
    """
    (radius_1, first), (radius_2, second) = bodies
    line, curvature, modulus = force_n / length, 1 / radius_1 + 1 / radius_2, contact_modulus(first, second)
    half = sqrt(4 * line / (pi * modulus * curvature))
    approach = sum(line * of.compliance / pi * (2 * log(4 * radius / half) - 1) for radius, of in bodies)
    return Contact(length / 2, half, 2 * line / (pi * half), approach)


# On the rims and under the head


@dataclass(frozen=True)
class Rim:
    """What a rim does to a shaft at the standard load: pressure, N/mm2, and what spine reads too large, thou."""

    pressure: float
    sunk_thou: float


def on_rims(frame: Frame, diameter: float, material: str, rim_radius: float | None = None) -> Rim:
    """Return pressure and sinking of a shaft in the nips of both supports; None for the rim of the parameters.

    >>> rim = on_rims(Frame.load(), 6.0, "carbon")
    >>> round(rim.pressure), round(rim.sunk_thou, 2)
    (246, 0.25)
    """
    radius = rim_radius or float(frame.support.rim_radius)
    force = LOAD_N / 2 * frame.nip_share(diameter)
    across = 2 / frame.support.roller_diameter + 2 / diameter
    modulus = contact_modulus(MATERIALS["steel"], MATERIALS[material])
    found = point_contact(force, (1 / radius, across), modulus)
    drop = found.approach / cos(radians(frame.nip_deg(diameter)))
    return Rim(found.pressure, OF_POINT * drop / THOU_MM)


def under_head(frame: Frame, diameter: float, material: str) -> Rim:
    """Return pressure and sinking of a shaft under the two bearings of the head, which lie along it.

    >>> rim = under_head(Frame.load(), 6.0, "carbon")
    >>> round(rim.pressure), round(rim.sunk_thou, 2)
    (49, 0.03)
    """
    upright = frame.head_above(diameter) / ((frame.head.bearing[1] + diameter) / 2)
    force, radius, width = LOAD_N / (2 * upright), frame.head.bearing[1] / 2, frame.head.bearing[2]
    bodies = ((radius, MATERIALS["steel"]), (diameter / 2, MATERIALS[material]))
    found = cylinder_contact(force, width, bodies)
    light = cylinder_contact(LIGHT * force, width, bodies)
    return Rim(found.pressure, (found.approach - light.approach) / (1 - LIGHT) / upright / THOU_MM)


# Rolling


def rolling_radius(frame: Frame, diameter: float, rim_radius: float | None = None) -> float:
    """Return the radius of the plain upright roller over which a shaft's axis would roll alike, mm.

    Where the shaft slopes, its contact moves over the crown of the rim and around its own surface. Of both radii only
    the upright share counts, for the rims carry it from both sides of the nip.

    >>> round(rolling_radius(Frame.load(), 6.0), 2)
    2.54
    """
    radius = float(frame.support.rim_radius) if rim_radius is None else rim_radius
    return (radius + diameter / 2) * cos(radians(frame.nip_deg(diameter)))


def rolled_thou(radius: float, span_mm: float, spine_thou: float) -> float:
    """Return how much smaller a spine reads on plain upright rollers than on points, thou: 13.5 (r / L) (d / L) of it.

    `radius` is that of roller and shaft together, mm. The contacts move inward, which shortens the span by 2 r times
    the slope 3 d / L: 18. The shaft's axis rises over them by r / 2 times the square of the slope, which makes up for
    4.5 of that.

    >>> round(rolled_thou(6.0, 711.2, 500), 2)  # a shaft of 6 mm on pins of 6 mm
    1.02
    """
    return 13.5 * radius * spine_thou * THOU_MM / span_mm**2 * spine_thou


def rolling_thou(frame: Frame, diameter: float, spine_thou: float, rim_radius: float | None = None) -> float:
    """Return how much smaller the spine reads on the gauge's rims than on supports without a radius, thou.

    >>> round(rolling_thou(Frame.load(), 6.0, 500), 2), round(rolling_thou(Frame.load(), 6.0, 500, 0.0), 2)
    (0.43, 0.26)
    """
    return rolled_thou(rolling_radius(frame, diameter, rim_radius), float(frame.support.span), spine_thou)


def rolling_left_thou(frame: Frame, spine_thou: float, u_radius_mm: float, diameter: float = 6.0) -> float:
    """Return what a crown known to within some millimetres leaves in the spine after its rolling was corrected, thou.

    >>> round(rolling_left_thou(Frame.load(), 500, 0.1), 3)
    0.009
    """
    return rolling_thou(frame, diameter, spine_thou, u_radius_mm) - rolling_thou(frame, diameter, spine_thou, 0.0)
