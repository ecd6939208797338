"""What to make sure of at each step of the assembly: with what, what it must be, what a miss costs at spine 500.

Numbers follow from the frame; what no number says is common practice, no source.
"""

from math import cos, radians

from drawn_tables import heading
from frame import forces
from frame.belts import run_tension_n
from frame.compliance import thrust_bearings
from frame.dimensions import Frame
from frame.figures import builds
from frame.rolling import bow_that_stops
from frame.supports import idler_z, runout_thou, walk_mm_a_turn, wheels
from frame.tipping import full_hopper, tipping
from frame.trays import holds
from midspan.base.units import MM_PER_THOU
from midspan.hand_bench.conversion import off_centre_loss

FRAME = Frame.load()
SPINE = 500.0
SPAN = float(FRAME.support.span)
RAILS = FRAME.shaft.usual, FRAME.feeder.slope, FRAME.feeder.ramp_x, FRAME.shaft.shortest
WALK_TURNS = 50


def thou(value):
    """Return a cost in thou with two digits that count."""
    return f"{value:.3f}" if abs(value) < 0.1 else f"{value:.2f}"


def tilted(degrees):
    """Return what a direction that is off by an angle takes off a spine of 500, thou."""
    return thou((1 - cos(radians(degrees))) * SPINE)


def between_depths(way_mm):
    """Return what a way that comes between the light and the full depth does to a spine, thou."""
    return way_mm / (1 - forces.LIGHT) / MM_PER_THOU


def sure(*rows):
    """Return a function that yields a table of what to make sure of."""
    return lambda: (*heading("make sure that", "with", "it must be", "what a miss costs at 500", left=4), *rows)


def drag_of_pins(friction):
    """Return what friction along a shaft costs on supports below it, thou: 2.4 mu d / L of its spine."""
    return 2.4 * friction * SPINE * MM_PER_THOU / SPAN * SPINE


def long_run_mm():
    """Return the length of the belt's run from layshaft to roller, mm: as their axes, since the pulleys are alike."""
    layshaft, roller = wheels(FRAME, idler_z(FRAME))[:2]
    return ((roller.y - layshaft.y) ** 2 + (roller.z - layshaft.z) ** 2) ** 0.5


def stop_row(gap_mm):
    """Return the force at which the cell's free end meets a stop with a gap, N."""
    return gap_mm / FRAME.cell.give_mm_per_n


def heights():
    """Return the heights over the beam of the upper and lower stop's rubber and of the plate's top at home, mm."""
    top = FRAME.carriage_top_z
    bottom = FRAME.carriage_z - FRAME.press.carriage[2] / 2 + FRAME.carriage_lowest
    return top + FRAME.press.upper_stop_beyond, bottom, top


def head_over_layshaft():
    """Return how far the head's bearings stay over the layshaft on the lower stop, mm."""
    lowest = FRAME.head_home_z + FRAME.carriage_lowest - FRAME.head.bearing[1] / 2
    return lowest - FRAME.drive.layshaft_z - FRAME.drive.layshaft_diameter / 2


def preload_kg():
    """Return the mass that leaves the preload when it is taken off the screw.

    It loads one bearing only; then both share the way, half each, and a ball's force goes with the way's power of 1.5.
    """
    return FRAME.press.thrust_preload_n * 2**1.5 / forces.STANDARD_GRAVITY


def grams(newton):
    return newton / forces.STANDARD_GRAVITY * 1000


def slid(skew_mrad):
    """Return what rollers that are askew cost by pushing the shaft along under the head, thou."""
    return forces.slide_error_thou(FRAME, forces.slide_n(FRAME, skew_mrad), SPINE)


def pushed(build):
    """Return the push at its top that tips a gauge, in words; a sorter's hopper is full."""
    hopper = full_hopper(FRAME) if build == "sorter" else None
    newton = tipping(FRAME, builds()[build], hopper).push_n
    return f"{newton:.0f} N ({grams(newton) / 1000:.1f} kg) before it tips"


