"""What the solid model says of each build in numbers: mass, centre of mass, footing, cost and hours.

The model writes `files/figures.json`. Until it lies there, the estimates below stand in.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from frame.dimensions import STANDARD_GRAVITY, Frame

FIGURES = Path(__file__).parents[1] / "files" / "figures.json"
ALUMINIUM_G_MM3 = 2.70e-3
# Estimated, g: what hangs on the carriage beside its plate, arm and cell.
BLOCKS_G, HEAD_G, NUT_G, SMALL_G = 68.0, 30.0, 34.0, 66.0
CELL_FILLED = 0.85  # of a cell's outer form is metal
# Estimated by adding up the parts: kg, mm, mm, euros and hours of hands.
ESTIMATED: dict[str, dict[str, Any]] = {
    "hand bench": {"mass_kg": 5.6, "cost_eur": 98, "hours_estimated": {"printer": 36, "making": 6, "assembling": 4}},
    "fed by hand": {
        "mass_kg": 15.0, "centre_of_mass_mm": [20.0, -40.0, 40.0], "footing_mm": {"x": [-350, 350], "y": [-220, 220]},
        "cost_eur": 620, "hours_estimated": {"printer": 20, "making": 20, "assembling": 15},
    },
    "sorter": {
        "mass_kg": 28.0, "centre_of_mass_mm": [10.0, 100.0, 20.0], "footing_mm": {"x": [-460, 460], "y": [-220, 700]},
        "cost_eur": 950, "hours_estimated": {"printer": 60, "making": 40, "assembling": 35},
    },
}  # fmt: skip


def builds() -> dict[str, dict[str, Any]]:
    """Return the figures of each build by its name, the model's where it has written them.

    >>> {"fed by hand", "sorter", "hand bench"} <= set(builds())
    True
    """
    if not FIGURES.is_file():
        return ESTIMATED
    found = json.loads(FIGURES.read_text(encoding="utf-8"))
    return {name: {**estimate, **found.get(name, {})} for name, estimate in ESTIMATED.items()}


def moving_n(frame: Frame) -> float:
    """Return the weight of all that hangs on the carriage, N.

    >>> 6 < moving_n(Frame.load()) < 10
    True
    """
    known = builds()["fed by hand"].get("moving_g")
    if known is not None:
        return float(known) / 1000 * STANDARD_GRAVITY
    width, thick, height = frame.press.carriage
    depth, high = frame.cell.arm
    reach = frame.cell.length - frame.cell.free_end_x + width / 2
    cell = CELL_FILLED * frame.cell.length * frame.cell.width * frame.cell.height
    grams = ALUMINIUM_G_MM3 * (width * thick * height + reach * depth * high + cell)
    return float(grams + BLOCKS_G + HEAD_G + NUT_G + SMALL_G) / 1000 * STANDARD_GRAVITY
