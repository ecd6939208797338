"""Matched sets for the page: what was asked of each, who is in it, and what its spread is worth."""

from __future__ import annotations

from midspan.base.errors import MidspanError
from midspan.base.formatting import with_uncertainty
from midspan.report.sets_text import limits_words, review_words
from midspan.report.sets_view import present, reviewed
from midspan.sets.registry import KeptSet, Sets
from midspan.sets.review import Review
from midspan.sets.stock import spoken_against
from midspan.web.follow import Clock, Follower
from midspan.web.svg_chart import SvgChart, with_room

K, DISTANCE_M, LEAST_THOU = 2.0, 70.0, 0.5


def sets_values(follower: Follower, now: Clock) -> dict[str, object]:
    """All sets, the newest first."""
    kept = Sets(follower.store).all()
    names = {one.id: one.name for one in kept}
    return {
        "sets": [
            (one.id, one.name, len(one.present), limits_words(one.limits), names.get(one.like or 0, ""),
             now.day(one.made_ms))
            for one in reversed(kept)
        ]
    }  # fmt: skip


def set_values(follower: Follower, number: int, now: Clock) -> dict[str, object] | None:
    """One set with its members; None when there is no set of this number."""
    kept = next((one for one in Sets(follower.store).all() if one.id == number), None)
    if kept is None:
        return None
    found, trouble = _review(follower, kept)
    return {
        "name": kept.name,
        "made": now.day(kept.made_ms),
        "limits": limits_words(kept.limits),
        "members": [] if found is None else _members(found),
        "words": [] if found is None else list(review_words(found, K, DISTANCE_M)),
        "strip": "" if found is None else strip(found),
        "left": [(one.shaft, one.left) for one in kept.members if one.left is not None],
        "trouble": trouble,
    }


def _review(follower: Follower, kept: KeptSet) -> tuple[Review | None, str]:
    if len(kept.present) < 2:
        return None, "It was taken apart." if not kept.present else "Only one shaft is left in it."
    try:
        against = spoken_against(follower.store, kept.present)
        trouble = " ".join(f"Shaft {shaft} should not be in it any more: {why}." for shaft, why in against.items())
        return reviewed(follower.store, present(follower.store, kept), K), trouble
    except MidspanError as error:
        return None, str(error)


def _members(found: Review) -> list[tuple[int, str, str, str, str, str]]:
    """Shaft, label, spine, how far from the mean, spread around, weight; the stiffest first."""
    rows = []
    for i, one in enumerate(found.shafts):
        away = with_uncertainty(found.from_mean_thou[i], K * found.u_from_mean_thou[i], 3)
        spread, weight = ("-" if value is None else f"{value:.1f}" for value in (one.spread_thou, one.weight_gr))
        rows.append((one.shaft, one.label, f"{one.spine_thou:.2f}", away, spread, weight))
    return rows


def strip(found: Review) -> str:
    """The shafts of a set beside one another, each with its U from the mean of the set."""
    ends = [
        away + sign * K * u
        for away, u in zip(found.from_mean_thou, found.u_from_mean_thou, strict=True)
        for sign in (-1, 1)
    ]
    chart = SvgChart("Spines of the set from its mean", (0.5, len(found.shafts) + 0.5), with_room(ends, LEAST_THOU))
    chart.across(0.0, "mean")
    for i, (away, u) in enumerate(zip(found.from_mean_thou, found.u_from_mean_thou, strict=True)):
        chart.bar(i + 1, away - K * u, away + K * u, open_mark=True)
    every = max(1, len(found.shafts) // 12)
    marks = [(i + 1.0, str(one.shaft)) for i, one in enumerate(found.shafts) if i % every == 0]
    return chart.done("shaft", "from the mean, thou", marks)
