"""Card that goes with a matched set: its words, decided once for page and paper, and the PDF.

Its reader never saw the gauge: plain sentences, one sentence about uncertainty, and the cautions. The PDF embeds the
fonts that come with matplotlib, which know Latin, Greek, Cyrillic and more letters, but no Chinese or Japanese.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from importlib.metadata import version
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

from midspan.base.errors import MatchingError
from midspan.base.files import writing
from midspan.base.formatting import angle, printable
from midspan.measurement.definition import REFERENCE_WORDS
from midspan.measurement.result_form import ResultKind
from midspan.measurement.shown_quantities import (
    FINE_PLACES,
    UNKNOWN,
    across_text,
    across_unit,
    difference_unit,
    meaning,
    pounds_convention,
    runout_text,
    spine_text,
    spine_unit,
    spread_text,
    weight_text,
    weight_unit,
)
from midspan.report.sets_text import away_text, widest_text
from midspan.report.sets_view import present, reviewed
from midspan.sets.registry import KeptSet
from midspan.sets.review import Review
from midspan.sets.stock import converted_words, full_results, spoken_against
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.stored_result import MeasuredResult, finite

# Cautions for carbon and other shafts (common practice, no source).
CAUTIONS = (
    "Before every shot bend each arrow gently, turning it, and look and listen for cracks; look at it after every hit.",
    "Never shoot a shaft that is cracked, splintered, dented or bent. A splintered carbon shaft can pierce the hand.",
    "These numbers are no proof against damage and do not say which bow a shaft suits: follow the instructions of the "
    "makers of shaft and bow.",
)


@dataclass(frozen=True)
class Card:
    """All that a card says; `rows` belong under `headings`, which are those with at least one value.

    Parameters
    ----------
    title : str
        Name of the set.
    headline : str
        Number of shafts and mean spine.
    sentences : tuple[str, ...]
        Spread of the set and meaning of U.
    headings : tuple[str, ...]
        Headings of the table.
    rows : tuple[tuple[str, ...], ...]
        Cells of each shaft.
    conditions : tuple[str, ...]
        How the set was measured.
    cautions : tuple[str, ...]
        Cautions.
    made_by : str
        Version of Midspan.
    shop : str
        Name of the shop, club or school that measured; empty if it is not stated.
    """

    title: str
    headline: str
    sentences: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    made_by: str
    shop: str = ""


def card_of(store: Store, kept: KeptSet, asked_k: float | None, zone: tzinfo | None, shop: str = "") -> Card:
    """Return the card of a kept set, with its shafts as they were measured last.

    Parameters
    ----------
    store : Store
        The open store.
    kept : KeptSet
        The set.
    asked_k : float or None
        Coverage factor of each ±, None for 95 %.
    zone : tzinfo or None
        Time zone of the days, None for that of this computer.
    shop : str
        Name of the shop, club or school that measured; empty for none.

    Returns
    -------
    Card
        The words of the card.

    Raises
    ------
    MatchingError
        Fewer than two shafts are in the set, or something speaks against a shaft in it.
    """
    if len(kept.present) < 2:
        words = f"set {kept.name}: fewer than two of its shafts are in it; there is no card to make"
        raise MatchingError(words, code="too_few")
    against = spoken_against(store, kept.present)
    if against:
        shaft, reason = next(iter(against.items()))
        raise MatchingError(
            f"set {kept.name}: shaft {shaft} is in it, but by now: {reason}; a card is for sound sets: measure the "
            "shaft again, or replace it with midspan sets refill",
            code="unsound",
        )
    shafts = present(store, kept)
    found = reviewed(store, shafts, asked_k)
    whole = full_results(store, shafts)
    rows = [_row(found, i, whole[shaft.result]) for i, shaft in enumerate(found.shafts)]
    known = [i for i in range(len(rows[0])) if any(row[i] != UNKNOWN for row in rows)]
    headings = _headings()
    return Card(
        title=kept.name,
        headline=f"{len(rows)} shafts, mean spine {spine_text(found.mean, asked_k)}",
        sentences=(*_whom(kept), *_sentences(found)),
        headings=tuple(headings[i] for i in known),
        rows=tuple(tuple(row[i] for i in known) for row in rows),
        conditions=tuple(_conditions(store, found, whole.values(), zone)),
        cautions=CAUTIONS,
        made_by=f"Made by Midspan {version('midspan')}.",
        shop=printable(shop),
    )


def lasting_side_deg(result: MeasuredResult) -> float | None:
    """Return the stiff side if it can be found again on the shaft, degrees; otherwise None.

    The hand bench counts angles from a mark on the shaft. The gauge counts from where the shaft happened to lie, so its
    angle is lost as soon as the shaft is lifted off.

    Parameters
    ----------
    result : MeasuredResult
        The result.

    Returns
    -------
    float or None
        Angle from the mark, degrees.

    Examples
    --------
    >>> from midspan.store.stored_result import OlderResult
    >>> lasting_side_deg(OlderResult(ResultKind.GAUGE, (), "{}", stiff_side_deg=34.0)) is None
    True
    """
    return finite(result.stiff_side_deg) if result.kind is ResultKind.HAND_BENCH else None


def _headings() -> tuple[str, ...]:
    """Return the headings of the columns that `_row` fills, with the chosen units."""
    across = across_unit()
    return (
        "shaft", f"spine, {spine_unit()}", f"from the mean, {difference_unit()}", f"spread around, {across}",
        "stiff side, deg", f"runout, {across}", f"weight, {weight_unit()}",
    )  # fmt: skip


def _row(found: Review, i: int, result: MeasuredResult) -> tuple[str, ...]:
    """Return the cells of a shaft under `_headings`."""
    shaft, k = found.shafts[i], found.asked_k
    side = "softer" if found.from_mean_thou[i] > 0 else "stiffer"
    away = f"{away_text(found, i).lstrip('-')} {side}" if found.apart(i) else "not told apart"
    return (
        shaft.name, spine_text(shaft, k).cell, away, spread_text(result, k).number, angle(lasting_side_deg(result)),
        runout_text(result, k).number, weight_text(shaft.weight_gr).number,
    )  # fmt: skip


def _whom(kept: KeptSet) -> list[str]:
    """Return the sentence that says for whom the set is, none if nobody said it."""
    words = printable(kept.details.whom.words)
    return [f"{words[0].upper()}{words[1:]}."] if words else []


def _sentences(found: Review) -> list[str]:
    """Return the sentences about the spread of the set and about uncertainty."""
    noise = across_text(found.noise_thou, places=FINE_PLACES)
    told = (
        f"From the stiffest to the softest shaft the spine differs by {widest_text(found)} {difference_unit()}: more "
        "than the gauge's own noise would show between equal shafts."
        if found.is_told_apart
        # Noise can only widen the span of equal shafts, so an interval of ± around it would not cover 95 %.
        else f"From the stiffest to the softest shaft the gauge shows "
        f"{across_text(found.range_thou, places=FINE_PLACES)}. Its own noise alone would show up to {noise} between "
        "equal shafts, so it cannot tell these apart."
    )
    covers = ": the true value lies within it in about 95 of 100 cases" if found.asked_k is None else ""
    return [
        told,
        f"{meaning(found.asked_k)}{covers}. That of a difference inside this set leaves out errors common to "
        "its shafts.",
    ]


def _conditions(store: Store, found: Review, whole: Collection[MeasuredResult], zone: tzinfo | None) -> list[str]:
    """Return the sentences on how the set was measured."""
    started = [result.started_ms for result in whole if result.started_ms is not None]
    marked = any(lasting_side_deg(result) is not None for result in whole)
    converted = converted_words(found.shafts)
    return [
        f"Spine is the {REFERENCE_WORDS}: the mean over the whole turn{_unit_words()}. Its ± also holds for another "
        "gauge or a hand bench that is built and calibrated alike.",
        *([f"{converted}."] if converted else []),
        f"Measured {_days(started, zone)}{_temperature(store, found, whole)}.",
        f"Calibration: {', '.join(sorted({result.calibration or 'not known' for result in whole}))}; "
        f"gauge: {', '.join(sorted({result.gauge or 'not known' for result in whole}))}.",
        *(["Angles run from the mark on the shaft."] if marked else []),
    ]


def _unit_words() -> str:
    """Return what thou and pounds are, for a reader who may not know; empty if neither is shown."""
    parts = []
    if "thou" in (spine_unit(), across_unit()):
        parts.append("thou are thousandths of an inch (0.0254 mm)")
    if "lb" in spine_unit():
        parts.append(f"lb is {pounds_convention()}")
    return "".join(f"; {words}" for words in parts)


def _days(started: Sequence[int], zone: tzinfo | None) -> str:
    """Return the day of measuring, or the first and the last."""
    if not started:
        return "on an unknown day"
    days = sorted({f"{datetime.fromtimestamp(at / 1000, zone):%Y-%m-%d}" for at in started})
    return f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"


def _temperature(store: Store, found: Review, whole: Collection[MeasuredResult]) -> str:
    """Return the temperature that the results name, else that of the board as far as the journal has it."""
    known = [at_c for at_c in (finite(result.temperature_c) for result in whole) if at_c is not None]
    if known:
        return f", at {_range_c(known)} °C"
    of_board = Journal(store).temperatures_c([shaft.result for shaft in found.shafts])
    return f", the gauge's board at {_range_c(of_board)} °C" if of_board else ", temperature not noted"


def _range_c(known: Sequence[float]) -> str:
    """Return the lowest and the highest temperature in whole degrees, or the only one."""
    low, high = min(known), max(known)
    return f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"


PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
INK, QUIET, LINE = HexColor("#1b1b1b"), HexColor("#555555"), HexColor("#c9c9c9")
MARGIN_MM = 17
WIDTH_MM, FIRST_MM = 172, 34  # of the table and its first column


def fonts() -> None:
    """Register both fonts with the PDF writer; calling it again does no harm."""
    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))


def write_card(card: Card, path: Path) -> None:
    """Write a card as PDF, on as many pages of A4 as it takes.

    Parameters
    ----------
    card : Card
        The card.
    path : Path
        File to write.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    fonts()
    written = BytesIO()
    document = SimpleDocTemplate(
        written, pagesize=A4, title=printable(card.title), author="Midspan", leftMargin=MARGIN_MM * mm,
        rightMargin=MARGIN_MM * mm, topMargin=MARGIN_MM * mm, bottomMargin=MARGIN_MM * mm,
    )  # fmt: skip
    document.build(_parts(card))
    save(path, written.getvalue())


