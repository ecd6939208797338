"""What goes in at each step of the assembly is what the parts list counts; what is measured follows from the frame.

Run as a script, it draws the tables anew.
"""

import csv
import re
from functools import partial
from itertools import pairwise

import made_sure
import pytest
from drawn_tables import drawn_anew, heading, names
from frame import forces
from frame.dimensions import Frame
from frame.selector import flaps, notch_deg
from places import ROOT

NOTES = ROOT / "hardware_notes"
PAGE = NOTES / "assembly.md"
FRAME = Frame.load()
STOCK = ("profile", "ground rod", "screw", "sleeve")  # names that say no more than what a part is cut from
BUILDS_OF_STEP = ("fed by hand", "sorter")


def parts_list():
    """Return number, name and pieces by step of each part."""
    with (NOTES / "files" / "parts.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            yield row["number"], what(row), dict(each.split(": ") for each in row["steps"].lower().split("; "))


def what(row):
    """Return a part's name, with its designation where the name alone does not tell which one it is."""
    name, designation = row["name"], row["designation"]
    if row["way"] != "bought" and name not in STOCK:
        return name
    return designation if designation.startswith(name) else f"{name}, {designation}"


PARTS = list(parts_list())
STEPS = {step for *_, steps in PARTS for step in steps}


def goes_in(step):
    """Yield the rows of the table of what goes in at a step; two columns of pieces where two builds differ."""
    found = [(number, name, steps[step].split("/")) for number, name, steps in PARTS if step in steps]
    differs = max((len(pieces) for *_, pieces in found), default=1) > 1
    columns = BUILDS_OF_STEP if differs else ("pieces",)
    yield from heading("number", "what", *columns, left=2)
    for number, name, pieces in found:
        yield (number, name, *(pieces * len(columns) if len(pieces) < len(columns) else pieces))


BUILT = ("hand bench", "fed by hand", "sorter")
TABLES = made_sure.ROWS | {f"build {build}": tuple for build in BUILT}
TABLES |= {
    name: partial(goes_in, name.removeprefix("step "))
    for name in names(PAGE.read_text(encoding="utf-8"))
    if name.startswith("step ")
}


def pictures(step):
    """Return the lines that show the pictures of a step, those that are there, close-ups last."""
    number, _, words = step.partition(" ")
    slug = "-".join([number.zfill(2), *words.split()])
    shown = {f"step-{slug}.png": f"Step {step}: what goes in", f"apart-{slug}.png": f"Step {step}: drawn apart"}
    if words == "electronics":
        shown |= {path.name: close_up(path) for path in sorted((NOTES / "pictures").glob("close-*.png"))}
    return "".join(
        f"![{words}](pictures/{name})\n" for name, words in shown.items() if (NOTES / "pictures" / name).is_file()
    )


def close_up(path):
    return f"The {path.stem.removeprefix('close-')} and every wire that ends there"


def drawn(text):
    """Return the page with tables and pictures drawn anew."""
    text = drawn_anew(text, TABLES)
    text = re.sub(r"(<!-- drawn: build (.*?) -->\n)", lambda found: f"{found[1]}{whole(found[2])}", text)
    return re.sub(r"(<!-- drawn: step (.*?) -->\n)", lambda found: f"{found[1]}{pictures(found[2])}\n", text)


def whole(build):
    """Return the line that shows a build, if its picture is there."""
    name = f"build-{build.replace(' ', '-')}.png"
    return f"![As a whole: {build}](pictures/{name})\n" if (NOTES / "pictures" / name).is_file() else ""


def test_the_tables_are_those_of_parts_list_and_frame():
    text = PAGE.read_text(encoding="utf-8")
    assert set(names(text)) == set(TABLES)
    assert text == drawn(text), "draw it anew: make redraw"


def test_every_step_of_the_parts_list_has_its_table():
    assert {f"step {step}" for step in STEPS} <= set(TABLES)


def test_every_picture_of_a_step_is_shown():
    text = PAGE.read_text(encoding="utf-8")
    pictures = {
        path.name
        for pattern in ("step-*.png", "apart-*.png", "close-*.png")
        for path in (NOTES / "pictures").glob(pattern)
    }
    assert pictures == set(re.findall(r"\(pictures/((?:step|apart|close)-[^)]*)\)", text))


@pytest.mark.parametrize("page", ["assembly.md", "changes.md"])
def test_parts_that_a_page_names_are_in_the_parts_list(page):
    named = set(re.findall(r"\b[BSDPLEFHN]\d{2,3}\b", (NOTES / page).read_text(encoding="utf-8")))
    assert named <= {number for number, *_ in PARTS}


def test_steps_come_in_their_order():
    """The hand bench first, then the gauge, then the feeder, as they are counted."""
    order = [name for name in names(PAGE.read_text(encoding="utf-8")) if name.startswith("step ")]
    numbers = [(name[5] != "h", int(re.search(r"\d+", name)[0])) for name in order]
    assert numbers == sorted(set(numbers))


def test_cams_follow_each_other_by_holes_as_the_page_says():
    """One hole from each place to the next, two and a half from the last flap's to the check standard's."""
    notches = [notch_deg(FRAME, flap) for flap in flaps(FRAME)]
    steps = [(b - a) / FRAME.feeder.cam_step for a, b in pairwise([*notches[1:], notches[0]])]
    assert steps == pytest.approx([1.0] * (len(steps) - 1) + [2.5])


def test_the_preload_is_half_the_way_of_the_mass_that_hung_there():
    """Two equal bearings share the way of one; the force of a ball goes with its way to the power of 1.5 (Hertz)."""
    way = made_sure.preload_kg() * forces.STANDARD_GRAVITY
    assert FRAME.press.thrust_preload_n == pytest.approx((way ** (2 / 3) / 2) ** 1.5)
    told = re.search(r"hang ([\d.]+) kg", PAGE.read_text(encoding="utf-8"))
    assert float(told[1]) == pytest.approx(made_sure.preload_kg(), abs=0.3)


TOLD = (
    (r"its middle ([\d.]+) mm from their rear ends", FRAME.hand_bench.beam_y - FRAME.hand_bench.cross[0]),
    (
        r"until ([\d.]+) mm of\s+pin stand out",
        FRAME.hand_bench.pin_length / 2 - FRAME.hand_bench.guide_gap / 2 - FRAME.hand_bench.cheek,
    ),
    (r"([\d.]+) mm from midspan, and\s+screw down", FRAME.base.cross_x),
    (r"cross beams, ([\d.]+) mm from each end", FRAME.base.cross_length / 2 - FRAME.base.foot_y),
    (r"cross bars, ([\d.]+) mm from each end", FRAME.hand_bench.feet_y[0] - FRAME.hand_bench.cross[0]),
    (r"stands ([\d.]+) mm from the bar's rear end", -FRAME.hand_bench.guide_gap / 2 - FRAME.hand_bench.cross[0]),
    (r"the cheeks are then ([\d.]+) mm apart", FRAME.hand_bench.guide_gap),
    (r"They reach ([\d.]+) mm into the cell", 35 - FRAME.cell.arm[1] - FRAME.cell.arm_gap),  # N43 is 35 long
    (r"([\d.]+) mm of axle out of its inner hub", FRAME.support.cheek - 1),
    (r"rail on, ([\d.]+) mm below the upper end", FRAME.press.column_top - FRAME.press.rail_top),
    (r"against each other with ([\d.]+) N", FRAME.press.thrust_preload_n),
    (r"where it ends ([\d.]+) mm over the table", FRAME.press.column_bottom - FRAME.table_z),
    (r"shafts thinner\s+than ([\d.]+) mm push them", FRAME.feeder.fork_thinnest),
    (r"push them ([\d.]+) mm up", FRAME.feeder.fork_forward),
    (r"a hole every ([\d.]+)°", FRAME.feeder.cam_step),
    (r"a quarter turn is ([\d.]+) mm", 1.0 / 4),  # the pitch of M6 is 1 mm, ISO 261
)


@pytest.mark.parametrize(("words", "value"), TOLD)
def test_sizes_in_the_sentences_are_those_of_the_frame(words, value):
    assert [float(told) for told in re.findall(words, PAGE.read_text(encoding="utf-8"))] == [pytest.approx(value)]


if __name__ == "__main__":
    PAGE.write_text(drawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
