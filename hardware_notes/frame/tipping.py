"""How far the gauge is from tipping over: its centre of mass, its feet, and the push at its top that it bears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from frame.dimensions import STANDARD_GRAVITY, Frame

SHAFT_G = 25.0  # a usual shaft
FULL_HOPPER = 80  # shafts


@dataclass(frozen=True)
class Tipping:
    """Distance of the centre of mass to the nearer edge of the footing, mm, and the push at the top that tips, N."""

    margin_mm: float
    push_n: float


def tipping(frame: Frame, figures: dict[str, Any], hopper: tuple[float, float] | None = None) -> Tipping:
    """Return the margin of a build from the model's figures.

    `hopper` is the y of the middle of a full hopper and the mass of its shafts in kg; None for none.

    >>> box = {"mass_kg": 10.0, "centre_of_mass_mm": [0, 20, 0], "footing_mm": {"x": [-100, 100], "y": [-100, 100]}}
    >>> found = tipping(Frame.load(), box)
    >>> found.margin_mm, round(found.push_n, 1)  # 10 kg at 80 mm against the height of the top over the table
    (80, 13.1)
    """
    mass, (_, middle, _) = figures["mass_kg"], figures["centre_of_mass_mm"]
    if hopper:
        y, more = hopper
        middle, mass = (mass * middle + more * y) / (mass + more), mass + more
    low, high = figures["footing_mm"]["y"]
    margin = min(middle - low, high - middle)
    top = frame.lid.top_z - frame.table_z
    return Tipping(margin, margin * mass * STANDARD_GRAVITY / top)


def full_hopper(frame: Frame) -> tuple[float, float]:
    """Return the y of the middle of a full hopper, and the mass of its shafts, kg."""
    thick = frame.shaft.usual
    return float(frame.feeder.ramp_end[0] + FULL_HOPPER * thick / 2), FULL_HOPPER * SHAFT_G / 1000
