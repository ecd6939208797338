"""The simulated gauge stands on the frame that is drawn: its table is made from the same parameters.

Run as a script, it makes the table anew.
"""

import sys
from pprint import pformat

from places import ROOT

sys.path.insert(0, str(ROOT / "hardware_notes"))

from frame.compliance import gives
from frame.dimensions import Frame

TABLE = ROOT / "device" / "rehearsal" / "frame_table.py"
STEPS_PER_TURN = 3200.0  # of a motor of 1.8 degrees at 16 microsteps


def frame_table() -> str:
    """Return the module that gives the simulated gauge its frame."""
    frame = Frame.load()
    press = frame.press
    values = {
        "span_mm": frame.support.span,
        "contact_mm": press.home_clearance,
        "frame_mm_per_n": round(sum(part.mm_per_n for part in gives(frame)), 4),
        "press_steps_per_mm": STEPS_PER_TURN / press.screw_lead,
        "screw_lead_mm": press.screw_lead,
        "backlash_mm": press.nut_play,
        "lift_n": round(press.lift_n - press.carriage_n, 2),
        "drag_n": press.drag_n,
        "roller_mm": frame.support.roller_diameter,
    }
    lines = [f'    "{name}": {pformat(value)},\n' for name, value in values.items()]
    return (
        '"""Frame of the simulated gauge, made from hardware_notes/frame.toml by `make redraw`."""\n\n'
        "FRAME = {\n" + "".join(lines) + "}\n"
    )


def test_the_simulated_gauge_has_the_frame_that_is_drawn() -> None:
    assert TABLE.read_text(encoding="utf-8") == frame_table(), "make it anew: make redraw"


def test_the_carriage_stays_on_one_flank_of_the_nut_under_every_load() -> None:
    """The counterweight must outweigh carriage and drag: then the load only adds to it (statics)."""
    press = Frame.load().press
    assert press.lift_n - press.carriage_n > press.drag_n


if __name__ == "__main__":
    TABLE.write_text(frame_table(), encoding="utf-8")