PIN = float(FRAME.hand_bench.pin)
BENCH = {
    "sure h1": sure(
        ("the cross bars are square to the beam", "a square", "1 mm in 200", tilted(0.3)),
        ("nothing rocks", "a hand on each corner", "still; turn a foot's stud in its nut", "readings that scatter"),
    ),
    "sure h2": sure(
        (
            "a shaft that is rolled over the pins turns them",
            "a finger",
            "each pin turns, freely and without a sound",
            f"{thou(drag_of_pins(0.2))}, if both stick",
        ),
        (
            "the pins are as far apart as they should be",
            "steel rule or inside caliper, between the pins, five times",
            f"{SPAN - PIN:.1f} mm within 0.5, and known to 0.15",
            f"{thou(3 * 0.15 / SPAN * SPINE)} for 0.15 mm",
        ),
        ("they are parallel", "the same, at both ends of the pins", "alike within 0.2 mm", tilted(0.6)),
        ("they are level", "a spirit level on a straight shaft", "1 mm from end to end", "nothing"),
    ),
    "sure h3": sure(
        (
            "the dial's axis is plumb",
            "a square on the table, from the front and from the side",
            "2°, 0.5° for a check standard",
            f"{tilted(2)}; {tilted(0.5)}",
        ),
        ("its tip is at midspan", "steel rule from both pins", "1 mm", thou(off_centre_loss(1.0, SPAN) * SPINE)),
        (
            "its stand touches neither beam nor cross bars",
            "a sheet of paper all round",
            "free",
            "all that the beam bends",
        ),
    ),
    "sure h4": sure(
        ("the disc touches nothing but the shaft", "turn the shaft once", "free all round", "readings that stick"),
        ("the pointer meets a mark at each of the eight places", "eye level with the pointer", "2°", "nothing"),
    ),
    "sure h5": sure(
        (
            "hook, pan and fill together weigh what they should",
            "scales of 0.1 g",
            f"{FRAME.hand_bench.weight_g:g} g within 0.3",
            thou(0.3 / FRAME.hand_bench.weight_g * SPINE),
        ),
        (
            "the pan hangs free with the softest shaft that you will measure",
            "press the shaft down by hand",
            f"free of the board, {FRAME.hand_bench.deepest:g} mm lower",
            "a weight that is partly carried",
        ),
    ),
}
GAUGE = {
    "sure base": sure(
        ("the cross beams are square to the beam", "a square", "1 mm in 200", "nothing"),
        ("all four feet stand", "a hand on each corner", "it does not rock", "nothing; but it walks"),
        ("the beam is level, along and across", "spirit level", "1 mm on its length; a feeder rolls by it", "nothing"),
    ),
    "sure stands": sure(
        (
            "a roller runs freely before its belt is on",
            "flick it",
            "about a turn; with grease in its bearings a tenth",
            "shafts that slip at the light load",
        ),
        ("an axle has little play along itself", "two fingers", "felt at most: 0.05 mm", "nothing"),
        (
            "each rim is true",
            "dial of 0.001 mm on the crown, one turn",
            f"{FRAME.support.roller_runout:g} mm",
            f"{thou(runout_thou(FRAME, FRAME.shaft.usual))}, in a single reading",
        ),
        (
            "both crowns of a stand lie in one plane",
            "straightedge and feeler gauge at the flanks",
            "0.05 mm",
            thou(3 * 0.025 / SPAN * SPINE),
        ),
        (
            "the foot plate lies flat on the beam",
            "feeler gauge of 0.02 mm at its four corners",
            "it does not go in",
            "a span that changes with the load",
        ),
        (
            "the belt is tight enough, no more",
            "1 N (100 g) across the middle of its long run",
            f"it yields by 1 mm: {run_tension_n(1.0, 1.0, long_run_mm()):.0f} N",
            "shafts that slip, or axles that brake",
        ),
        (
            "each crown is as far from midspan as the other",
            "steel rule from the line at midspan",
            f"{SPAN / 2:.1f} mm within 0.5; on the short span {FRAME.support.short_span / 2:.1f}",
            thou(off_centre_loss(0.5, SPAN) * SPINE),
        ),
    ),
    "sure drive": sure(
        ("the layshaft turns with two fingers", "hand", "alike all round, no tight place", "a motor that loses steps"),
        ("all four rollers turn the same way", "eye", "tops to the front together", "a shaft that does not turn"),
        (
            "the axles are parallel and square to the shaft",
            f"{WALK_TURNS} turns of a straight shaft: "
            f"{WALK_TURNS * FRAME.shaft.usual / FRAME.support.roller_diameter:g} of the layshaft, by hand",
            f"it walks by {WALK_TURNS * walk_mm_a_turn(FRAME.shaft.usual, 0.5):.1f} mm at most, towards the end stop",
            f"{thou(slid(0.5))}; ten times the walk {thou(slid(5.0))}",
        ),
    ),
    "sure column": sure(
        (
            "the column is square to the beam, from the front and from the side",
            "a square on the beam, at the rail",
            f"0.5°: {FRAME.press.rail_length * 0.00873:.1f} mm on the rail's length",
            tilted(0.5),
        ),
        (
            "the rail is parallel to the column",
            "caliper from the rail's side to the column's, top and bottom",
            "0.1 mm",
            "a carriage that binds",
        ),
    ),
    "sure carriage": sure(
        (
            "the carriage slides down by itself over the whole rail",
            "hand, before the screw is in",
            "no tight place",
            "drag",
        ),
        (
            "the screw has no play along itself",
            "dial of 0.001 mm on its upper end; push and pull by 20 N",
            f"{40e3 * thrust_bearings(FRAME):.0f} um, and no click",
            f"{between_depths(0.02):.2f} for 0.02 mm",
        ),
        ("the screw turns alike over the whole travel", "two fingers on the coupling", "no tight place", "lost steps"),
    ),
    "sure counterweight": sure(
        ("the weight falls through its tube", "drop it, a cloth below, before the tube goes on", "freely", "drag"),
        (
            "it weighs what it should",
            "kitchen scales",
            f"{FRAME.counterweight_g:.0f} g within 10",
            f"{between_depths(FRAME.press.nut_play):.1f}, if the nut changes flank",
        ),
        (
            "the upper stop stands right",
            "rule from the beam's top to its rubber",
            f"{heights()[0]:.0f} mm within 0.5",
            "nothing",
        ),
        ("the lower stop does", "the same", f"{heights()[1]:.0f} mm within 0.5", "a head on the layshaft"),
        (
            "the home switch clicks at home",
            "the same, to the upper edge of the carriage plate",
            f"{heights()[2]:.0f} mm within 0.5",
            "a longer way",
        ),
    ),
    "sure cell": sure(
        ("the arm goes back to its place", "dial on the head; off and on again three times", "0.02 mm", "nothing"),
        ("the head is at midspan", "steel rule from both crowns", "1 mm", thou(off_centre_loss(1.0, SPAN) * SPINE)),
        (
            "the cell is parallel to the beam",
            "caliper from the beam's top to the cell's underside, at both ends",
            f"{FRAME.cell.length * 0.00873:.1f} mm: 0.5°",
            tilted(0.5),
        ),
        (
            "both bearings of the head press",
            "a ground rod of 6 mm in the nips, the head let down on it, thin paper under each",
            "both papers held",
            "readings that scatter",
        ),
        (
            "the overload stop has its gap, with its nut tight",
            "feeler gauge, from the front",
            f"{FRAME.cell.stop_gap:g} goes in, {FRAME.cell.stop_gap + 0.03:g} does not: it acts at "
            f"{stop_row(FRAME.cell.stop_gap):.0f} N",
            f"the cell: it bears {forces.cell_bears_n(FRAME):.0f} N",
        ),
        ("the head touches nothing but cell and shaft", "paper all round it, and the cable in a loop", "free", "drift"),
        (
            "at home there is room under the head",
            "rule, to a shaft of 6 mm",
            f"{FRAME.press.home_clearance:g} mm within 1",
            "time; or a shaft that touches",
        ),
        (
            "the counterweight pulls enough",
            "loosen the coupling's lower screw; hang "
            f"{grams(forces.on_the_nut(FRAME).free) // 50 * 50:.0f} g on the head, halfway down; tighten it again",
            "the carriage still goes up",
            f"{between_depths(FRAME.press.nut_play):.1f}, if the nut changes flank",
        ),
        (
            "the head stays clear of the layshaft",
            "turn the screw down to the lower stop",
            f"{head_over_layshaft():.0f} mm: a drill of {int(head_over_layshaft()) - 1} mm passes",
            "the head",
        ),
    ),
    "sure electronics": sure(
        (
            "24 V, 5 V and 3.3 V are not shorted to ground",
            "multimeter, all unplugged",
            "above 1 kΩ, once the capacitors are full",
            "fire",
        ),
        (
            "the emergency stop opens both its contacts",
            "multimeter, pressed and released",
            "open and closed",
            "the last resort",
        ),
        (
            "the bridge is whole",
            "multimeter between the cell's wires of a pair, and across",
            "350 Ω or 1 kΩ, alike",
            "CELL_STUCK",
        ),
        ("each motor has two coils", "multimeter", "some ohms in a pair, nothing between pairs", "a motor that hums"),
        ("the cell's cable does not pull", "pull it at the column", "the head is still", "drift"),
    ),
    "sure lid": sure(
        (
            "the lid switch opens before anything can be reached",
            "multimeter, lid lifted slowly",
            "open at a finger's width",
            "a finger",
        ),
        (
            "it opens until the stay catches, and stays there",
            "lift it, let go",
            f"{FRAME.lid.opening:g}°",
            "a lid on your hands",
        ),
        ("nothing inside touches it, shut or on its way", "open and shut it slowly", "free", "nothing"),
        (
            "no gap is wider than it is drawn",
            "rule",
            f"{FRAME.lid.gap:g} mm between sheets, {FRAME.lid.bottom_z - FRAME.table_z:g} over the table",
            "a finger",
        ),
        (
            "the gauge does not tip",
            "push at its top, from the front and from behind",
            pushed("fed by hand"),
            "all of it",
        ),
    ),
}


