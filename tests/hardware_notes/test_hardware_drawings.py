"""The drawings of hardware_notes are those that its scripts draw, and the frame they show can do its work.

Run as a script, it draws them anew.
"""

import re
import sys
from math import degrees
from xml.etree import ElementTree

import pytest
from midspan.base.units import STANDARD
from places import ROOT

NOTES = ROOT / "hardware_notes"
sys.path.insert(0, str(NOTES / "drawings"))

import draw  # noqa: E402
import draw_feeder  # noqa: E402
import draw_pins  # noqa: E402
from draw_geometry import Frame  # noqa: E402

FRAME = Frame.load()
WIRING = NOTES / "wiring.md"
PIN_TABLE = re.compile(r"(<!-- drawn: pins -->\n).*?(<!-- end -->)", re.DOTALL)


def with_pins(text):
    return PIN_TABLE.sub(lambda found: found[1] + draw_pins.table() + found[2], text)


def test_the_wiring_table_is_that_of_the_boards_default_file() -> None:
    text = WIRING.read_text(encoding="utf-8")
    assert text.count("drawn: pins") == 1
    assert text == with_pins(text), "draw it anew: make redraw"


PIN_KEYS = ("pin", "step", "direction", "tx", "rx", "data", "clock", "ready", "selector")


def test_every_pin_of_the_default_file_is_wired_and_none_twice() -> None:
    given = draw_pins.default()

    def pins(value, name):
        if isinstance(value, dict):
            return [pin for key, inner in value.items() for pin in pins(inner, f"{name}.{key}".strip("."))]
        is_pin = name.split(".")[-1] in PIN_KEYS
        if isinstance(value, list) and len(value) == 2:
            return [(name, value[0])]
        return [(name, value)] if is_pin and value is not None else []

    wired = [(wire.key, wire.gpio) for wire in draw_pins.wires() if wire.key != "service"]
    assert sorted(wired) == sorted(pins(given, ""))
    assert len({wire.gpio for wire in draw_pins.wires()}) == len(wired) + 1


def test_the_edge_is_that_of_the_published_board() -> None:
    """Places on a Pico's edge from memory of its data sheet: GP0 1, GP15 20, GP16 21, GP22 29, GP26 31."""
    assert [draw_pins.EDGE[gpio] for gpio in (0, 2, 15, 16, 22, 26, 28)] == [1, 4, 20, 21, 29, 31, 34]
    assert not set(draw_pins.EDGE.values()) & set(draw_pins.OTHERS)
    assert len(draw_pins.EDGE) + len(draw_pins.OTHERS) == 40


@pytest.mark.parametrize("name", sorted(draw.pictures()))
def test_a_picture_is_what_its_script_draws_today(name: str) -> None:
    assert (draw.PICTURES / name).read_text(encoding="utf-8") == draw.pictures()[name]


def test_every_drawing_is_drawn_by_a_script() -> None:
    assert {path.name for path in draw.PICTURES.glob("*.svg")} == set(draw.pictures())


@pytest.mark.parametrize("name", sorted(draw.pictures()))
def test_nothing_lies_outside_the_paper(name: str) -> None:
    root = ElementTree.fromstring(draw.pictures()[name])
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    corners = [
        tuple(map(float, pair.split(","))) for element in root.iter() for pair in element.get("points", "").split()
    ]
    corners += [
        (float(element.get("cx", 0)), float(element.get("cy", 0))) for element in root.iter() if "cx" in element.attrib
    ]
    corners += [
        (float(element.get("x", 0)), float(element.get("y", 0)))
        for element in root.iter()
        if element.tag.endswith("text")
    ]
    assert len(corners) > 50
    assert all(0 <= x <= width and 0 <= y <= height for x, y in corners)


def test_the_frame_has_the_standard_span_and_room_for_soft_shafts() -> None:
    assert FRAME.support["span"] == pytest.approx(STANDARD.span_mm)
    assert FRAME.softest_thou > 1500


