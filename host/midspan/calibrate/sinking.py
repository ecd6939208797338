"""Calibrate sinking: how far supports and head press into the wall of a shaft, in mm of travel per newton.

A steel bar hardly shows it, so the compliance of the frame does not contain it. Two masses hung beside a support press
a piece of a shaft on it without bending, and a dial of 0.001 mm shows how much further it goes down than steel between
the light and the full load. Without such readings the sinking is computed by Hertz's theory for a solid body; the wall
of a thin tube bends on top of that, and moduli across the fibres are known to a third at best.

>>> from midspan.calibrate.readings_table import readings_of
>>> dial = {"steel": (0.0, 0.0005), "shaft": (0.0, 0.0051)}
>>> rows = [(body, mass, dial[body][mass > 100]) for body in dial for mass in (44.0, 440.0) * 3]
>>> body, mass, mm = zip(*rows)
>>> found = calibrate_sinking(readings_of("typed", body=body, mass_g=mass, dial_mm=mm))
>>> round(1e3 * found.section["sink_mm_per_n"], 2)
0.68
"""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field
from scipy import optimize, special

from midspan.base.config import Section
from midspan.base.errors import ReadingsError
from midspan.base.polynomial import Array
from midspan.base.units import STANDARD, STANDARD_GRAVITY
from midspan.calibrate.fit_tests import combined
from midspan.calibrate.outcome import DOF_GUESS, ProcedureResult, chosen
from midspan.calibrate.readings_table import CalibrationReadings
from midspan.calibrate.supports import Supports

LIGHT_SHARE = 0.1  # of the standard load at the light depth
LIGHT_G, FULL_G = 44.0, 440.0  # half of a cycle's loads: what one support carries
OTHER_LOADS = 0.25  # relative; beyond, the secant is another one
FEWEST = 2  # changes of load of each body
# The head's bearings press in too, which a dial over a support does not see: 8 to 23 % of what the supports do for
# aluminium, carbon and wood on the frame that is drawn, by the theory below.
HEAD_SHARE, U_HEAD_SHARE = 0.15, 0.08
U_OF_THEORY = 1 / 3


class Sinking(Section):
    """Keys of the table "span" that this procedure finds.

    Parameters
    ----------
    sink_mm_per_n : float
        Travel per newton of load that walls of a shaft give, mm/N.
    u_sink_mm_per_n : float
        Its standard uncertainty, mm/N.
    """

    sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)]
    u_sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)]


@dataclass(frozen=True)
class Material:
    """Elastic constants of a body in contact.

    Parameters
    ----------
    modulus_mpa : float
        Young's modulus in the direction of the push, N/mm2.
    poisson : float
        Poisson's ratio.
    """

    modulus_mpa: float
    poisson: float

    @property
    def compliance(self) -> float:
        """Compliance that the body adds to that of the contact, mm2/N."""
        return (1 - self.poisson**2) / self.modulus_mpa


# From memory: steel and aluminium after MIL-HDBK-5J; carbon and wood across their fibres.
MATERIALS = {
    "steel": Material(207_000, 0.29),
    "aluminium": Material(71_000, 0.33),
    "carbon": Material(9_000, 0.30),
    "wood": Material(800, 0.35),
}


def hertz_approach_mm(force_n: float, curvatures: tuple[float, float], material: Material) -> float:
    """Return how far a body and a steel one approach each other in a point contact.

    Parameters
    ----------
    force_n : float
        Force, N.
    curvatures : tuple[float, float]
        Sums of both bodies' curvatures in two planes at right angles, 1/mm, both above 0.
    material : Material
        Material of the body on the steel one.

    Returns
    -------
    float
        Approach, mm.

    References
    ----------
    K. L. Johnson, Contact Mechanics (1985), 4.2: the ellipse of contact of eccentricity e with half axes a and b.

    Examples
    --------
    A ball of 5 mm radius on a flat, both of steel: (9 F^2 / 16 R E*^2)^(1/3).

    >>> round(1e3 * hertz_approach_mm(10.0, (0.2, 0.2), MATERIALS["steel"]), 3)
    0.959
    """
    small, large = min(curvatures) / 2, max(curvatures) / 2
    modulus = 1 / (MATERIALS["steel"].compliance + material.compliance)
    if large / small < 1 + 1e-6:
        return 2 * small * float((3 * force_n / (8 * modulus * small)) ** (2 / 3))

    def apart(m: float) -> float:
        k, e = special.ellipk(m), special.ellipe(m)
        return float((e / (1 - m) - k) - large / small * (k - e))

    m = float(optimize.brentq(apart, 1e-9, 1 - 1e-12))
    k, e = float(special.ellipk(m)), float(special.ellipe(m))
    longer = (3 * force_n * (k - e) / (2 * math.pi * modulus * m * small)) ** (1 / 3)
    return float(1.5 * force_n * k / (math.pi * longer * modulus))


