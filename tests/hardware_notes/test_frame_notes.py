"""The tables in hardware_notes/frame.md are those that the frame's numbers give today.

Run as a script, it draws them anew.
"""

import json
from math import cos, radians

from drawn_tables import drawn_anew, heading, names
from frame import compliance, contact, forces
from frame.dimensions import Frame
from frame.figures import builds, moving_n
from frame.rolling import bow_that_stops
from frame.supports import runout_thou, walk_mm_a_turn
from frame.tipping import full_hopper, tipping
from frame.warmth import column_warming_thou, warmth
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.board.board_file import BoardFile, down_mm_s
from midspan.hand_bench.conversion import off_centre_loss
from midspan.measurement.cycle_plan import APPROACH_MM_S
from places import ROOT

NOTES = ROOT / "hardware_notes" / "frame.md"
FRAME = Frame.load()
BOARD = json.loads((ROOT / "device" / "board.json").read_text(encoding="utf-8"))
PER_N = BOARD["limits"]["count"] / (1.6 * 9.80665)  # the file as it comes: 1.6 kg
SPINE = 500.0
SPAN = FRAME.support.span


def parts():
    yield from heading("part", "give, um/N", "share", "from memory")
    found = compliance.gives(FRAME)
    total = sum(give.mm_per_n for give in found)
    for give in sorted(found, key=lambda give: -give.mm_per_n):
        memory = "yes" if give.memory else ""
        yield (give.part, f"{1000 * give.mm_per_n:.3f}", f"{give.mm_per_n / total:.1%}", memory)
    yield ("together", f"{1000 * total:.2f}", "100%", "")
    rest = total - FRAME.cell.give_mm_per_n
    yield ("without the cell", f"{1000 * rest:.2f}", f"{rest / total:.1%}", "")


def acting():
    yield from heading("force", "how much", left=1)
    nut = forces.on_the_nut(FRAME)
    yield ("weight of all that hangs on the carriage", f"{moving_n(FRAME):.1f} N")
    yield ("pull of the counterweight", f"{FRAME.press.lift_n:g} N")
    yield ("drag of rail and nut, at most", f"{FRAME.press.drag_n:g} N")
    yield ("left on the nut's upper flank, drag taken off, at rest", f"{nut.free:.1f} N")
    yield ("the same at the light and at the full load", f"{nut.light:.1f} and {nut.full:.1f} N")
    yield ("friction that turns a shaft at the light load, oiled bearings", f"{traction(forces.OILED, 2):.2f}")
    yield ("the same, greased bearings", f"{traction(forces.GREASED, 2):.2f}")
    yield (
        "the same with one driven roller a support, oiled and greased",
        f"{traction(forces.OILED, 1):.2f} and {traction(forces.GREASED, 1):.2f}",
    )
    moved = (f"{forces.ends_move_in_mm(FRAME, spine):.2f}" for spine in (SPINE, 1000.0))
    yield ("way of each end over its support, at 500 and 1000", f"{' and '.join(moved)} mm")
    lost = (f"{forces.friction_thou(FRAME, spine, 0.2):.0f}" for spine in (SPINE, 1000.0))
    yield ("what a friction of 0.2 would cost without turning, at 500 and 1000", f"{' and '.join(lost)} thou")
    yield ("force at which the motor stalls", f"{FRAME.press.stall_n:g} N")
    yield ("softest shaft that reaches the standard load", f"spine {forces.softest_thou(FRAME):.0f}")
    rails = FRAME.shaft.usual, FRAME.feeder.slope, FRAME.feeder.ramp_x, FRAME.shaft.shortest
    yield ("bow at which a shaft stays lying on the hopper's rails", f"{bow_that_stops(*rails):.1f} mm")
    yield ("the same, if they had felt", f"{bow_that_stops(*rails, 0.3):.1f} mm")
    for name, words in (("fed by hand", "gauge"), ("sorter", "sorter, hopper full")):
        hopper = full_hopper(FRAME) if name == "sorter" else None
        found = tipping(FRAME, builds()[name], hopper)
        told = f"{found.margin_mm:.0f} mm from the edge of its feet; {found.push_n:.0f} N"
        yield (f"{words}: centre of mass, and the push at its top that tips it", told)


def traction(torque, driven):
    return forces.traction_needed(FRAME, torque, driven)


def stops():
    yield from heading("on something rigid", *(f"at {mm_s:g} mm/s" for mm_s in speeds()))
    rows = (
        ("what the motor's steps ask for", lambda v: forces.on_rigid_n(BOARD, PER_N, v)),
        ("what the head presses with", lambda v: forces.head_presses_n(FRAME, BOARD, PER_N, v)),
        ("of it on the cell", lambda v: forces.on_the_cell_n(FRAME, forces.head_presses_n(FRAME, BOARD, PER_N, v))),
        ("what the cell bears", lambda _: forces.cell_bears_n(FRAME)),
    )
    for words, force in rows:
        yield (words, *(f"{force(mm_s):.0f} N" for mm_s in speeds()))


def speeds():
    return 6.0, APPROACH_MM_S, float(down_mm_s(BoardFile.model_validate(BOARD))), 30.0


