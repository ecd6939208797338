"""Values of matched sets for the page: what was asked of each, its members, and what its spread is worth."""

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
        "words": [] if found is None else list(review_words(found, K, DISTANCE_M)),
        "strip": "" if found is None else strip(found),
        "left": [(member.shaft, member.left) for member in kept.members if member.left is not None],
        "trouble": trouble,
    }


def _review(follower: Follower, kept: KeptSet) -> tuple[Review | None, str]:
    """Return the review of a set, None if it cannot be made, and what a person should know."""
    if len(kept.present) < 2:
        return None, "It was taken apart." if not kept.present else "Only one shaft is left in it."
    try:
        against = spoken_against(follower.store, kept.present)
        trouble = " ".join(f"Shaft {shaft} should not be in it any more: {why}." for shaft, why in against.items())
        return reviewed(follower.store, present(follower.store, kept), K), trouble
    except MidspanError as error:
        return None, str(error)


def _members(found: Review) -> list[tuple[int, str, str, str, str, str]]:
    """Return shaft, label, spine, distance from the mean, spread and weight of each member, the stiffest first."""
    rows = []
    for i, shaft in enumerate(found.shafts):
        away = with_uncertainty(found.from_mean_thou[i], K * found.u_from_mean_thou[i], 3)
        spread, weight = ("-" if value is None else f"{value:.1f}" for value in (shaft.spread_thou, shaft.weight_gr))
        rows.append((shaft.shaft, shaft.label, f"{shaft.spine_thou:.2f}", away, spread, weight))
    return rows


def strip(found: Review) -> str:
    """Draw the shafts of a set side by side, each with its U from the mean of the set.

    Parameters
    ----------
    found : Review
        Review of the set.

    Returns
    -------
    str
        SVG.
    """
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
    marks = [(i + 1.0, str(shaft.shaft)) for i, shaft in enumerate(found.shafts) if i % every == 0]
    return chart.done("shaft", "from the mean, thou", marks)
