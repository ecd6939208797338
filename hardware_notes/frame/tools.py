"""Three levels of tools and how well each lets the gauge be known, before any shaft is measured.

All u are standard uncertainties. A bound that a tool is good for is half the width of a rectangle: u is 1 / 1.73 of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

RECTANGLE = 1 / sqrt(3)
LOAD_G = 880.0
BENT_MM = 11.4  # way between the depths at spine 500


@dataclass(frozen=True)
class Level:
    """A level of tools: what each quantity is measured with and the bound of its error.

    `span_mm`, `mass_g` and `dial_mm` are bounds of the span, of the masses' sum of 880 g, and of a way of some 11 mm;
    `screw_mm`, `give` (mm/N) and `bent_n` are standard uncertainties of what repeats every turn of the screw, of the
    give, and of the cell's curvature.
    """

    name: str
    tools: str
    span_mm: float
    mass_g: float
    dial_mm: float
    screw_mm: float
    give: float
    bent_n: float

    def calibration(self) -> dict[str, dict[str, float]]:
        """Return the uncertainties as a calibration file has them.

        >>> [round(level.calibration()["span"]["u_span_mm"], 3) for level in LEVELS]
        [0.144, 0.046, 0.017]
        """
        return {
            "span": {"u_span_mm": RECTANGLE * self.span_mm},
            "force": {"u_scale": RECTANGLE * self.mass_g / LOAD_G, "u_linearity_n": self.bent_n},
            "travel": {"u_scale": RECTANGLE * self.dial_mm / BENT_MM, "u_screw_mm": self.screw_mm},
            "frame": {"u_give_mm_per_n": self.give},
        }


# Bounds from memory of what these tools do in careful hands.
LEVELS = (
    Level(
        "school", "steel rule of 1 m; dial of 0.01 mm; kitchen masses weighed on a verified scale to 1 g; bar of 20 mm",
        span_mm=0.25, mass_g=1.0, dial_mm=0.010, screw_mm=0.003, give=5e-4, bent_n=1e-3,
    ),
    Level(
        "careful maker", "bar of known length and feeler gauges; dial of 0.001 mm over 12 mm; masses weighed to 0.2 g; "
        "a bar of 25 mm",
        span_mm=0.08, mass_g=0.2, dial_mm=0.003, screw_mm=0.001, give=2.5e-4, bent_n=5e-4,
    ),
    Level(
        "shop", "gauge blocks; dial of 0.001 mm with its certificate; class F2 masses; a ground bar of 25 mm",
        span_mm=0.03, mass_g=0.05, dial_mm=0.0015, screw_mm=0.0005, give=1e-4, bent_n=3e-4,
    ),
)  # fmt: skip
