"""Draws the supplies: what the emergency stop cuts, what it does not, and where the grounds meet."""

from __future__ import annotations

from draw_svg import LIGHT, Sheet

WIDE, HIGH = 128.0, 46.0


def power() -> Sheet:
    """Return adapter, fuses, emergency stop, drivers, servos and board; grounds in one star."""
    sheet = Sheet(1060, 460, "Supplies, emergency stop and grounds")
    _block(sheet, 90, 90, "24 V adapter", "certified, closed")
    _block(sheet, 260, 90, "fuse", "3.15 A slow")
    _block(sheet, 430, 90, "emergency stop", "contact 1, closed")
    _block(sheet, 640, 60, "press driver", "100 µF at its pins")
    _block(sheet, 640, 130, "rotate driver", "100 µF at its pins")
    _block(sheet, 640, 200, "24 to 5 V, 5 A", "fuse 2 A before it")
    _block(sheet, 850, 200, "servos", "1000 µF at the rail")
    _block(sheet, 850, 60, "press motor", "twisted, shielded")
    _block(sheet, 850, 130, "rotate motor", "twisted, shielded")
    _run(sheet, (154, 90), (196, 90))
    _run(sheet, (324, 90), (366, 90))
    _run(sheet, (494, 90), (535, 90), (535, 60), (576, 60))
    _run(sheet, (535, 90), (535, 130), (576, 130))
    _run(sheet, (535, 130), (535, 200), (576, 200))
    for y in (60, 130, 200):
        _run(sheet, (704, y), (786, y))
    _block(sheet, 90, 300, "host's USB", "5 V")
    _block(sheet, 330, 300, "board", "RP2040")
    _block(sheet, 580, 300, "converter", "3.3 V from the board")
    _block(sheet, 820, 300, "load cell", "shielded 4-core")
    _run(sheet, (154, 300), (266, 300))
    _run(sheet, (394, 300), (516, 300))
    _run(sheet, (644, 300), (756, 300))
    _run(sheet, (430, 113), (430, 262), (370, 262), (370, 277), dash="5 3")
    sheet.text((438, 240), "contact 2: only tells", 9, "start")
    _grounds(sheet)
    return sheet


def _grounds(sheet: Sheet) -> None:
    star = (330.0, 390.0)
    sheet.circle(star, 6, 1.2, "", "#000000")

    def wire(*points: tuple[float, float]) -> None:
        _run(sheet, *points, dash="2 2", heads=False)

    wire((120, 113), (120, 250), (190, 250), (190, 360), (722, 360), (722, 75), (704, 75))
    for y in (145, 215):  # of the drivers and the servos' supply, at the lower right of their boxes
        wire((704, y), (722, y))
    for x in (330, 580):
        wire((x, 323), (x, 360))
    wire((star[0], 360), star)
    sheet.text((star[0], star[1] + 24), "one ground point: each of these has a wire of its own to it", 10)
    _run(sheet, (star[0], star[1]), (720, star[1]), heads=False, dash="2 2")
    sheet.text((728, star[1] + 3), "beam and column, one wire; the cell's shield here too", 10, "start")


def _block(sheet: Sheet, x: float, y: float, name: str, below: str) -> None:
    corners = [
        (x - WIDE / 2, y - HIGH / 2),
        (x + WIDE / 2, y - HIGH / 2),
        (x + WIDE / 2, y + HIGH / 2),
        (x - WIDE / 2, y + HIGH / 2),
    ]
    sheet.path(corners, 1.0, "", "#000000", LIGHT, closed=True)
    sheet.text((x, y - 2), name, 11, bold=True)
    sheet.text((x, y + 13), below, 9)


def _run(sheet: Sheet, *points: tuple[float, float], dash: str = "", heads: bool = True) -> None:
    sheet.path(list(points), 1.4 if heads else 0.9, dash, "#000000", "none", closed=False)
    if heads:
        (x0, y0), (x, y) = points[-2:]
        if x0 == x:
            wings = [(x - 3, y - 7 if y > y0 else y + 7), (x + 3, y - 7 if y > y0 else y + 7)]
        else:
            wings = [(x - 7 if x > x0 else x + 7, y - 3), (x - 7 if x > x0 else x + 7, y + 3)]
        sheet.path([(x, y), *wings], 0.2, "", "#000000", "#000000", closed=True)
