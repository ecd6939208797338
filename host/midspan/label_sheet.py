"""A sheet of shaft labels as PDF, each with a QR code (ISO/IEC 18004) of the shaft's number."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from midspan.card_sheet import BOLD, PLAIN, fonts, save
from midspan.label_form import ShaftLabel, Sheet
from midspan.wording import printable

QUIET_MODULES = 4  # of white around a code (ISO/IEC 18004, 5.3.8, from memory)
PAD_MM = 1.0
SIZES_PT = (8.5, 7.5, 6.5, 6.5)
SMALLEST_PT = (6.5, 4.0, 4.0, 4.0)  # of the first line the number has to be read, not all of a long name


def write_labels(labels: Sequence[ShaftLabel], sheet: Sheet, path: Path, skip: int = 0) -> int:
    """Write labels, the first `skip` places of the first sheet left empty; the number of sheets.

    Raises OutputError when the file cannot be written.
    """
    fonts()
    written = BytesIO()
    width_mm, height_mm = sheet.page_mm
    canvas = Canvas(written, pagesize=(width_mm * mm, height_mm * mm))
    canvas.setTitle("Shaft labels")
    for index, one in enumerate(labels, skip):
        if index % sheet.number == 0 and index > skip:
            canvas.showPage()
        column, row = sheet.place(index)
        left_mm = sheet.first_mm[0] + column * sheet.step_mm[0]
        top_mm = height_mm - sheet.first_mm[1] - row * sheet.step_mm[1]
        _draw(canvas, one, sheet, left_mm, top_mm)
    canvas.save()
    save(path, written.getvalue())
    return -(-(skip + len(labels)) // sheet.number)


def _draw(canvas: Canvas, label: ShaftLabel, sheet: Sheet, left_mm: float, top_mm: float) -> None:
    if sheet.outline:
        canvas.setStrokeGray(0.75)
        canvas.setLineWidth(0.3)
        canvas.rect(left_mm * mm, (top_mm - sheet.label_mm[1]) * mm, sheet.label_mm[0] * mm, sheet.label_mm[1] * mm)
    side_mm = min(sheet.label_mm[1], 0.45 * sheet.label_mm[0])
    _code(canvas, label.code, left_mm, top_mm - (sheet.label_mm[1] + side_mm) / 2, side_mm)
    text_mm = left_mm + side_mm
    room_mm = sheet.label_mm[0] - side_mm - PAD_MM
    line_mm = (sheet.label_mm[1] - 2 * PAD_MM) / len(SIZES_PT)
    for number, (words, size, least) in enumerate(zip(label.lines, SIZES_PT, SMALLEST_PT, strict=False)):
        font = PLAIN if number else BOLD
        words, size = _fitted(printable(words), font, size, least, room_mm * mm)
        canvas.setFont(font, size)
        canvas.drawString(text_mm * mm, (top_mm - PAD_MM - (number + 0.75) * line_mm) * mm, words)


def _fitted(words: str, font: str, size: float, least: float, room: float) -> tuple[str, float]:
    """Words no wider than the room: smaller while that can be read, then shortened."""
    size = max(least, min(size, size * room / max(stringWidth(words, font, size), 1e-9)))
    while len(words) > 1 and stringWidth(words, font, size) > room:
        words = words[:-2] + "…"
    return words, size


def _code(canvas: Canvas, text: str, left_mm: float, bottom_mm: float, side_mm: float) -> None:
    code = segno.make_qr(text, error="m")
    rows = list(code.matrix_iter(scale=1, border=QUIET_MODULES))
    step_mm = side_mm / len(rows)
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        for across, dark in enumerate(row):
            if dark:
                x, y = left_mm + across * step_mm, bottom_mm + (len(rows) - 1 - down) * step_mm
                path.rect(x * mm, y * mm, step_mm * mm, step_mm * mm)
    canvas.drawPath(path, stroke=0, fill=1)
