"""Drawing of one label in its shape: where text and code stand, so that both can be read on a thin tube.

A flag is flat: a QR code (ISO/IEC 18004) and text stand on each of its two sides. Bent around a tube a QR code is out
of shape: seen from the side, a point at the arc x lies at r sin(x / r), and `bend_squares` says by how much that misses
the even grid that readers lay over it; half a square is too much. So a collar has a code of stripes (Code 128,
ISO/IEC 15417) that run around the tube as rings: it is read along the tube, where nothing is bent.

>>> round(bend_squares(21, 0.25, 5.0), 2), round(bend_squares(21, 0.25, 9.0), 2)
(0.83, 0.24)
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, pi, sin

from reportlab.graphics.barcode.code128 import Code128
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from midspan.base.errors import OutputError
from midspan.base.formatting import printable
from midspan.base.label_shape import LabelShape
from midspan.report.label_sheet import Sheet
from midspan.report.qr_code import squares
from midspan.report.set_card import BOLD, PLAIN

PAD_MM = 1.5  # that a cut or a badly fed roll may miss the label's edge by
DOT_MM = 25.4 / 203  # of the coarsest usual label printer
LEAST_DOTS = 2  # of a square or stripe: 0.25 mm is what hand-held readers are made for
QUIET_STRIPES = 10  # white before and after a code of stripes (ISO/IEC 15417, from memory)
NAME_PT, VALUE_PT, REST_PT = 8.5, 7.5, 6.5
LEAST_NAME_PT = 5.5  # in the first line the number must be legible, not all of a long name
LEAST_PT = 4.0
AROUND_PT = 7.0
LARGE_PT = 9.0
LEAST_LINES = 4
ROUNDING = 1e-9
LINE = 1.15  # distance of lines over size of letters
MM_PER_PT = 25.4 / 72
FEWEST_TIMES = 3  # around the tube, so that one of them is seen from each side
RISE = 0.36  # from the middle of a line down to its base, over the size of its letters


@dataclass(frozen=True, slots=True)
class ShaftLabel:
    """What a label of a shaft says, to people and to readers of codes.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    code : str
        Text of the QR code.
    values : tuple[str, ...]
        Lines between the first and the last: spine, and what else was measured; never shortened.
    name : str
        First line: number and label of the shaft; shortened if it is long.
    last : str
        Line below the values; shortened if it is long, empty for none.
    shop : str
        Name of the shop; shortened if it is long, left out where the label has no room for a line more, empty for none.
    """

    shaft: int
    code: str
    values: tuple[str, ...]
    name: str
    last: str = ""
    shop: str = ""

    def lines(self, room: int) -> tuple[str, ...]:
        """Return all lines from the top; the shop only where there is room for it.

        Parameters
        ----------
        room : int
            Lines that the label has room for.

        Returns
        -------
        tuple[str, ...]
            The lines, none of them empty.

        Examples
        --------
        >>> label = ShaftLabel(12, "12", ("500 thou",), "12 blue-7", "spring 1", "Alder & Ash")
        >>> label.lines(room=4)[-1], label.lines(room=3)[-1]
        ('Alder & Ash', 'spring 1')
        """
        needed = (self.name, *self.values, *([self.last] if self.last else []))
        return (*needed, self.shop) if self.shop and len(needed) < room else needed


@dataclass(frozen=True, slots=True)
class _Area:
    """A rectangle on the paper, from its left lower corner, mm."""

    left: float
    bottom: float
    wide: float
    high: float


def bend_squares(number: int, square_mm: float, tube_mm: float) -> float:
    """Return how far the squares of a code bent around a tube are seen beside the even grid through its edges.

    Parameters
    ----------
    number : int
        Squares in a row of the code, without the white around it.
    square_mm : float
        Width of a square, mm.
    tube_mm : float
        Diameter of the tube, mm.

    Returns
    -------
    float
        Largest distance from the grid, in squares; infinite if the code reaches beyond what is seen from one side.
    """
    half = number * square_mm / tube_mm  # angle from the middle to an edge, rad
    if half >= pi / 2:
        return float("inf")
    steps = [i / 100 for i in range(101)]
    return max(sin(half * part) / sin(half) - part for part in steps) * number / 2


def stripes_text(shaft: int) -> str:
    """Return the digits of a code of stripes: the number with zeros in front, because digits are coded in pairs.

    Parameters
    ----------
    shaft : int
        Number of the shaft.

    Returns
    -------
    str
        An even number of digits, at least four.

    Examples
    --------
    >>> stripes_text(12), stripes_text(12345)
    ('0012', '012345')
    """
    digits = str(shaft)
    return digits.zfill(max(4, len(digits) + len(digits) % 2))


def draw_label(canvas: Canvas, label: ShaftLabel, sheet: Sheet, index: int) -> None:
    """Draw a label at its place on the paper.

    Parameters
    ----------
    canvas : Canvas
        Page of a PDF.
    label : ShaftLabel
        The label.
    sheet : Sheet
        The paper, with the shape.
    index : int
        Number of the label, from 0.

    Raises
    ------
    OutputError
        The label is too small for what it has to say.
    """
    left_mm, top_mm = sheet.corner_mm(index)
    area = _Area(left_mm, top_mm - sheet.label_mm[1], *sheet.label_mm)
    if sheet.outline:
        canvas.setStrokeGray(0.75)
        canvas.setLineWidth(0.3)
        canvas.rect(area.left * mm, area.bottom * mm, area.wide * mm, area.high * mm)
    tube_mm = sheet.tube_mm or 0.0
    if sheet.shape is LabelShape.BOX:
        _draw_flat(canvas, label, area)
    elif sheet.shape is LabelShape.FLAG:
        _draw_flag(canvas, label, area, tube_mm, sheet.outline)
    elif sheet.shape is LabelShape.COLLAR:
        _draw_collar(canvas, label, area, tube_mm)
    else:
        _draw_around(canvas, label, (f"#{label.shaft}",), area, tube_mm)  # upside down 66 is 99, but #66 is no number


def _draw_flag(canvas: Canvas, label: ShaftLabel, area: _Area, tube_mm: float, outline: bool) -> None:
    """Draw the two sides of a flag with room for the tube between them, and where it is folded."""
    side_mm = (area.wide - pi * tube_mm) / 2
    for left in (area.left, area.left + area.wide - side_mm):
        _draw_flat(canvas, label, _Area(left, area.bottom, side_mm, area.high))
    if outline:
        for x in (area.left + side_mm, area.left + area.wide - side_mm):
            canvas.line(x * mm, area.bottom * mm, x * mm, (area.bottom + 1) * mm)


def _draw_flat(canvas: Canvas, label: ShaftLabel, area: _Area) -> None:
    """Draw code and text side by side."""
    rows = squares(label.code)
    square_mm = DOT_MM * max(LEAST_DOTS, floor(min(area.high, 0.45 * area.wide) / len(rows) / DOT_MM))
    code_mm = square_mm * len(rows)
    _draw_squares(canvas, rows, square_mm, area.left, area.bottom + (area.high - code_mm) / 2)
    room_mm = area.wide - code_mm - PAD_MM
    high_mm = area.high - 2 * PAD_MM
    lines = label.lines(room=floor(high_mm / (LEAST_PT * MM_PER_PT) + ROUNDING))
    line_mm = high_mm / max(LEAST_LINES, len(lines))
    for number, words in enumerate(lines):
        largest = NAME_PT if number == 0 else VALUE_PT if number == 1 else REST_PT
        words, font, size = _fitted(label, number, words, min(largest, line_mm / MM_PER_PT), room_mm)
        middle_mm = area.bottom + area.high - PAD_MM - (number + 0.5) * line_mm
        canvas.setFont(font, size)
        canvas.drawString((area.left + code_mm) * mm, middle_mm * mm - RISE * size, words)


def _draw_collar(canvas: Canvas, label: ShaftLabel, area: _Area, tube_mm: float) -> None:
    """Draw rings of stripes around the tube in the lower part, and the text above them."""
    code = Code128(
        stripes_text(label.shaft), barWidth=LEAST_DOTS * DOT_MM * mm, barHeight=(pi * tube_mm - PAD_MM) * mm, quiet=0
    )
    white_mm = QUIET_STRIPES * LEAST_DOTS * DOT_MM
    code_mm = code.width / mm + 2 * white_mm
    text = _Area(area.left, area.bottom + code_mm, area.wide, area.high - code_mm)
    canvas.saveState()
    canvas.translate((area.left + pi * tube_mm) * mm, (area.bottom + white_mm) * mm)
    canvas.rotate(90)  # what was to the right goes along the tube, what was up around it to the left
    canvas.setFillGray(0)
    code.drawOn(canvas, 0, 0)
    canvas.restoreState()
    _draw_around(canvas, label, label.lines(room=0)[:2], text, tube_mm)


def _draw_around(canvas: Canvas, label: ShaftLabel, lines: tuple[str, ...], area: _Area, tube_mm: float) -> None:
    """Draw lines along the tube, again and again around it; the edge that comes on top and the overlap stay white."""
    size = AROUND_PT if len(lines) > 1 else LARGE_PT
    around_mm = pi * tube_mm - PAD_MM
    line_mm = min(LINE * size * MM_PER_PT, around_mm / (FEWEST_TIMES * len(lines)))
    times = floor(around_mm / (line_mm * len(lines)) + ROUNDING)
    step_mm = around_mm / (times * len(lines))
    canvas.saveState()
    canvas.translate((area.left + PAD_MM) * mm, (area.bottom + PAD_MM) * mm)
    canvas.rotate(90)
    for place in range(times * len(lines)):
        number = place % len(lines)
        words, font, fitted = _fitted(
            label, number, lines[number], line_mm / (LINE * MM_PER_PT), area.high - 2 * PAD_MM
        )
        canvas.setFont(font, fitted)
        canvas.drawString(0, -(place + 0.5) * step_mm * mm - RISE * fitted, words)
    canvas.restoreState()


def _fitted(label: ShaftLabel, number: int, words: str, size: float, room_mm: float) -> tuple[str, str, float]:
    """Return the words of a line that fit into a width, with font and size; a name may be shortened, a value never."""
    words, font, room = printable(words), PLAIN if number else BOLD, room_mm * mm
    least = LEAST_PT if number else LEAST_NAME_PT
    size = max(min(least, size), min(size, size * room / max(stringWidth(words, font, size), ROUNDING)))
    if number == 0 or number > len(label.values):  # name, set, shop
        shortest = 1 if number else len(str(label.shaft)) + 1
        while len(words) > shortest and stringWidth(words, font, size) > room * (1 + ROUNDING):
            words = words[:-2] + "…"
    if stringWidth(words, font, size) > room * (1 + ROUNDING):
        missing_mm = ceil(stringWidth(words, font, size) / mm - room_mm)
        raise OutputError(
            f"label of shaft {label.shaft}: no room for {words!r}; use labels {missing_mm} mm longer",
            code="label_too_small",
        )
    return words, font, size


def _draw_squares(canvas: Canvas, rows: list[list[bool]], square_mm: float, left_mm: float, bottom_mm: float) -> None:
    """Draw a QR code with its left lower corner at a place."""
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        for across, dark in enumerate(row):
            if dark:
                x, y = left_mm + across * square_mm, bottom_mm + (len(rows) - 1 - down) * square_mm
                path.rect(x * mm, y * mm, square_mm * mm, square_mm * mm)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
