"""A set's card on paper: the same words as its page, as PDF.

The fonts that every PDF reader has know few letters, so the ones that come with matplotlib are put in: a name may have
Latin, Greek, Cyrillic and more; Chinese and Japanese signs they do not have.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from xml.sax.saxutils import escape

from matplotlib import get_data_path
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, ListFlowable, ListItem, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from midspan.files import writing
from midspan.set_card import Card
from midspan.wording import printable

PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
INK, QUIET, LINE = HexColor("#1b1b1b"), HexColor("#555555"), HexColor("#c9c9c9")
MARGIN_MM = 17
WIDTH_MM, FIRST_MM = 172, 34  # of the table and its first column


def fonts() -> None:
    """Make both fonts known to the PDF writer; again does no harm."""
    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))


def write_card(card: Card, path: Path) -> None:
    """Write a card as PDF, on as many pages of A4 as it takes; OutputError when the file cannot be written."""
    fonts()
    written = BytesIO()
    document = SimpleDocTemplate(
        written, pagesize=A4, title=printable(card.title), author="Midspan", leftMargin=MARGIN_MM * mm,
        rightMargin=MARGIN_MM * mm, topMargin=MARGIN_MM * mm, bottomMargin=MARGIN_MM * mm,
    )  # fmt: skip
    document.build(_parts(card))
    save(path, written.getvalue())


def save(path: Path, content: bytes) -> None:
    """Write a file; OutputError when that cannot be."""
    with writing(path):
        path.write_bytes(content)


def _parts(card: Card) -> list[Flowable]:
    plain = ParagraphStyle("plain", fontName=PLAIN, fontSize=9.5, leading=13.5, textColor=INK, spaceAfter=4)
    small = ParagraphStyle("small", plain, fontSize=8, leading=11, textColor=QUIET)
    head = ParagraphStyle("head", plain, fontName=BOLD, fontSize=10.5, spaceBefore=9)
    title = ParagraphStyle("title", plain, fontName=BOLD, fontSize=18, leading=22, spaceAfter=3)
    lead = ParagraphStyle("lead", plain, fontSize=12.5, leading=17, spaceAfter=6)
    return [
        _said(card.title, title),
        _said(card.headline, lead),
        *(_said(one, plain) for one in card.sentences),
        Spacer(1, 3 * mm),
        _table(card, plain),
        _said("Cautions", head),
        ListFlowable([ListItem(_said(one, plain), bulletColor=INK) for one in card.cautions],
                     bulletType="bullet", leftIndent=12, bulletFontSize=7),
        _said("How it was measured", head),
        *(_said(one, small) for one in (*card.conditions, card.made_by)),
    ]  # fmt: skip


def _said(words: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(printable(words)), style)


def _table(card: Card, plain: ParagraphStyle) -> Table:
    cell = ParagraphStyle("cell", plain, fontSize=8.5, leading=10.5, spaceAfter=0, splitLongWords=True)
    number = ParagraphStyle("number", cell, alignment=2)
    heading = ParagraphStyle("heading", number, fontName=BOLD)
    first = ParagraphStyle("first", heading, alignment=0)
    rows = [[_said(one, heading if i else first) for i, one in enumerate(card.headings)]]
    rows += [[_said(one, number if i else cell) for i, one in enumerate(row)] for row in card.rows]
    style = TableStyle([
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"), ("VALIGN", (0, 1), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE), ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4), ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ])  # fmt: skip
    widths = [FIRST_MM, *[(WIDTH_MM - FIRST_MM) / (len(card.headings) - 1)] * (len(card.headings) - 1)]
    return Table(rows, colWidths=[one * mm for one in widths], style=style, repeatRows=1, hAlign="LEFT")
