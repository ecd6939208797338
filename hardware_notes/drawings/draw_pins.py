"""The wires between the board and everything else, as a table and a drawing."""

from __future__ import annotations

from draw_svg import LIGHT, Sheet
from frame.board_wires import EDGE, OTHERS, Wire, wires

ROW, HALF, WIRE, NAME = 21.0, 70.0, 96.0, 250.0


def table() -> str:
    """Return the wiring table of the notes."""
    lines = [
        "| name in board.json | GPIO | pin | way | goes to | what to know |",
        "| --- | ---: | ---: | --- | --- | --- |",
    ]
    for wire in wires():
        goal = f"{wire.part}, {wire.terminal}" if wire.terminal else wire.part
        name = wire.key.removesuffix(".pin") if wire.key != "service" else "(service pin)"
        lines.append(f"| {name} | {wire.gpio} | {wire.edge} | {wire.way} | {goal} | {wire.remark} |")
    return "\n".join(lines) + "\n"


def pins() -> Sheet:
    """Return the board with every wire, its USB plug up."""
    sheet = Sheet(1060, 560, "Wires of the board")
    middle, top = 530.0, 70.0
    view = sheet.view(0, 0)
    view.box((middle - HALF, -(top - 24)), (middle + HALF, -(top + 20 * ROW)), fill=LIGHT)
    view.box((middle - 16, -(top - 40)), (middle + 16, -(top - 14)), fill="#ffffff")
    sheet.text((middle, top - 46), "USB to the host", 9)
    by_edge = {wire.edge: wire for wire in wires()}
    gpio_at = {edge: gpio for gpio, edge in EDGE.items()}
    for edge in range(1, 41):
        left = edge <= 20
        y = top + ROW * ((edge if left else 41 - edge) - 0.5)
        _pin(sheet, edge, f"GP{gpio_at[edge]}" if edge in gpio_at else OTHERS[edge], middle, y, left=left)
        if edge in by_edge:
            _wire(sheet, by_edge[edge], middle, y, left=left)
    _supplies(sheet, middle, top)
    sheet.text((middle, 545), "RP2040 board from above. All grounds of signals meet at the board; see wiring.md.", 11)
    return sheet


def _pin(sheet: Sheet, edge: int, name: str, middle: float, y: float, *, left: bool) -> None:
    side = -1 if left else 1
    sheet.circle((middle + side * (HALF - 7), y), 4, 0.8, "", "#ffffff")
    sheet.text((middle + side * (HALF - 16), y + 3), name, 9, "start" if left else "end")
    sheet.text((middle + side * (HALF + 4), y - 3), str(edge), 7, "end" if left else "start")


def _wire(sheet: Sheet, wire: Wire, middle: float, y: float, *, left: bool) -> None:
    side = -1 if left else 1
    start, end = middle + side * HALF, middle + side * (HALF + WIRE)
    sheet.path([(start, y), (end, y)], 1.0, "", "#000000", "none", closed=False)
    tip, back = (end, end - side * 7) if wire.way == "out" else (start + side * 14, start + side * 21)
    sheet.path([(tip, y), (back, y - 3), (back, y + 3)], 0.2, "", "#000000", "#000000", closed=True)
    words = f"{wire.part} {wire.terminal}".strip()
    sheet.text((end + side * 5, y + 3), words, 10, "end" if left else "start", bold=True)
    if wire.remark:
        sheet.text((end + side * NAME, y + 3), wire.remark, 8, "start" if left else "end")


def _supplies(sheet: Sheet, middle: float, top: float) -> None:
    for edge, words in (
        (36, "converter, sensors, logic of drivers, 3.3 V"),
        (38, "ground of converter, sensors, switches, drivers"),
    ):
        y = top + ROW * (41 - edge - 0.5)
        sheet.path([(middle + HALF, y), (middle + HALF + WIRE, y)], 2.0, "", "#000000", "none", closed=False)
        sheet.text((middle + HALF + WIRE + 5, y + 3), words, 10, "start", bold=True)