def gates():
    """Return the swing that takes a shaft out, in words."""
    return f"{FRAME.feeder.gate_swing:g}° take it out, without touching head or ramp"


FEEDER = {
    "sure plates": sure(
        (
            "the plates are parallel",
            "steel rule between their inner faces, at all four corners",
            f"{2 * FRAME.feeder.side_x:g} mm within 1",
            "shafts that run askew",
        ),
        ("they are upright", "spirit level", "1 mm on their height", "the same"),
        (
            "the slope is right",
            "spirit level with degrees, on a bar laid from stay to stay",
            f"{FRAME.feeder.slope:g}° within 0.5",
            "rows that stop, or are too quick",
        ),
        ("it does not tip with a full hopper", "push at its top", pushed("sorter"), "all of it"),
    ),
    "sure fork": sure(
        ("both rails are alike", "a straight bar across both, at six places", "0.3 mm", "shafts that run askew"),
        (
            "the ramps end where they should",
            "rule from the beam's top to their tips",
            f"{FRAME.feeder.ramp_end[1]:g} mm within 0.5, alike within 0.3",
            "shafts that stop at the gate",
        ),
        ("one stroke lets one shaft go", "ten shafts, by hand", "ten times one", "TWO_SHAFTS"),
        (
            "bent shafts still roll",
            "the most bent that you let in, by hand",
            f"they roll up to a bow of {bow_that_stops(*RAILS):.1f} mm",
            "HOPPER_EMPTY",
        ),
        (
            "the stroke is as long as drawn",
            "protractor on the rod",
            f"{FRAME.feeder.fork_swing:g}°",
            "a servo that hums",
        ),
    ),
    "sure gate": sure(
        (
            "the fingers touch no shaft that is measured",
            "gate down, paper between each finger and a shaft on the rollers that is pressed down at midspan",
            "free at both",
            "every result",
        ),
        ("both fingers are alike", "a straight bar on the humps", "0.3 mm", "SHAFT_SHORT"),
        ("both links are alike", "caliper between their holes", "0.05 mm", "a shaft that is pushed along"),
        ("a shaft goes out", "turn by hand: 4, 6 and 10 mm", gates(), "JAM"),
        ("a shaft comes in", "let one roll down the ramp", "into the nip, on both stands", "SHAFT_SHORT"),
    ),
    "sure lift": sure(
        ("both pockets are alike", "a straight bar in both", "0.3 mm", "a standard that lies askew"),
        (
            "it brings the standard back",
            "turn by hand",
            f"{FRAME.feeder.lift_swing:g}°, then it rolls over the gate into the nip",
            "no check standard",
        ),
        ("it passes between the gate's fingers", "gate down, lift up and down", "free", "JAM"),
    ),
    "sure selector": sure(
        ("one flap falls at a time", "turn by hand from end to end", "each once, all others shut", "a wrong tray"),
        (
            "a flap falls by itself, and far enough",
            "the notch under its lever",
            f"{FRAME.feeder.flap_swing:g}°; the check standard's {FRAME.feeder.first_flap_swing:g}°",
            "BIN_FULL",
        ),
        (
            "shut flaps end a little above the next hub",
            "feeler gauge",
            f"{FRAME.feeder.flap_step:g} mm within 0.3",
            "a shaft that stops or jumps",
        ),
        ("the first flap can be pushed up", "a finger from below", "it rises freely and falls back", "JAM of the lift"),
    ),
    "sure trays": sure(
        ("each shaft falls into its tray", "three shafts a place, of 4 and 10 mm", "all", "a wrong tray"),
        (
            "a tray holds enough",
            "count",
            f"{holds(FRAME, FRAME.shaft.usual)} of 6 mm, level with its walls",
            "BIN_FULL",
        ),
        ("a tray comes out", "pull at the hole in its end", "without a jerk", "nothing"),
    ),
}

ROWS = BENCH | GAUGE | FEEDER
