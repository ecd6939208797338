"""Sheet of shaft labels as PDF, each with a QR code (ISO/IEC 18004) of the shaft's number.

A sheet of other labels is a TOML file:

    page_mm = [210.0, 297.0]      # width and height of the paper
    label_mm = [45.0, 21.0]
    columns = 4
    rows = 12
    first_mm = [9.0, 16.0]        # from the paper's left and upper edge to the first label's
    step_mm = [49.0, 22.3]        # from one label's left and upper edge to the next one's
    outline = true                # a thin line to cut along; false for labels that are cut already

>>> Sheet().place(5)
(1, 1)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.formatting import angle, code_of, printable
from midspan.measurement.shown_quantities import across_text, spine_text
from midspan.report.qr_code import squares
from midspan.report.set_card import BOLD, PLAIN, fonts, lasting_side_deg, save
from midspan.sets.stock import StockShaft
from midspan.store.stored_result import MeasuredResult

Millimetres = Annotated[float, Field(gt=0, le=1000)]
Pair = Annotated[tuple[Millimetres, Millimetres], ARRAY]
Edge = Annotated[float, Field(ge=0, le=1000)]  # labels may begin at the very edge of their sheet
Number = Annotated[int, Field(ge=1, le=100)]
LEAST_MM = (30.0, 12.0)  # a smaller label has no room for a code that a telephone can read with three lines beside it

ROUNDING_MM = 1e-3  # sums of tenths of a millimetre are not exact


class Sheet(Section):
    """Paper with labels in rows and columns. The default suits plain A4 paper and a pair of scissors.

    Parameters
    ----------
    page_mm : tuple[float, float]
        Width and height of the paper, mm.
    label_mm : tuple[float, float]
        Width and height of a label, mm.
    columns : int
        Labels side by side.
    rows : int
        Labels one below another.
    first_mm : tuple[float, float]
        From the left and upper edge of the paper to that of the first label, mm.
    step_mm : tuple[float, float]
        From the left and upper edge of a label to that of the next, mm.
    outline : bool
        True for a thin line to cut along.
    """

    page_mm: Pair = (210.0, 297.0)
    label_mm: Pair = (45.0, 21.0)
    columns: Number = 4
    rows: Number = 12
    first_mm: Annotated[tuple[Edge, Edge], ARRAY] = (9.0, 16.0)
    step_mm: Pair = (49.0, 22.3)
    outline: bool = True

    @model_validator(mode="after")
    def _fits(self) -> Sheet:
        """Refuse labels that are too small, overlap, or reach beyond the paper."""
        for what, i, number in (("wide", 0, self.columns), ("high", 1, self.rows)):
            if self.label_mm[i] < LEAST_MM[i]:
                least, given = LEAST_MM[i], self.label_mm[i]
                raise ValueError(f"label_mm: labels are {given:g} mm {what}, they need at least {least:g} mm")
            if number > 1 and self.step_mm[i] < self.label_mm[i]:
                step, given = self.step_mm[i], self.label_mm[i]
                raise ValueError(f"step_mm: labels {given:g} mm {what} overlap at steps of {step:g} mm")
            end = self.first_mm[i] + (number - 1) * self.step_mm[i] + self.label_mm[i]
            if end > self.page_mm[i] + ROUNDING_MM:
                raise ValueError(
                    f"the labels end at {end:g} mm, but the paper is {self.page_mm[i]:g} mm {what}; use fewer labels"
                )
        return self

    @property
    def number(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def place(self, index: int) -> tuple[int, int]:
        """Return column and row of a label on its sheet, both from 0; rows are filled one after another.

        Parameters
        ----------
        index : int
            Number of the label, from 0.

        Returns
        -------
        tuple[int, int]
            Column and row.

        Examples
        --------
        >>> Sheet().place(5)
        (1, 1)
        """
        row, column = divmod(index % self.number, self.columns)
        return column, row


def load_sheet(path: Path | None) -> Sheet:
    """Read a sheet from a TOML file.

    Parameters
    ----------
    path : Path or None
        The file, None for the default sheet.

    Returns
    -------
    Sheet
        The sheet.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or its labels do not fit on the paper.
    """
    return Sheet() if path is None else validated(Sheet, read_toml(path), path)


@dataclass(frozen=True, slots=True)
class ShaftLabel:
    """Text of a label, line by line with the first line large, and what its code says.

    Parameters
    ----------
    code : str
        Text of the QR code.
    lines : tuple[str, ...]
        Lines, the first large.
    """

    code: str
    lines: tuple[str, ...]


def label_of(shaft: StockShaft, result: MeasuredResult, k: float | None, last: str | None) -> ShaftLabel:
    """Return the label of a shaft with its newest result.

    Parameters
    ----------
    shaft : StockShaft
        The shaft.
    result : MeasuredResult
        Its newest result.
    k : float or None
        Coverage factor of each ±, None for 95 %.
    last : str or None
        Last line: the set it is in, or what speaks against it; None for its bin.

    Returns
    -------
    ShaftLabel
        The label.
    """
    around = "" if shaft.spread_thou is None else f"around {across_text(shaft.spread_thou)}"
    stiff = lasting_side_deg(result)
    side = "" if stiff is None else f"stiff {angle(stiff)}"
    lines = (
        shaft.name,
        str(spine_text(shaft, k)),
        ", ".join(part for part in (around, side) if part),
        last or shaft.bin or "",
    )
    return ShaftLabel(code_of(shaft.shaft), tuple(line for line in lines if line))


PAD_MM = 1.0
SIZES_PT = (8.5, 7.5, 6.5, 6.5)
SMALLEST_PT = (6.5, 4.0, 4.0, 4.0)  # in the first line the number must be legible, not all of a long name


def write_labels(labels: Sequence[ShaftLabel], sheet: Sheet, path: Path, skip: int = 0) -> int:
    """Write labels as PDF and return the number of sheets.

    Parameters
    ----------
    labels : Sequence[ShaftLabel]
        The labels.
    sheet : Sheet
        The paper.
    path : Path
        File to write.
    skip : int
        Places of the first sheet to leave empty.

    Returns
    -------
    int
        Number of sheets.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    fonts()
    written = BytesIO()
    width_mm, height_mm = sheet.page_mm
    canvas = Canvas(written, pagesize=(width_mm * mm, height_mm * mm))
    canvas.setTitle("Shaft labels")
    for index, label in enumerate(labels, skip):
        if index % sheet.number == 0 and index > skip:
            canvas.showPage()
        column, row = sheet.place(index)
        left_mm = sheet.first_mm[0] + column * sheet.step_mm[0]
        top_mm = height_mm - sheet.first_mm[1] - row * sheet.step_mm[1]
        _draw(canvas, label, sheet, left_mm, top_mm)
    canvas.save()
    save(path, written.getvalue())
    return -(-(skip + len(labels)) // sheet.number)


def _draw(canvas: Canvas, label: ShaftLabel, sheet: Sheet, left_mm: float, top_mm: float) -> None:
    """Draw a label with its left upper corner at a place on the paper."""
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
    """Return words that fit into a width, and their size: smaller as long as legible, then shortened."""
    size = max(least, min(size, size * room / max(stringWidth(words, font, size), 1e-9)))
    while len(words) > 1 and stringWidth(words, font, size) > room:
        words = words[:-2] + "…"
    return words, size


def _code(canvas: Canvas, text: str, left_mm: float, bottom_mm: float, side_mm: float) -> None:
    """Draw the QR code of a text."""
    rows = squares(text)
    step_mm = side_mm / len(rows)
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        for across, dark in enumerate(row):
            if dark:
                x, y = left_mm + across * step_mm, bottom_mm + (len(rows) - 1 - down) * step_mm
                path.rect(x * mm, y * mm, step_mm * mm, step_mm * mm)
    canvas.drawPath(path, stroke=0, fill=1)
