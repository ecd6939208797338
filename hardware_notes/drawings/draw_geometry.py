"""What follows from the frame's dimensions: heights, clearances and how much the frame gives."""

from __future__ import annotations

import tomllib
from math import asin, cos, degrees, sqrt
from pathlib import Path
from typing import Any

PARAMETERS = Path(__file__).with_name("frame.toml")
THOU_MM = 0.0254


class Frame:
    """The dimensions of `frame.toml` and what follows from them, in millimetres.

    >>> round(Frame.load().shaft_z(6.0), 2)
    98.25
    """

    def __init__(self, content: dict[str, Any]) -> None:
        self.shaft, self.beam, self.support = content["shaft"], content["beam"], content["support"]
        self.press, self.feeder = content["press"], content["feeder"]

    @classmethod
    def load(cls) -> Frame:
        """Return the dimensions of the file beside this module."""
        return cls(tomllib.loads(PARAMETERS.read_text(encoding="utf-8")))

    @property
    def half_rollers(self) -> float:
        """Distance from the shaft's plane to a roller's axle, mm."""
        return float(self.support["roller_diameter"] + self.support["roller_gap"]) / 2

    def shaft_z(self, diameter: float) -> float:
        """Height of the axis of a shaft at rest in the nip of the rollers."""
        reach = (self.support["roller_diameter"] + diameter) / 2
        return float(self.support["axle_height"]) + sqrt(reach**2 - self.half_rollers**2)

    def nip_deg(self, diameter: float) -> float:
        """Angle between the vertical and the line from a roller's axle to the shaft."""
        return degrees(asin(self.half_rollers / ((self.support["roller_diameter"] + diameter) / 2)))

    def head_above(self, diameter: float) -> float:
        """Height of the bearings' axles over the axis of the shaft that they press on."""
        reach = (self.press["head_bearing"] + diameter) / 2
        return sqrt(reach**2 - (self.press["head_spacing"] / 2) ** 2)

    @property
    def head_home_z(self) -> float:
        """Height of the bearings' axles at home."""
        usual = float(self.shaft["usual"])
        return self.shaft_z(usual) + self.head_above(usual) + float(self.press["home_clearance"])

    @property
    def cell_z(self) -> float:
        """Height of the cell's underside at home."""
        return self.head_home_z + float(self.press["head_bearing"]) / 2 + float(self.press["head_stem"])

    @property
    def carriage_z(self) -> tuple[float, float, float]:
        """Heights at home of the carriage's foot, the underside of its bracket, and the top of both."""
        foot = self.cell_z - float(self.press["carriage_below"])
        top = foot + float(self.press["carriage_height"])
        return foot, top - float(self.press["bracket_height"]), top

    @property
    def softest_thou(self) -> float:
        """Spine of the softest shaft that reaches the standard load before the limit of travel."""
        give = 0.88 * 9.80665 * float(self.press["cell_give_mm_per_n"])
        return float(self.press["travel"] - self.press["home_clearance"] - give) / THOU_MM

    @property
    def roller_top_z(self) -> float:
        """Top of the rollers."""
        return float(self.support["axle_height"]) + float(self.support["roller_diameter"]) / 2

    def beam_give(self) -> float:
        """Return the compliance of the beam at midspan, mm/N: L^3 / (48 E I), simply supported."""
        beam = self.beam
        return float(self.support["span"] ** 3 / (48 * beam["modulus_n_mm2"] * beam["second_moment_mm4"]))

    def column_give(self) -> float:
        """Return the lift of the head as the column leans, mm/N: the moment F a leans it by F a h / (E I)."""
        arm, height = -self.press["column_y"], self.head_home_z + 60.0  # up to about the middle of the carriage
        stiffness = self.beam["modulus_n_mm2"] * self.press["column_second_moment_mm4"]
        return float(arm**2 * height / stiffness)

    def end_slope(self, spine_thou: float) -> float:
        """Return the slope of a loaded shaft at its supports, radians: 3 d / L for a beam loaded in the middle."""
        return 3 * spine_thou * THOU_MM / float(self.support["span"])

    def rim_thou(self, rim_radius: float, spine_thou: float) -> float:
        """Return how much smaller the spine reads because the contact rolls inward on a rim of this radius, thou.

        Each contact moves by r times the slope, so the span shrinks by twice that, and the deflection goes as L^3.
        """
        shorter = 2 * rim_radius * self.end_slope(spine_thou)
        return 3 * shorter / float(self.support["span"]) * spine_thou

    def nip_share(self, diameter: float) -> float:
        """Return the force on each roller as a share of the load on that support: 1 / (2 cos nip)."""
        reach = (self.support["roller_diameter"] + diameter) / 2
        return 1 / (2 * cos(asin(self.half_rollers / reach)))
