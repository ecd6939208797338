"""The card that goes with a set: what it says is decided here, once for the page and the paper.

A customer reads it who never saw the gauge: plain sentences, one sentence for the uncertainty, and the cautions.

A set's card on paper: the same words as its page, as PDF.

The fonts that every PDF reader has know few letters, so the ones that come with matplotlib are put in: a name may have
Latin, Greek, Cyrillic and more; Chinese and Japanese signs they do not have.
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
from midspan.base.formatting import angle, printable, with_uncertainty
from midspan.measurement.result_form import ResultKind
from midspan.report.sets_text import MOST_PLACES
from midspan.report.sets_view import present, reviewed
from midspan.sets.registry import KeptSet
from midspan.sets.review import Review
from midspan.sets.stock import full_results, spoken_against
from midspan.store.database import Store
from midspan.store.journal import Journal
from midspan.store.stored_result import MeasuredResult, finite

HEADINGS = (
    "shaft",
    "spine, thou",
    "from the mean",
    "spread around, thou",
    "stiff side, deg",
    "runout, mm",
    "weight, gr",
)
UNKNOWN = "-"
# The cautions that every maker of arrows gives in words of his own (common practice, no source).
CAUTIONS = (
    "Before every shot bend each arrow gently, turning it, and look and listen for cracks; look at it after every hit.",
    "Never shoot a shaft that is cracked, splintered, dented or bent. A splintered carbon shaft can pierce the hand.",
    "These numbers are no proof against damage and do not say which bow a shaft suits: follow the instructions of the "
    "makers of shaft and bow.",
)


@dataclass(frozen=True)
class Card:
    """All that a card says, in words; `rows` stand under `headings`: of HEADINGS those that anything is known of."""

    title: str
    headline: str
    sentences: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    made_by: str


def card_of(store: Store, kept: KeptSet, k: float, zone: tzinfo | None) -> Card:
    """The card of a kept set as its shafts were measured last; `k` is the coverage factor of what follows each ±.
    Days are those of `zone`, None for the computer's own.

    Raises MatchingError when fewer than two shafts are in it, or something speaks against one by now.
    """
    if len(kept.present) < 2:
        raise MatchingError(f"set {kept.name}: fewer than two of its shafts are in it; there is no card to make")
    against = spoken_against(store, kept.present)
    if against:
        shaft, reason = next(iter(against.items()))
        raise MatchingError(
            f"set {kept.name}: shaft {shaft} is in it, but by now: {reason}; a card is for sound sets: measure the "
            "shaft again, or replace it with midspan sets refill"
        )
    shafts = present(store, kept)
    found = reviewed(store, shafts, k)
    whole = full_results(store, shafts)
    rows = [_row(found, i, whole[one.result], k) for i, one in enumerate(found.shafts)]
    known = [i for i in range(len(HEADINGS)) if any(row[i] != UNKNOWN for row in rows)]
    return Card(
        title=kept.name,
        headline=f"{len(rows)} shafts, mean spine {with_uncertainty(found.mean_thou, k * found.u_mean_thou, 2)} thou",
        sentences=tuple(_sentences(found, k)),
        headings=tuple(HEADINGS[i] for i in known),
        rows=tuple(tuple(row[i] for i in known) for row in rows),
        conditions=tuple(_conditions(store, found, whole.values(), zone)),
        cautions=CAUTIONS,
        made_by=f"Made by Midspan {version('midspan')}.",
    )


def lasting_side_deg(result: MeasuredResult) -> float | None:
    """The stiff side, where it can be found again: the hand bench counts from a mark on the shaft.

    The gauge counts from where the shaft happened to lie, so its angle is worth nothing once the shaft is lifted off.

    >>> from midspan.store.stored_result import OlderResult
    >>> lasting_side_deg(OlderResult(ResultKind.GAUGE, (), "{}", stiff_side_deg=34.0)) is None
    True
    """
    return finite(result.stiff_side_deg) if result.kind is ResultKind.HAND_BENCH else None


def _row(found: Review, i: int, result: MeasuredResult, k: float) -> tuple[str, ...]:
    one = found.shafts[i]
    away_thou = found.from_mean_thou[i]
    side = "softer" if away_thou > 0 else "stiffer"
    away = f"{abs(away_thou):.2f} {side}" if found.apart(i, k) else "not told apart"
    runout_mm = finite(result.runout_mm)
    runout = UNKNOWN if runout_mm is None else f"{runout_mm:.3f}"
    return (
        one.name, f"{one.spine_thou:.2f}", away, UNKNOWN if one.spread_thou is None else f"{one.spread_thou:.2f}",
        angle(lasting_side_deg(result)), runout, UNKNOWN if one.weight_gr is None else f"{one.weight_gr:.1f}",
    )  # fmt: skip


def _sentences(found: Review, k: float) -> list[str]:
    spread = with_uncertainty(found.range_thou, k * found.u_range_thou, MOST_PLACES)
    told = (
        f"the set spans {spread} thou. That is more than the gauge's own noise would show between equal shafts."
        if found.is_told_apart
        # Noise always widens the span of equal shafts, so that no ± about it would hold what its words promise.
        else f"the set shows {found.range_thou:.{MOST_PLACES}f} thou. The gauge's own noise alone would show up to "
        f"{found.noise_thou:.{MOST_PLACES}f} between equal shafts: it tells none of them apart."
    )
    shared = (
        " It is larger for the mean than for differences between shafts, since what the gauge has wrong for all of "
        "them alike makes no difference."
        if found.u_mean_thou > found.u_range_thou
        else ""
    )
    return [
        f"From its stiffest to its softest shaft {told}",
        f"What follows a ± is the expanded uncertainty (k = {k:g}); the true value lies within "
        f"{'it' if k == 2 else 'that for k = 2'} in about 95 of 100 cases.{shared}",
    ]


def _conditions(store: Store, found: Review, whole: Collection[MeasuredResult], zone: tzinfo | None) -> list[str]:
    started = [one.started_ms for one in whole if one.started_ms is not None]
    marked = any(lasting_side_deg(one) is not None for one in whole)
    return [
        "Spine is the deflection at midspan under 880 g on supports 28 in (711.2 mm) apart, the mean over the whole "
        "turn, in thousandths of an inch (thou, 0.0254 mm).",
        f"Measured {_days(started, zone)}{_temperature(store, [one.result for one in found.shafts])}.",
        f"Calibration: {', '.join(sorted({one.calibration or 'not told' for one in whole}))}; "
        f"gauge: {', '.join(sorted({one.gauge or 'not told' for one in whole}))}.",
        *(["Angles run from the mark on the shaft."] if marked else []),
    ]


def _days(started: Sequence[int], zone: tzinfo | None) -> str:
    if not started:
        return "at a time that was not noted"
    days = sorted({f"{datetime.fromtimestamp(at / 1000, zone):%Y-%m-%d}" for at in started})
    return f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"


def _temperature(store: Store, results: Sequence[int]) -> str:
    """The board's temperature in the cycles of these results, as far as a night noted it."""
    known = Journal(store).temperatures_c(results)
    if not known:
        return ", temperature not noted"
    low, high = min(known), max(known)
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    return f", the gauge's board at {span} °C"


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
