"""Supports of a hand bench and the shafts on them: edges, friction, and how a shaft's wall gives and creeps.

Spine is stated for knife edges without friction (`midspan.measurement.definition`). What a bench has instead is
corrected by its best estimate, and what is not known of it is in the budget. A bench file that says nothing is taken
for fixed edges of any radius up to 5 mm, with friction of 0 to 0.2 that nothing releases.

>>> [round(part, 3) for part in BenchSupports().friction_left], BenchSupports(before_reading="turn").friction_left
([0.1, 0.058], (0.0, 0.005))
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from midspan.base.config import ARRAY, Section

# Largest friction of a shaft on what carries it: on fixed edges of metal (common practice, no source), and on pins in
# ball bearings, by the torque that the grease of a small bearing takes to start (estimate).
FIXED, ROLLING = 0.2, 0.02
TAPPED = 0.5  # of the friction may be left after a tap on the table (estimate)
# A shaft that slides around its axis, if only by a hundredth of a millimetre, has no friction along it. What is left
# is that of a turn which was not whole.
U_TURNED = 0.005
Release = Literal["nothing", "tap", "turn"]


class BenchSupports(Section):
    """The edges that carry the shaft, and what is done about friction before each reading.

    Parameters
    ----------
    rollers : bool
        True if the edges are pins that turn in ball bearings as the shaft bends.
    before_reading : str
        What is done before each reading with the weight on: nothing, tap (the table) or turn (the shaft, a few degrees
        to and fro).
    friction : float or None
        Largest friction of the shaft on its supports; None for 0.2 on fixed edges and 0.02 on rollers.
    edge_radius_mm, u_edge_radius_mm : float
        Radius of edges or pins, mm, and its standard uncertainty.
    """

    rollers: bool = False
    before_reading: Release = "nothing"
    friction: Annotated[float, Field(ge=0, le=1)] | None = None
    edge_radius_mm: Annotated[float, Field(ge=0, le=20)] = 2.5
    u_edge_radius_mm: Annotated[float, Field(ge=0, le=10)] = 1.5

    @property
    def friction_left(self) -> tuple[float, float]:
        """Friction at a reading and its standard uncertainty, relative to the reaction; above 0 stiffens the shaft.

        While the weight sinks, the shaft slides inward and friction pulls it outward: what nothing releases has that
        sign and lies anywhere below its bound. What a turn leaves may have either sign.
        """
        largest = self.friction if self.friction is not None else ROLLING if self.rollers else FIXED
        if self.before_reading == "turn":
            return 0.0, min(U_TURNED, largest / 3**0.5)
        left = largest * (TAPPED if self.before_reading == "tap" else 1.0)
        return left / 2, left / 12**0.5


class BenchShafts(Section):
    """The shafts that a bench measures, where it matters to the supports.

    Parameters
    ----------
    diameter_mm : tuple of float
        Smallest and largest diameter of the shafts, mm; it counts where a session does not say the shaft's own.
    sink_mm_per_n, u_sink_mm_per_n : float
        How far a shaft's walls give on the edges, mm of the dial per N of load, and its standard uncertainty.
    held_s : float
        Time from hanging the weight on to the reading, s.
    u_creep_per_decade : float
        Standard uncertainty of the relative rise of the deflection for each tenfold time under load; 0 for metal.
    """

    diameter_mm: Annotated[tuple[float, float], ARRAY] = (5.5, 9.0)
    sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)] = 5e-4
    u_sink_mm_per_n: Annotated[float, Field(ge=0, lt=0.05)] = 4e-4
    held_s: Annotated[float, Field(ge=0, le=3600)] = 10.0
    u_creep_per_decade: Annotated[float, Field(ge=0, le=0.05)] = 2e-4

    @model_validator(mode="after")
    def _are_shafts(self) -> Self:
        """Return the section, or raise ValueError if no shaft has such diameters."""
        low, high = self.diameter_mm
        if not 1 <= low <= high <= 30:
            raise ValueError(
                f"shafts.diameter_mm = [{low:g}, {high:g}] is not between 1 and 30 mm, smallest first: is it in inches?"
            )
        return self