def alignment():
    yield from heading("what is off", "by", "costs at 500, thou", "tolerance", left=2)
    slide = [forces.slide_n(FRAME, skew) for skew in (5.0, 0.5)]
    compensated = [forces.slide_error_thou(FRAME, force, SPINE) for force in slide]
    plain = [forces.slide_error_thou(FRAME, force, SPINE, compensated=False) for force in slide]
    runout = runout_thou(FRAME, FRAME.shaft.usual)
    walk = [walk_mm_a_turn(FRAME.shaft.usual, skew) for skew in (5.0, 0.5)]
    rows = (
        ("the span, between the crowns", "0.05 mm", 3 * 0.05 / SPAN * SPINE, "measured to 0.05 mm"),
        ("a crown beside its support's other one", "0.1 mm", 3 * 0.05 / SPAN * SPINE, "0.05 mm"),
        ("the head beside midspan", "2 mm", off_centre_loss(2.0, SPAN) * SPINE, "1 mm"),
        ("the screw's rail out of square to the beam", "2°", (1 - cos(radians(2))) * SPINE, "0.5°"),
        ("the cell's face out of level", "0.5°", (1 - cos(radians(0.5))) * SPINE, "0.5°"),
        ("one support higher than the other", "1 mm", (1 - cos(1 / SPAN)) * SPINE, "1 mm"),
        ("a crown's radius", "0.1 mm", contact.rolling_left_thou(FRAME, SPINE, 0.1), "0.1 mm"),
        ("a roller's runout, in a single reading", f"{FRAME.support.roller_runout:g} mm", runout, "0.005 mm"),
        (f"a support's axles askew: {walk[0]:.2f} mm a turn, {slide[0]:.1f} N", "5 mrad", compensated[0], "0.5 mrad"),
        (f"the same: {walk[1]:.3f} mm, {slide[1]:.1f} N", "0.5 mrad", compensated[1], "0.5 mrad"),
        ("the same on a plain bending beam", "0.5 mrad", plain[1], "take none"),
        ("the nut's play, if it changes flank", f"{FRAME.press.nut_play:g} mm", between_depths(FRAME.press.nut_play),
         "one flank only"),
        ("play of the screw's bearings, if it turns over", "0.02 mm", between_depths(0.02), "preloaded"),
    )  # fmt: skip
    for words, by, thou, tolerance in rows:
        yield (words, by, f"{thou:.3f}" if thou < 0.1 else f"{thou:.2f}", tolerance)


def kelvin():
    yield from heading("cause", "thou a kelvin at 500")
    for part in warmth(FRAME, SPINE):
        yield (part.cause, f"{part.thou_per_k:+.3f}")
    yield (
        "column, warming by 5 K an hour, between the two depths",
        f"{column_warming_thou(FRAME, 5 / 3600, 5.0):+.4f}",
    )


def between_depths(way_mm):
    """Return what a way that comes between the light and the full depth does to a spine, thou."""
    return way_mm / (1 - contact.LIGHT) / MM_PER_THOU


def spoilers():
    yield from heading("cause", "at 500, thou", "at 1000", "what is done", left=1)
    usual = FRAME.shaft.usual
    sinks = [
        contact.on_rims(FRAME, usual, material).sunk_thou + contact.under_head(FRAME, usual, material).sunk_thou
        for material in ("steel", "aluminium", "carbon", "wood")
    ]
    rolls = [contact.rolling_thou(FRAME, usual, spine) for spine in (SPINE, 1000.0)]
    lag = 1000 * compliance.rotor_lag(FRAME) * STANDARD.load_n / 25.4
    flank = between_depths(FRAME.press.nut_play)
    axial = between_depths(0.02)
    pins = [contact.rolled_thou((FRAME.hand_bench.pin + usual) / 2, SPAN, spine) for spine in (SPINE, 1000.0)]
    slide = forces.slide_error_thou(FRAME, forces.slide_n(FRAME, 0.5), SPINE)
    free = [forces.friction_thou(FRAME, spine, 0.2) for spine in (SPINE, 1000.0)]
    sunk = f"{sinks[0]:+.2f} steel, {sinks[1]:+.2f} aluminium, {sinks[2]:+.2f} carbon, {sinks[3]:+.2f} wood"
    yield ("shaft sinks into rims and head", sunk, "the same", "corrected by `sink_mm_per_n`, as it comes for carbon")
    yield ("contacts roll inward over crown and shaft", f"{-rolls[0]:+.2f}", f"{-rolls[1]:+.2f}",
           "corrected by `rim_mm`; what shafts of other sizes change is in U")  # fmt: skip
    yield ("the same on the hand bench's pins", f"{-pins[0]:+.2f}", f"{-pins[1]:+.2f}",
           "corrected, by `edge_radius_mm` and the diameter")  # fmt: skip
    yield ("nut changes flank", f"{flank:.1f}", f"{flank:.1f}", "counterweight: it cannot")
    yield ("0.02 mm of play of the screw's bearings", f"{axial:.1f}", f"{axial:.1f}", "preloaded pair: none")
    yield (
        "motor's rotor lags",
        f"{lag:.2f}",
        f"{lag:.2f}",
        "in the measured give: anew after a change of current",
    )
    yield ("side force on the cell", f"{slide:.2f}", f"{2 * slide:.2f}", "compensated cell, axles parallel to 0.5 mrad")
    yield ("friction of the ends, unturned", f"{free[0]:.0f}", f"{free[1]:.0f}", "turned under load: rolled out")
    gives = 1000 * sum(give.mm_per_n for give in compliance.gives(FRAME)) * STANDARD.load_n / 25.4
    yield ("frame gives", f"{gives:.1f}", "the same", "measured; what is left of it is in U")


TABLES = {
    "parts": parts,
    "forces": acting,
    "stops": stops,
    "alignment": alignment,
    "kelvin": kelvin,
    "spoilers": spoilers,
}


def test_the_tables_are_those_of_the_frame():
    text = NOTES.read_text(encoding="utf-8")
    assert set(names(text)) == set(TABLES)
    assert text == drawn_anew(text, TABLES), "draw it anew: make redraw"


if __name__ == "__main__":
    NOTES.write_text(drawn_anew(NOTES.read_text(encoding="utf-8"), TABLES), encoding="utf-8")
