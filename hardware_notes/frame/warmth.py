"""What a kelvin costs: span on the beam, screw, column, and the shaft itself, thou at a spine of 500.

Expansion and the change of moduli: Callister, appendix B, and Roark's table of temperature effects, aluminium's modulus
from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from frame.contact import LIGHT, THOU_MM
from frame.dimensions import Frame

EXPANSION = {"aluminium": 23.4e-6, "steel": 11.7e-6}
SOFTENING = {"steel": 2.8e-4, "aluminium": 5.5e-4}  # of Young's modulus
CARBON_SOFTENING = 0.8e-4  # of a carbon shaft, from memory


@dataclass(frozen=True)
class Warmth:
    """What one kelvin more does to the spine of a shaft of 500, thou."""

    cause: str
    thou_per_k: float


def warmth(frame: Frame, spine_thou: float = 500.0) -> tuple[Warmth, ...]:
    """Return the causes; a longer span and a softer shaft read larger, a longer screw reads smaller.

    >>> [round(part.thou_per_k, 3) for part in warmth(Frame.load())]
    [0.035, -0.006, 0.14, 0.275, 0.04]
    """
    return (
        Warmth("span, aluminium beam", 3 * EXPANSION["aluminium"] * spine_thou),
        Warmth("travel, steel screw", -EXPANSION["steel"] * spine_thou),
        Warmth("a steel bar bends more", SOFTENING["steel"] * spine_thou),
        Warmth("an aluminium shaft bends more", SOFTENING["aluminium"] * spine_thou),
        Warmth("a carbon shaft bends more", CARBON_SOFTENING * spine_thou),
    )


def column_warming_thou(frame: Frame, kelvin_per_s: float, seconds: float) -> float:
    """Return the error of spine from a column that warms between both depths, thou.

    The head rises with the column between the beam and the head plate, less what the screw below it comes down; the
    shaft stands still. Only what happens between the two depths counts, for the zero of the travel is the light depth.

    >>> round(column_warming_thou(Frame.load(), 0.01 / 60, 5.0), 4)  # a kelvin in a hundred minutes
    0.0003
    """
    height = frame.press.column_top
    grown = EXPANSION["aluminium"] * height * kelvin_per_s * seconds
    return float(grown / (1 - LIGHT) / THOU_MM)
