"""Schematic drawings of the notes; the solid model draws the rest. `make redraw` writes them."""

from __future__ import annotations

from pathlib import Path

import draw_loading
import draw_pins
import draw_power
from frame.dimensions import Frame

PICTURES = Path(__file__).parents[1] / "pictures"


def pictures() -> dict[str, str]:
    """Return file name and content of each drawing."""
    return {
        "cell-loading.svg": draw_loading.loading(Frame.load()).svg,
        "wiring-pins.svg": draw_pins.pins().svg,
        "wiring-supplies.svg": draw_power.power().svg,
    }
