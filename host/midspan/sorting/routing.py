"""Routes of judged shafts: by verdict and by the room in the places; a check standard returns to its slot.

>>> from midspan.sorting.plan import EXAMPLE
>>> plan = SortPlan.model_validate(EXAMPLE)
>>> transit = Transit(1, 1, "HOPPER", None, 0, (WayStep(TransitStage.JUDGED, 1),))
>>> good, soft = Judged(Outcome.ACCEPTED, "500", 0.1), Judged(Outcome.REJECTED, None, 2.2, cracked=True)
>>> route_of(good, transit, plan, {}).place, route_of(soft, transit, plan, {}).place
(1, 4)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from midspan.decision.concerns import UNSURE
from midspan.decision.decision import Outcome
from midspan.sorting.next_action import Route
from midspan.sorting.plan import SortPlan
from midspan.store.transit import Transit, TransitStage, WayStep  # noqa: F401 - WayStep is for the example above

# A cycle cut short by these says nothing about the shaft or the gauge: it is repeated and not counted.
INTERRUPTIONS = frozenset({"STOPPED_BY_HOST", "HOST_SILENT", "LID_OPEN", "EMERGENCY_STOP"})
MOST_INTERRUPTIONS = 10  # of one shaft; more are hardly by chance


@dataclass(frozen=True, slots=True)
class Judged:
    """What the route of a shaft depends on.

    Parameters
    ----------
    outcome : Outcome
        Outcome of the verdict.
    bin : str | None
        Bin of the verdict, None for no bin.
    hysteresis_pct : float | None
        Hysteresis, percent; None if unmeasured.
    cause : str | None
        Code of the fault that cut the cycle short, None for a whole cycle.
    cracked : bool
        True if the verdict suspects a crack, by the limit in force when it was given.
    repeat_helps : bool
        False if the shaft would be as doubtful if it were measured again.
    """

    outcome: Outcome
    bin: str | None = None
    hysteresis_pct: float | None = None
    cause: str | None = None
    cracked: bool = False
    repeat_helps: bool = True


def route_of(judged: Judged, transit: Transit, plan: SortPlan, counts: Mapping[int, int]) -> Route:
    """Return the route of a judged shaft.

    A full place hands its shafts to recheck, except cracked shafts, which must not lie among others. If that is full
    too, the route has no place and says what to empty.

    Parameters
    ----------
    judged : Judged
        What the route depends on.
    transit : Transit
        The shaft's way so far.
    plan : SortPlan
        The plan.
    counts : Mapping[int, int]
        Shafts in each place by its number.

    Returns
    -------
    Route
        The route.
    """
    interrupted = sum(step.words in INTERRUPTIONS for step in transit.steps if step.stage is TransitStage.JUDGED)
    if judged.cause in INTERRUPTIONS and interrupted <= MOST_INTERRUPTIONS:
        return Route(again=True)
    again = interrupted <= MOST_INTERRUPTIONS and _measured(transit) <= plan.sort.measure_again
    if transit.standard is not None:
        return Route(again=True) if judged.hysteresis_pct is None and again else Route(place=_home(transit, plan))
    if judged.outcome in UNSURE and again and judged.repeat_helps:
        return Route(again=True)
    if judged.cracked:
        return _into([plan.place_for("cracked").number], plan, counts)
    if judged.outcome in UNSURE:
        return recheck_route(plan, counts)
    recheck = plan.place_for("recheck").number
    if judged.outcome is Outcome.REJECTED or judged.bin is None:
        return _into([plan.place_for("rejected").number, recheck], plan, counts)
    return _into([*plan.bin_places(judged.bin), recheck], plan, counts)


def _measured(transit: Transit) -> int:
    """Return how often a shaft was measured, interrupted cycles left out."""
    return sum(step.stage is TransitStage.JUDGED and step.words not in INTERRUPTIONS for step in transit.steps)


def _home(transit: Transit, plan: SortPlan) -> int:
    """Return the place of a check standard.

    Its slot, or recheck for one put in by hand, which is taken out by hand again.
    """
    return plan.place_for("standard" if transit.source == "SLOT" else "recheck").number


def recheck_route(plan: SortPlan, counts: Mapping[int, int]) -> Route:
    """Return the route of a shaft that was not, or cannot be, measured.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    counts : Mapping[int, int]
        Shafts in each place by its number.

    Returns
    -------
    Route
        The route.
    """
    return _into([plan.place_for("recheck").number], plan, counts)


def _into(places: Sequence[int], plan: SortPlan, counts: Mapping[int, int]) -> Route:
    """Return the route into the first of these places with room."""
    full = tuple(place for place in places if is_full(place, plan, counts))
    names = " and ".join(plan.place_called(place) for place in full)
    verb, them = ("is", "it") if len(full) == 1 else ("are", "them")
    room = next((place for place in places if place not in full), None)
    if room is None:
        return Route(words=f"{names} {verb} full: empty {them}, then go on", full=full)
    before = full[: places.index(room)]  # a bin may have several places, of which only those before `room` were tried
    if not before or plan.bin_of(room) is not None:
        return Route(place=room)
    return Route(place=room, words=f"{names} {verb} full: its shafts go to {plan.place_called(room)}", full=before)


def is_full(place: int, plan: SortPlan, counts: Mapping[int, int]) -> bool:
    """Return True if a place holds as many shafts as it can.

    Parameters
    ----------
    place : int
        Its number.
    plan : SortPlan
        The plan.
    counts : Mapping[int, int]
        Shafts in each place by its number.

    Returns
    -------
    bool
        True if it is full; False for a place without a limit.
    """
    holds = next((known.holds for known in plan.place if known.number == place), None)
    return holds is not None and counts.get(place, 0) >= holds
