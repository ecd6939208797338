"""Masses with their certificates, and the force they exert in air.

A certificate states the conventional mass: that of a body of 8000 kg/m3 which balances the mass in air of 1.2 kg/m3
(OIML D 28; the correction is that of JCGM 101:2008, 9.3.2). In other air, or with masses of another density, buoyancy
changes the force: by about 0.015 % for steel, and more for lighter materials.

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
U_MOST = 0.05  # of a mass; kitchen scales do far better with a hundred grams


@dataclass(frozen=True)
class Air:
    """Density of the air; from sea level to 300 m indoors it lies between 1.1 and 1.3 kg/m3.

    Parameters
    ----------
    density : float
        Density, kg/m3.
    u_density : float
        Its standard uncertainty, kg/m3.
    """

    density: float = 1.2
    u_density: float = 0.05


@dataclass(frozen=True)
class MassForce:
    """Force of a mass in air, with its standard uncertainty by cause; the uncertainty of gravity is not included.

    Parameters
    ----------
    newtons : float
        Force, N.
    u_mass_n : float
        Standard uncertainty from the mass, N.
    u_buoyancy_n : float
        Standard uncertainty from the buoyancy, N.
    """

    newtons: float
    u_mass_n: float
    u_buoyancy_n: float


@dataclass(frozen=True)
class Mass:
    """A mass with its conventional value.

    Parameters
    ----------
    name : str
        Name of the mass.
    mass_g : float
        Conventional mass, g.
    u_mass_g : float
        Its standard uncertainty, g.
    density : float
        Density, kg/m3.
    u_density : float
        Its standard uncertainty, kg/m3.
    certificate : str
        Certificate; empty if there is none.
    """

    name: str
    mass_g: float
    u_mass_g: float
    density: float = 7950.0
    u_density: float = 140.0
    certificate: str = ""

    def force_n(self, gravity_m_s2: float, air: Air) -> MassForce:
        """Return the force of the mass in air.

        Parameters
        ----------
        gravity_m_s2 : float
            Local gravity, m/s2.
        air : Air
            Density of the air.

        Returns
        -------
        MassForce
            Force with its uncertainty by cause.
        """
        buoyancy, u_buoyancy = buoyancy_factor(self.density, self.u_density, air)
        newtons = self.mass_g / 1000 * gravity_m_s2
        return MassForce(newtons * buoyancy, self.u_mass_g / 1000 * gravity_m_s2 * buoyancy, abs(newtons) * u_buoyancy)


def buoyancy_factor(density: float, u_density: float, air: Air) -> tuple[float, float]:
    """Return the force in air over conventional mass times gravity, and its standard uncertainty.

    The uncertainty includes the product term u(air) u(density). If the air happens to be the conventional air, the
    first-order term of the density vanishes and the product is all that is left.

    Parameters
    ----------
    density : float
        Density of the mass, kg/m3.
    u_density : float
        Its standard uncertainty, kg/m3.
    air : Air
        Density of the air.

    Returns
    -------
    factor : float
        Factor, dimensionless.
    u : float
        Its standard uncertainty, dimensionless.

    References
    ----------
    OIML D 28 (conventional mass); JCGM 101:2008, 9.3.2.6 (product term).

    Examples
    --------
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
    """Return the force of several masses together; their uncertainties add, because a set shares its errors.

    Parameters
    ----------
    forces : sequence of MassForce
        Force of each mass.

    Returns
    -------
    MassForce
        Their sum; 0 N for no masses.

    References
    ----------
    JCGM 100:2008, F.1.2.3 (correlated inputs).

    Examples
    --------
    >>> stacked([MassForce(2.0, 0.1, 0.0), MassForce(3.0, 0.2, 0.0)]).u_mass_n
    0.30000000000000004
    """
    return MassForce(
        math.fsum(force.newtons for force in forces),
        math.fsum(force.u_mass_n for force in forces),
        math.fsum(force.u_buoyancy_n for force in forces),
    )


class MassEntry(Section):
    """A mass of a masses file.

    Parameters
    ----------
    name : str
        Name of the mass.
    mass_g : float
        Conventional mass, g.
    u_mass_g : float
        Its standard uncertainty, g.
    density_kg_m3 : float
        Density, kg/m3.
    u_density_kg_m3 : float
        Its standard uncertainty, kg/m3.
    certificate : str
        Certificate; empty if there is none.
    """

    name: Annotated[str, Field(min_length=1, max_length=40)]
    mass_g: Annotated[float, Field(gt=0, lt=50_000)]
    u_mass_g: Annotated[float, Field(ge=0)]
    density_kg_m3: Annotated[float, Field(gt=900, lt=23_000)] = 7950.0
    u_density_kg_m3: Annotated[float, Field(ge=0, lt=5000)] = 140.0
    certificate: str = ""

    @model_validator(mode="after")
    def _is_known(self) -> "MassEntry":
        """Return the entry, or raise ValueError if the mass is too uncertain for a mass."""
        if self.u_mass_g > U_MOST * self.mass_g:
            raise ValueError(
                f"mass {self.name!r}: u_mass_g = {self.u_mass_g:g} g is more than {U_MOST:.0%} of its {self.mass_g:g} "
                "g; was it written in milligrams? Correct it, or weigh the mass"
            )
        return self

    def as_mass(self) -> Mass:
        """Return the mass that the entry describes.

        Returns
        -------
        Mass
            The mass.
        """
        return Mass(self.name, self.mass_g, self.u_mass_g, self.density_kg_m3, self.u_density_kg_m3, self.certificate)


class MassSet(Section):
    """A masses file.

    Parameters
    ----------
    mass : tuple of MassEntry
        The masses, at least one; names are unique.
    """

    mass: Annotated[tuple[MassEntry, ...], ARRAY, Field(min_length=1, max_length=14)]

    @model_validator(mode="after")
    def _are_told_apart(self) -> "MassSet":
        """Return the set, or raise ValueError if two masses have the same name."""
        names = [entry.name for entry in self.mass]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"mass {name!r} is listed twice; give each mass its own name")
        return self


def load_masses(path: Path) -> dict[str, Mass]:
    """Return the masses of a masses file.

    Parameters
    ----------
    path : Path
        TOML file.

    Returns
    -------
    dict
        Masses by name.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or a key is missing, unknown or out of range; the message names file and key.
    """
    return {entry.name: entry.as_mass() for entry in validated(MassSet, read_toml(path), path).mass}