def computed_sinking(material: str, shaft_mm: float, supports: Supports) -> ProcedureResult:
    """Return the sinking of a solid body of a material on the supports, beyond that of steel, by Hertz's theory.

    Parameters
    ----------
    material : str
        Name in MATERIALS.
    shaft_mm : float
        Diameter of the shaft, mm.
    supports : Supports
        Rims and rollers; a knife edge has no area to compute with.

    Returns
    -------
    ProcedureResult
        Section "sinking", to be merged into the table "span".

    Raises
    ------
    ReadingsError
        The rims have no radius (code "knife_edge").
    ConfigurationError
        The rollers do not carry a shaft of this size.

    Examples
    --------
    >>> rollers = Supports(2.0, 0.1, 30.0, 31.0)
    >>> round(1e3 * computed_sinking("carbon", 6.0, rollers).section["sink_mm_per_n"], 2)
    0.68
    """
    if supports.rim_radius_mm <= 0:
        raise ReadingsError(
            "a knife edge sinks in by what no theory of smooth bodies says; measure it", code="knife_edge"
        )
    upright = supports.upright(shaft_mm)
    rollers = 1 if supports.roller_diameter_mm is None else 2
    across = 2 / shaft_mm + (0 if supports.roller_diameter_mm is None else 2 / supports.roller_diameter_mm)

    def sunk(load_n: float, of: str) -> float:
        force = load_n / 2 / rollers / upright
        return hertz_approach_mm(force, (1 / supports.rim_radius_mm, across), MATERIALS[of]) / upright

    full, light = STANDARD.load_n, LIGHT_SHARE * STANDARD.load_n
    further = [sunk(full, of) - sunk(light, of) for of in (material, "steel")]
    support = (further[0] - further[1]) / (full - light)
    return _finding(support, {"theory_mm_per_n": (U_OF_THEORY * support, DOF_GUESS)})


def calibrate_sinking(readings: CalibrationReadings) -> ProcedureResult:
    """Return the sinking of a shaft under supports and head from a dial over a support.

    Parameters
    ----------
    readings : CalibrationReadings
        Columns body (shaft, steel), mass_g (of all masses that hang beside the support) and dial_mm, growing as the
        body goes down, in the order in which they were read.

    Returns
    -------
    ProcedureResult
        Section "sinking", to be merged into the table "span".

    Raises
    ------
    ReadingsError
        A body has too few changes of load (code "too_few"), or a load lifts it (code "reversed").
    """
    further = {body: _of_body(readings, body) for body in ("shaft", "steel")}
    (shaft, u_shaft, dof_shaft), (steel, u_steel, dof_steel) = further.values()
    # Per newton of a support's load; the load of the head is shared by two, which sink alike: half for each newton.
    budget = {"shaft_mm_per_n": (u_shaft / 2, dof_shaft), "steel_mm_per_n": (u_steel / 2, dof_steel)}
    light, full = float(readings["mass_g"].min()), float(readings["mass_g"].max())
    off = max(abs(light / LIGHT_G - 1), abs(full / FULL_G - 1))
    return _finding(max(0.0, shaft - steel) / 2, budget, (off > OTHER_LOADS, light, full))


def _of_body(readings: CalibrationReadings, body: str) -> tuple[float, float, float]:
    """Return what a body sinks per newton of the support's load, mm/N, with u and degrees of freedom."""
    own = np.array([word == body for word in readings.words["body"]])
    mass, dial = readings["mass_g"][own], readings["dial_mm"][own]
    change: Array = np.diff(mass) * STANDARD_GRAVITY / 1000
    changed = change != 0
    if changed.sum() < FEWEST:
        raise ReadingsError(
            f"{readings.source}: {int(changed.sum())} changes of the load of the {body} are too few; read light, full, "
            "light, full",
            code="too_few",
        )
    slopes = np.diff(dial)[changed] / change[changed]
    if slopes.mean() < 0:
        raise ReadingsError(
            f"{readings.source}: the {body} rises under load; write dial_mm so that it grows as the {body} goes down",
            code="reversed",
        )
    # Neighbouring changes share a reading, so only every other one is free of the others.
    return float(slopes.mean()), float(slopes.std(ddof=1) / math.sqrt(len(slopes) / 2)), max(1.0, len(slopes) / 2 - 1)


def _finding(
    support: float, budget: dict[str, tuple[float, float]], loads: tuple[bool, float, float] = (False, 0.0, 0.0)
) -> ProcedureResult:
    """Return the result for what the supports give, mm per newton of the head's load, with the head's share added."""
    whole = {cause: ((1 + HEAD_SHARE) * u, dof) for cause, (u, dof) in budget.items()}
    whole["head_mm_per_n"] = (U_HEAD_SHARE * support, DOF_GUESS)
    u, _ = combined(*whole.values())
    section = {"sink_mm_per_n": (1 + HEAD_SHARE) * support, "u_sink_mm_per_n": u}
    other, light, full = loads
    remarks = chosen(
        (True, "head_estimated", f"what the head presses in counts as {HEAD_SHARE:.0%} of what the supports do"),
        (
            other,
            "other_loads",
            f"{light:g} and {full:g} g hung at the support, in a cycle {LIGHT_G:g} and {FULL_G:g} g do; sinking is not "
            "in proportion to the load",
        ),
    )
    thou = (1 + HEAD_SHARE) * support * STANDARD.load_n / 0.0254
    return ProcedureResult("sinking", section, {"too_soft_by_thou": thou}, whole, remarks)
