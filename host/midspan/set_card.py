"""The card that goes with a set: what it says is decided here, once for the page and the paper.

A customer reads it who never saw the gauge: plain sentences, one sentence for the uncertainty, and the cautions.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from importlib.metadata import version
from typing import Any

from sqlalchemy import select

from midspan.errors import MatchingError
from midspan.hand_shaft import is_hand_result
from midspan.set_keep import KeptSet
from midspan.set_review import Review
from midspan.sets_report import MOST_PLACES
from midspan.sets_view import present, results_of, reviewed
from midspan.stock import spoken_against
from midspan.store import Store
from midspan.tables import StepRow
from midspan.wording import angle, with_uncertainty

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
    whole = dict(zip((one.shaft for one in shafts), results_of(store, shafts), strict=True))
    rows = [_row(found, i, whole[one.shaft], k) for i, one in enumerate(found.shafts)]
    known = [i for i in range(len(HEADINGS)) if any(row[i] != UNKNOWN for row in rows)]
    return Card(
        title=kept.name,
        headline=f"{len(rows)} shafts, mean spine {with_uncertainty(found.mean_thou, k * found.u_mean_thou, 2)} thou",
        sentences=tuple(_sentences(found, k)),
        headings=tuple(HEADINGS[i] for i in known),
        rows=tuple(tuple(row[i] for i in known) for row in rows),
        conditions=tuple(_conditions(store, found, list(whole.values()), zone)),
        cautions=CAUTIONS,
        made_by=f"Made by Midspan {version('midspan')}.",
    )


def lasting_side_deg(result: Mapping[str, Any]) -> float | None:
    """The stiff side, where it can be found again: the hand bench counts from a mark on the shaft.

    The gauge counts from where the shaft happened to lie, so its angle is worth nothing once the shaft is lifted off.

    >>> lasting_side_deg({"gauge": "bench", "stiff_side_deg": 34.0}) is None
    True
    """
    side: float | None = result.get("stiff_side_deg") if is_hand_result(dict(result)) else None
    return side


def _row(found: Review, i: int, result: dict[str, Any], k: float) -> tuple[str, ...]:
    one = found.shafts[i]
    away_thou = found.from_mean_thou[i]
    side = "softer" if away_thou > 0 else "stiffer"
    away = f"{abs(away_thou):.2f} {side}" if found.apart(i, k) else "not told apart"
    runout = UNKNOWN if result.get("runout_mm") is None else f"{result['runout_mm']:.3f}"
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


def _conditions(store: Store, found: Review, whole: Sequence[dict[str, Any]], zone: tzinfo | None) -> list[str]:
    started = [one["started_ms"] for one in whole if one.get("started_ms") is not None]
    marked = any(lasting_side_deg(one) is not None for one in whole)
    return [
        "Spine is the deflection at midspan under 880 g on supports 28 in (711.2 mm) apart, the mean over the whole "
        "turn, in thousandths of an inch (thou, 0.0254 mm).",
        f"Measured {_days(started, zone)}{_temperature(store, [one.result for one in found.shafts])}.",
        f"Calibration: {', '.join(sorted({str(one.get('calibration', 'not told')) for one in whole}))}; "
        f"gauge: {', '.join(sorted({str(one.get('gauge', 'not told')) for one in whole}))}.",
        *(["Angles run from the mark on the shaft."] if marked else []),
    ]


def _days(started: Sequence[int], zone: tzinfo | None) -> str:
    if not started:
        return "at a time that was not noted"
    days = sorted({f"{datetime.fromtimestamp(at / 1000, zone):%Y-%m-%d}" for at in started})
    return f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"


def _temperature(store: Store, results: Sequence[int]) -> str:
    """The board's temperature in the cycles of these results, as far as a night noted it."""
    query = select(StepRow.watched).where(StepRow.result_id.in_(results), StepRow.watched.is_not(None))
    with store.transaction() as session:
        watched = [json.loads(one) for one in session.scalars(query) if one is not None]
    known = [one["temperature_c"] for one in watched if one.get("temperature_c") is not None]
    if not known:
        return ", temperature not noted"
    low, high = min(known), max(known)
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    return f", the gauge's board at {span} °C"