@pytest.mark.parametrize("diameter", [FRAME.shaft["thinnest"], FRAME.shaft["usual"], FRAME.shaft["thickest"]])
def test_a_shaft_rolls_in_under_the_head_and_lies_between_the_rollers(diameter: float) -> None:
    lowest_of_head = FRAME.head_home_z - FRAME.press["head_bearing"] / 2
    over_the_roller = FRAME.roller_top_z + 1.5 + diameter
    assert over_the_roller < lowest_of_head
    assert FRAME.nip_deg(diameter) < 70  # deeper it would wedge (common practice, no source)
    raised = max(z for y, z in draw_feeder._finger(FRAME, FRAME.feeder["finger_swing_deg"]) if y < 5)
    assert raised < lowest_of_head  # the gate's fingers do not strike the head
    assert FRAME.feeder["entry_drop"] > diameter  # and one shaft passes below the entry ramp, not two
    assert FRAME.feeder["entry_drop"] < 2 * FRAME.shaft["thickest"]


def test_the_head_clears_what_lies_below_it() -> None:
    lowest = FRAME.head_home_z - FRAME.press["travel"] - FRAME.press["collar_beyond"] - FRAME.press["head_bearing"] / 2
    assert lowest > FRAME.support["layshaft_z"] + 4
    edge = FRAME.press["head_spacing"] / 2 + FRAME.press["head_bearing"] / 2
    assert edge < -FRAME.support["layshaft_y"] - 4


def test_the_shaft_meets_the_rollers_as_geometry_says() -> None:
    """A shaft as thick as the rollers, axles one diameter apart, makes an equilateral triangle of axes."""
    content = {"shaft": {}, "beam": {}, "press": {}, "feeder": {}}
    content["support"] = {"axle_height": 0.0, "roller_diameter": 30.0, "roller_gap": 0.0}
    frame = Frame(content)
    assert frame.shaft_z(30.0) == pytest.approx(30 * 3**0.5 / 2)
    assert frame.nip_deg(30.0) == pytest.approx(30.0)
    assert frame.nip_share(30.0) == pytest.approx(1 / 3**0.5)


def test_what_gives_is_little_beside_the_cell() -> None:
    """Handbook formulae by hand: 711.2^3 / (48 * 70000 * 5e5) and 65^2 * 194.7 / (70000 * 9e4)."""
    assert FRAME.beam_give() == pytest.approx(2.14e-4, rel=0.01)
    assert FRAME.column_give() == pytest.approx(1.31e-4, rel=0.01)
    assert FRAME.beam_give() + FRAME.column_give() < FRAME.press["cell_give_mm_per_n"] / 10


def test_the_slope_at_the_supports_is_that_of_a_beam_loaded_in_its_middle() -> None:
    """F L^2 / (16 E I) with F L^3 / (48 E I) = 12.7 mm on 711.2 mm gives 3.07 degrees (handbook of beams)."""
    assert degrees(FRAME.end_slope(500)) == pytest.approx(3.07, abs=0.01)
    shorter = FRAME.support["span"] - 2 * 0.5 * FRAME.end_slope(500)
    lost = 500 * (1 - (shorter / FRAME.support["span"]) ** 3)
    assert FRAME.rim_thou(0.5, 500) == pytest.approx(lost, rel=1e-3)


def test_the_stop_takes_over_before_the_cell_is_hurt() -> None:
    """A 2 kg cell bears half as much again (common practice, no source); the device stops at 1.6 kg."""
    at_n = FRAME.press["stop_gap"] / FRAME.press["cell_give_mm_per_n"]
    assert 1.6 * 9.80665 < at_n < 3.0 * 9.80665


if __name__ == "__main__":
    for picture, svg in draw.pictures().items():
        (draw.PICTURES / picture).write_text(svg, encoding="utf-8")
    WIRING.write_text(with_pins(WIRING.read_text(encoding="utf-8")), encoding="utf-8")
