"""Wires of the model end where the wiring table and the board's default file say, and are as short as the notes ask."""

import json
from math import dist

import pytest
from build123d import Vertex
from frame.board_wires import DEVICE, EDGE
from frame.dimensions import Frame
from model.electronics import electronics
from model.electronics.harness import MARKS, NOT_WIRED, links, wired
from model.electronics.places import units
from model.electronics.units import pin_place

FRAME = Frame.load()
PLACED = {unit.name: unit for unit in units(FRAME)}
PIECES = {piece.part.name: piece for piece in electronics(FRAME)}


def gap(name: str, place: tuple[float, float, float]) -> float:
    """Return how far a place is from a wire."""
    return float(PIECES[name].solid.distance_to(Vertex(*place)))


def test_signal_wires_are_those_of_the_boards_default_file() -> None:
    """Each pin in the file, whatever it is called there, has a wire; those left out name parts that are not there."""
    given = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
    keys_of = {"cell": ("data", "clock"), "press": ("step", "direction"), "rotate": ("step", "direction")}
    pins = {f"{group}.{key}": given[group][key] for group, keys in keys_of.items() for key in keys}
    pins |= {key: given[key][0] for key in ("enable", "home", "mark")}
    pins |= {f"inputs.{key}": pin for key, (pin, _) in given["inputs"].items()}
    assert {wire.key: wire.gpio for wire in wired()} == pins
    assert given["line"] == "usb"
    assert given["cell"]["kind"] == "hx711"
    assert set(NOT_WIRED) == {"uart.", "cell.ready", "service", "parts.feeder"}


@pytest.mark.parametrize("wire", wired(), ids=lambda wire: wire.key)
def test_a_signal_wire_goes_from_its_pin_to_its_terminal(wire) -> None:  # type: ignore[no-untyped-def]
    board = PLACED["board"]
    assert gap(wire.key, board.terminal(str(EDGE[wire.gpio]))) < 1.0
    part = wire.part.replace("both drivers", "press driver")
    stop = part.startswith("emergency stop")
    unit = PLACED["emergency stop" if stop else part]
    assert gap(wire.key, unit.terminal("contact 2, 21" if stop else wire.terminal)) < 1.0


def test_pins_are_where_the_board_has_them() -> None:
    """Data sheet of such a board, from memory: 2.54 mm apart, rows 17.78 mm apart, 1 and 40 beside the USB socket."""
    assert dist(pin_place(1)[:2], pin_place(40)[:2]) == pytest.approx(17.78)
    assert dist(pin_place(1)[:2], pin_place(20)[:2]) == pytest.approx(19 * 2.54)
    assert pin_place(1)[0] == pin_place(40)[0] < pin_place(2)[0]
    assert pin_place(21)[0] == pin_place(20)[0]


def test_every_other_wire_ends_at_both_of_its_terminals() -> None:
    told = [link for link in links() if link.start.part != "board" and link.kind != "cell"]
    assert len(told) > 15
    for link in told:
        for part, terminal in (link.start, link.end):
            stop = part.startswith("emergency stop")
            unit = PLACED["emergency stop" if stop else part]
            name = f"{part.removeprefix('emergency stop, ')}, {terminal}" if stop else terminal
            assert gap(link.name, unit.terminal(name)) < 2.0, link.name


def test_wires_of_cell_and_converter_are_short() -> None:
    """wiring.md: 0.5 m at most to the converter, 0.3 m at most from there to the board."""

    def length(name: str) -> float:
        return float(PIECES[name].part.designation.split(", ")[-1].split()[0])

    assert length("cable of the cell") + length("cell, A+") <= 500
    assert max(length(name) for name in ("cell.data", "cell.clock")) <= 300


def test_a_mark_means_one_kind_of_wire() -> None:
    kinds = {link.name: link.kind for link in links()}
    assert all(PIECES[name].part.colour == MARKS[kind] for name, kind in kinds.items())
    assert len(set(MARKS.values())) == len(MARKS)
