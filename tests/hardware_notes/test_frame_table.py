"""The simulated gauge stands on the frame that is drawn: its table is made from the same parameters.

Run as a script, it makes the table anew.
"""

import sys
from pprint import pformat

from places import ROOT

sys.path.insert(0, str(ROOT / "hardware_notes"))

from frame.compliance import gives
from frame.contact import OF_POINT, THOU_MM, on_rims, under_head
from frame.dimensions import Frame
from frame.forces import slide_error_thou, slide_n
from frame.warmth import EXPANSION

TABLE = ROOT / "device" / "rehearsal" / "frame_table.py"
STEPS_PER_TURN = 3200.0  # of a motor of 1.8 degrees at 16 microsteps
SPINE_THOU, SKEW_MRAD = 500.0, 0.5  # at which a share of the load is worked out; tolerance of a support's axles


def sinking_mm(frame: Frame) -> float:
    """Return how far a carbon shaft of the usual size sinks into rims and head at the standard load."""
    usual = frame.shaft.usual
    return (
        on_rims(frame, usual, "carbon").sunk_thou / OF_POINT + under_head(frame, usual, "carbon").sunk_thou
    ) * THOU_MM


def side_share(frame: Frame) -> float:
    """Return by what part of the load the cell reads wrong where the supports are as askew as they may be."""
    return slide_error_thou(frame, slide_n(frame, SKEW_MRAD), SPINE_THOU) / SPINE_THOU


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
        "rim_radius_mm": frame.support.rim_radius,
        "roller_gap_mm": frame.support.roller_gap,
        "roller_runout_mm": frame.support.roller_runout,
        "sink_mm_at_standard": round(sinking_mm(frame), 4),
        "side_share": round(side_share(frame), 6),
        "span_expansion_per_k": EXPANSION["aluminium"],
        "screw_expansion_per_k": EXPANSION["steel"],
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
