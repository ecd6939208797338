"""The schematic drawings of hardware_notes are those that its scripts draw.

Run as a script, it draws them anew.
"""

import re
from xml.etree import ElementTree

import draw
import draw_pins
import pytest
from frame import board_wires
from places import ROOT

NOTES = ROOT / "hardware_notes"
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
    given = board_wires.default()

    def pins(value, name):
        if isinstance(value, dict):
            return [pin for key, inner in value.items() for pin in pins(inner, f"{name}.{key}".strip("."))]
        is_pin = name.split(".")[-1] in PIN_KEYS
        if isinstance(value, list) and len(value) == 2:
            return [(name, value[0])]
        return [(name, value)] if is_pin and value is not None else []

    wired = [(wire.key, wire.gpio) for wire in board_wires.wires() if wire.key != "service"]
    assert sorted(wired) == sorted(pins(given, ""))
    assert len({wire.gpio for wire in board_wires.wires()}) == len(wired) + 1


def test_the_edge_is_that_of_the_published_board() -> None:
    """Places on a Pico's edge from memory of its data sheet: GP0 1, GP15 20, GP16 21, GP22 29, GP26 31."""
    assert [board_wires.EDGE[gpio] for gpio in (0, 2, 15, 16, 22, 26, 28)] == [1, 4, 20, 21, 29, 31, 34]
    assert not set(board_wires.EDGE.values()) & set(board_wires.OTHERS)
    assert len(board_wires.EDGE) + len(board_wires.OTHERS) == 40


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


if __name__ == "__main__":
    for picture, svg in draw.pictures().items():
        (draw.PICTURES / picture).write_text(svg, encoding="utf-8")
    WIRING.write_text(with_pins(WIRING.read_text(encoding="utf-8")), encoding="utf-8")
