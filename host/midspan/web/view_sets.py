"""Values of matched sets for the page: what was asked of each, its members, and what its spread is worth."""

from __future__ import annotations

from midspan.base.errors import MidspanError
from midspan.measurement.shown_quantities import (
    across_unit,
    difference_unit,
    in_across_unit,
    meaning,
    spine_text,
    spine_unit,
    weight_unit,
)
from midspan.report.sets_text import FURTHER, away_text, further_text, limits_words, review_words
from midspan.report.sets_view import present, reviewed
from midspan.sets.registry import KeptSet, Sets
from midspan.sets.review import Review
from midspan.sets.stock import spoken_against
from midspan.web.follow import Clock, Follower
from midspan.web.svg_chart import SvgChart, with_room

DISTANCE_M, LEAST_THOU = 70.0, 0.5


def sets_values(follower: Follower, now: Clock) -> dict[str, object]:
    """Return the values of the template of all sets, the newest first.

    Parameters
    ----------
    follower : Follower
        Store to read.
    now : Clock
        Time and zone.

    Returns
    -------
    dict[str, object]
        Values by name.
    """
    kept = Sets(follower.store).all()
    names = {known.id: known.name for known in kept}
    return {
        "sets": [
            (known.id, known.name, len(known.present), limits_words(known.limits), names.get(known.like or 0, ""),
             now.day(known.made_ms))
            for known in reversed(kept)
        ]
    }  # fmt: skip


def set_values(follower: Follower, number: int, now: Clock) -> dict[str, object] | None:
    """Return the values of the template of a set.

    Parameters
    ----------
    follower : Follower
        Store to read.
    number : int
        Number of the set.
    now : Clock
        Time and zone.

    Returns
    -------
    dict[str, object] | None
        Values by name; None if there is no such set.
    """
    kept = next((known for known in Sets(follower.store).all() if known.id == number), None)
    if kept is None:
        return None
    found, trouble = _review(follower, kept)
    return {
        "name": kept.name,
        "made": now.day(kept.made_ms),
        "limits": limits_words(kept.limits),
        "members": [] if found is None else _members(found),
        "words": [] if found is None else list(review_words(found, DISTANCE_M)),
        "strip": "" if found is None else strip(found),
        "left": [(member.shaft, member.left) for member in kept.members if member.left is not None],
        "trouble": trouble,
        "units": {
            "spine": spine_unit(),
            "across": across_unit(),
            "difference": difference_unit(),
            "weight": weight_unit(),
        },
        "meaning": meaning(),
    }


def _review(follower: Follower, kept: KeptSet) -> tuple[Review | None, str]:
    """Return the review of a set, None if it cannot be made, and what a person should know."""
    if len(kept.present) < 2:
        return None, "It was taken apart." if not kept.present else "Only one shaft is left in it."
    try:
        against = spoken_against(follower.store, kept.present)
        trouble = " ".join(f"Shaft {shaft} should no longer be in it: {why}." for shaft, why in against.items())
        return reviewed(follower.store, present(follower.store, kept)), trouble
    except MidspanError as error:
        return None, str(error)


def _members(found: Review) -> list[tuple[int, str, str, str, str, str]]:
    """Return shaft, label, spine, distance from the mean, spread and weight of each member, the stiffest first."""
    spread_of, weight_of = FURTHER[0], FURTHER[1]
    rows = []
    for i, shaft in enumerate(found.shafts):
        spread, weight = (further_text(each.of(shaft), each) for each in (spread_of, weight_of))
        rows.append((shaft.shaft, shaft.label, spine_text(shaft).cell, away_text(found, i), spread, weight))
    return rows


def strip(found: Review) -> str:
    """Draw how far each shaft of a set is from its mean, with the ± of that difference.

    Parameters
    ----------
    found : Review
        Review of the set.

    Returns
    -------
    str
        SVG.
    """
    bars = [
        (in_across_unit(away - found.k * u), in_across_unit(away + found.k * u))
        for away, u in zip(found.from_mean_thou, found.u_from_mean_thou, strict=True)
    ]
    room = with_room([end for bar in bars for end in bar], in_across_unit(LEAST_THOU))
    chart = SvgChart("Difference of each shaft from the mean of the set", (0.5, len(found.shafts) + 0.5), room)
    chart.across(0.0, "mean")
    for i, (low, high) in enumerate(bars):
        chart.bar(i + 1, low, high, open_mark=True)
    every = max(1, len(found.shafts) // 12)
    marks = [(i + 1.0, str(shaft.shaft)) for i, shaft in enumerate(found.shafts) if i % every == 0]
    return chart.done("shaft", f"from the mean, {difference_unit()}", marks)
