"""Masses with their certificates, and the force they put on a cell in air.

A certificate states the conventional mass: that of a body of 8000 kg/m3 which balances the mass in air of
1.2 kg/m3 (OIML D 28; the correction is that of JCGM 101:2008, 9.3.2). In other air, or with masses of other
density, buoyancy changes the force: 0.015 % for steel whatever one does, and more for lighter stuff.

>>> round(Mass("1 kg", 1000.0, 0.005).force_n(9.80665, Air()).newtons, 5)
9.80518
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated

CONVENTIONAL_DENSITY, CONVENTIONAL_AIR = 8000.0, 1.2  # kg/m3
BUOYANT = 1 - CONVENTIONAL_AIR / CONVENTIONAL_DENSITY
U_MOST = 0.05  # of a mass; kitchen scales know a hundred grams far better


@dataclass(frozen=True)
class Air:
    """Density of the air in kg/m3; from sea level to 300 m indoors it lies within 1.1 and 1.3."""

    density: float = 1.2
    u_density: float = 0.05


@dataclass(frozen=True)
class MassForce:
    """Force of a mass in air with its standard uncertainty by cause, gravity left out, in N."""

    newtons: float
    u_mass_n: float
    u_buoyancy_n: float


@dataclass(frozen=True)
class Mass:
    """One mass: conventional value and standard uncertainty in g, density in kg/m3, what vouches for it."""

    name: str
    mass_g: float
    u_mass_g: float
    density: float = 7950.0
    u_density: float = 140.0
    certificate: str = ""

    def force_n(self, gravity_m_s2: float, air: Air) -> MassForce:
        """Force in this air."""
        buoyancy, u_buoyancy = buoyancy_factor(self.density, self.u_density, air)
        newtons = self.mass_g / 1000 * gravity_m_s2
        return MassForce(newtons * buoyancy, self.u_mass_g / 1000 * gravity_m_s2 * buoyancy, abs(newtons) * u_buoyancy)


def buoyancy_factor(density: float, u_density: float, air: Air) -> tuple[float, float]:
    """Force in air over conventional mass times gravity, and its standard uncertainty.

    The uncertainty keeps the product term u(air) u(density): when the air happens to be the conventional one the
    first-order term of the density vanishes, and JCGM 101:2008, 9.3.2.6 shows what its neglect costs.

    >>> factor, u = buoyancy_factor(8000.0, 0.0, Air(1.2, 0.0))
    >>> round(factor, 6), u
    (0.99985, 0.0)
    """
    true_mass = BUOYANT / (1 - CONVENTIONAL_AIR / density)
    by_air = true_mass / density
    by_density = true_mass * (air.density - CONVENTIONAL_AIR) / (density * (density - CONVENTIONAL_AIR))
    product = air.u_density * u_density / density**2
    u = math.sqrt((by_air * air.u_density) ** 2 + (by_density * u_density) ** 2 + product**2)
    return true_mass * (1 - air.density / density), u


def stacked(forces: Sequence[MassForce]) -> MassForce:
    """Force of several masses together; their uncertainties add, for one set shares its faults (JCGM 100, F.1.2.3).

    >>> stacked([MassForce(2.0, 0.1, 0.0), MassForce(3.0, 0.2, 0.0)]).u_mass_n
    0.30000000000000004
    """
    return MassForce(
        math.fsum(one.newtons for one in forces),
        math.fsum(one.u_mass_n for one in forces),
        math.fsum(one.u_buoyancy_n for one in forces),
    )


class MassEntry(Section):
    """One mass of a masses file."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    mass_g: Annotated[float, Field(gt=0, lt=50_000)]
    u_mass_g: Annotated[float, Field(ge=0)]
    density_kg_m3: Annotated[float, Field(gt=900, lt=23_000)] = 7950.0
    u_density_kg_m3: Annotated[float, Field(ge=0, lt=5000)] = 140.0
    certificate: str = ""

    @model_validator(mode="after")
    def _is_known(self) -> "MassEntry":
        if self.u_mass_g > U_MOST * self.mass_g:
            raise ValueError(
                f"mass {self.name!r}: u_mass_g = {self.u_mass_g:g} g is more than {U_MOST:.0%} of its {self.mass_g:g} "
                "g; was it written in milligrams? Correct it, or weigh the mass"
            )
        return self

    def as_mass(self) -> Mass:
        """The mass it describes."""
        return Mass(self.name, self.mass_g, self.u_mass_g, self.density_kg_m3, self.u_density_kg_m3, self.certificate)


class MassSet(Section):
    """A masses file: one [[mass]] for each."""

    mass: Annotated[tuple[MassEntry, ...], ARRAY, Field(min_length=1, max_length=14)]

    @model_validator(mode="after")
    def _are_told_apart(self) -> "MassSet":
        names = [one.name for one in self.mass]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"mass {name!r} stands there twice; give each a name of its own")
        return self


def load_masses(path: Path) -> dict[str, Mass]:
    """Masses by name from a TOML file; ConfigurationError names what is wrong in it."""
    return {entry.name: entry.as_mass() for entry in validated(MassSet, read_toml(path), path).mass}