def save(path: Path, content: bytes) -> None:
    """Write bytes to a file; an OutputError says that it cannot be written.

    Parameters
    ----------
    path : Path
        File to write.
    content : bytes
        Its content.
    """
    with writing(path):
        path.write_bytes(content)


def _parts(card: Card) -> list[Flowable]:
    """Return the parts of the PDF from top to bottom."""
    plain = ParagraphStyle("plain", fontName=PLAIN, fontSize=9.5, leading=13.5, textColor=INK, spaceAfter=4)
    small = ParagraphStyle("small", plain, fontSize=8, leading=11, textColor=QUIET)
    head = ParagraphStyle("head", plain, fontName=BOLD, fontSize=10.5, spaceBefore=9)
    title = ParagraphStyle("title", plain, fontName=BOLD, fontSize=18, leading=22, spaceAfter=3)
    lead = ParagraphStyle("lead", plain, fontSize=12.5, leading=17, spaceAfter=6)
    return [
        *([_said(card.shop, plain)] if card.shop else []),
        _said(card.title, title),
        _said(card.headline, lead),
        *(_said(sentence, plain) for sentence in card.sentences),
        Spacer(1, 3 * mm),
        _table(card, plain),
        _said("Cautions", head),
        ListFlowable([ListItem(_said(caution, plain), bulletColor=INK) for caution in card.cautions],
                     bulletType="bullet", leftIndent=12, bulletFontSize=7),
        _said("How it was measured", head),
        *(_said(sentence, small) for sentence in (*card.conditions, card.made_by)),
    ]  # fmt: skip


def _said(words: str, style: ParagraphStyle) -> Paragraph:
    """Return a paragraph of a text, with markup escaped and control characters replaced."""
    return Paragraph(escape(printable(words)), style)


def _table(card: Card, plain: ParagraphStyle) -> Table:
    """Return the table of shafts; its headings repeat on every page."""
    cell = ParagraphStyle("cell", plain, fontSize=8.5, leading=10.5, spaceAfter=0, splitLongWords=True)
    number = ParagraphStyle("number", cell, alignment=2)
    heading = ParagraphStyle("heading", number, fontName=BOLD)
    first = ParagraphStyle("first", heading, alignment=0)
    rows = [[_said(words, heading if i else first) for i, words in enumerate(card.headings)]]
    rows += [[_said(words, number if i else cell) for i, words in enumerate(row)] for row in card.rows]
    style = TableStyle([
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"), ("VALIGN", (0, 1), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE), ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4), ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ])  # fmt: skip
    widths = [FIRST_MM, *[(WIDTH_MM - FIRST_MM) / (len(card.headings) - 1)] * (len(card.headings) - 1)]
    return Table(rows, colWidths=[width_mm * mm for width_mm in widths], style=style, repeatRows=1, hAlign="LEFT")
