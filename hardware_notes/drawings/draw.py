"""Draws every picture of the notes anew: `python hardware_notes/drawings/draw.py`."""

from __future__ import annotations

from pathlib import Path

import draw_feeder
import draw_front
import draw_loading
import draw_pins
import draw_power
import draw_section
from draw_geometry import Frame

PICTURES = Path(__file__).parents[1] / "pictures"


def pictures() -> dict[str, str]:
    """Return file name and content of each drawing."""
    frame = Frame.load()
    return {
        "frame-front.svg": draw_front.front(frame).svg,
        "frame-section.svg": draw_section.section(frame).svg,
        "cell-loading.svg": draw_loading.loading(frame).svg,
        "feeder.svg": draw_feeder.feeder(frame).svg,
        "wiring-pins.svg": draw_pins.pins().svg,
        "wiring-supplies.svg": draw_power.power().svg,
    }


if __name__ == "__main__":
    for name, svg in pictures().items():
        (PICTURES / name).write_text(svg, encoding="utf-8")
