"""The frame's dimensions and the places that follow from them."""

from __future__ import annotations

import tomllib
from math import asin, cos, degrees, sqrt
from pathlib import Path
from types import SimpleNamespace
from typing import Any

STANDARD_GRAVITY = 9.80665  # m/s2
PARAMETERS = Path(__file__).parents[1] / "frame.toml"


class Frame:
    """The dimensions of `frame.toml`, a section each, and the places that follow from them, mm.

    >>> frame = Frame.load()
    >>> frame.support.span, round(frame.shaft_z(6.0), 2)
    (711.2, 99.15)
    """

    def __init__(self, content: dict[str, dict[str, Any]]) -> None:
        self.content = content
        for section, values in content.items():
            setattr(self, section, SimpleNamespace(**values))

    def __getattr__(self, section: str) -> SimpleNamespace:
        raise AttributeError(f"frame.toml has no section [{section}]")

    @classmethod
    def load(cls, path: Path = PARAMETERS) -> Frame:
        """Return the dimensions of a parameters file.

        >>> Frame.load().shaft.usual
        6.0
        """
        return cls(tomllib.loads(path.read_text(encoding="utf-8")))

    # Supports

    @property
    def half_rollers(self) -> float:
        """Distance from the shaft's plane to a roller's axle."""
        return float(self.support.roller_diameter + self.support.roller_gap) / 2

    @property
    def table_z(self) -> float:
        """Height of the table that the feet stand on."""
        return -float(self.beam.height + self.base.cross_section + self.base.foot_height)

    @property
    def roller_top_z(self) -> float:
        """Height of the top of the rollers."""
        return float(self.support.axle_height + self.support.roller_diameter / 2)

    def shaft_z(self, diameter: float) -> float:
        """Return the height of the axis of a shaft at rest in the nip of the rollers."""
        reach = (self.support.roller_diameter + diameter) / 2
        return float(self.support.axle_height) + sqrt(reach**2 - self.half_rollers**2)

    @property
    def stop_z(self) -> float:
        """Height of the end stop's felt: between the axes of the thinnest and the thickest shaft."""
        return round((self.shaft_z(self.shaft.thinnest) + self.shaft_z(self.shaft.thickest)) / 2)

    def stop_x(self, length: float) -> float:
        """Return where the end stop's felt meets the left end of a shaft of that length.

        The shaft stands in the middle, but for the longest ones: the stop's rod would reach the lid.
        """
        return max(-length / 2, -float(self.base.stop_limit))

    def nip_deg(self, diameter: float) -> float:
        """Return the angle between the vertical and the line from a roller's axle to the shaft."""
        return degrees(asin(self.half_rollers / ((self.support.roller_diameter + diameter) / 2)))

    def nip_share(self, diameter: float) -> float:
        """Return the force on each roller as a share of the load on that support: 1 / (2 cos nip)."""
        reach = (self.support.roller_diameter + diameter) / 2
        return 1 / (2 * cos(asin(self.half_rollers / reach)))

    def bent_share(self, x: float) -> float:
        """Return the deflection at a distance from midspan as a share of that at midspan, where the load is.

        >>> Frame.load().bent_share(0.0)
        1.0
        """
        off = 0.5 - abs(x) / float(self.support.span)
        return 3 * off - 4 * off**3

    def lengths(self, span: float) -> tuple[float, float]:
        """Return the lengths of the shortest and the longest shaft of one of the two spans.

        >>> Frame.load().lengths(711.2)
        (740.0, 860.0)
        """
        if span == self.support.span:
            return self.shaft.shortest, self.shaft.longest
        return self.shaft.cut_shortest, self.shaft.shortest

    # Press, all heights at home

    def head_above(self, diameter: float) -> float:
        """Return the height of the bearings' axles over the axis of the shaft that they press on."""
        reach = (self.head.bearing[1] + diameter) / 2
        return sqrt(reach**2 - (self.head.spacing / 2) ** 2)

    @property
    def head_home_z(self) -> float:
        """Height of the bearings' axles."""
        usual = float(self.shaft.usual)
        return self.shaft_z(usual) + self.head_above(usual) + float(self.press.home_clearance)

    @property
    def cell_z(self) -> float:
        """Height of the cell's underside."""
        return self.head_home_z + float(self.head.bearing[1]) / 2 + float(self.head.stem)

    @property
    def arm_z(self) -> float:
        """Height of the underside of the arm over the cell."""
        return self.cell_z + float(self.cell.height + self.cell.arm_gap)

    @property
    def column_front_y(self) -> float:
        """Face of the column that carries the rail."""
        return float(self.press.column_y + self.press.column / 2)

    @property
    def carriage_back_y(self) -> float:
        """Face of the carriage plate against the rail's blocks."""
        return self.column_front_y + float(self.press.block_height)

    @property
    def carriage_front_y(self) -> float:
        """Face of the carriage plate against the arm."""
        return self.carriage_back_y + float(self.press.carriage[1])

    @property
    def carriage_z(self) -> float:
        """Height of the middle of the carriage plate, which is the middle of the arm."""
        return self.arm_z + float(self.cell.arm[1]) / 2

    @property
    def carriage_top_z(self) -> float:
        """Height of the upper edge of the carriage plate."""
        return self.carriage_z + float(self.press.carriage[2]) / 2

    @property
    def carriage_lowest(self) -> float:
        """Way of the carriage from home to the lower stop, negative as down is."""
        return -float(self.press.travel + self.press.lower_stop_beyond)

    @property
    def head_plate_top_z(self) -> float:
        """Height of the upper face of the plate on the column."""
        return float(self.press.column_top + self.press.head_plate)

    @property
    def counterweight_g(self) -> float:
        """Mass that pulls the carriage up with `lift_n`, by standard gravity."""
        return 1000 * float(self.press.lift_n) / STANDARD_GRAVITY
