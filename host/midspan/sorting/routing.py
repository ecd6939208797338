"""Where a judged shaft goes: by its verdict and by what the places have room for; a standard goes back to its slot.

>>> from midspan.sorting.plan import EXAMPLE
>>> plan = SortPlan.model_validate(EXAMPLE)
>>> transit = Transit(1, 1, "HOPPER", None, 0, (Step(TransitStage.JUDGED, 1),))
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
from midspan.store.transit import Step, Transit, TransitStage  # noqa: F401 - one for the example above

# A cycle cut short for these says nothing about the shaft or the gauge: it is measured again, however often.
INTERRUPTIONS = frozenset({"STOPPED_BY_HOST", "HOST_SILENT", "LID_OPEN", "EMERGENCY_STOP"})
MOST_INTERRUPTIONS = 10  # of one shaft; more of them are no chance


@dataclass(frozen=True, slots=True)
class Judged:
    """What its way depends on: verdict, hysteresis (None: unmeasured), and the fault that cut its cycle short.

    `cracked` is what the verdict says of a crack, by the limit that held when it was given.
    """

    outcome: Outcome
    bin: str | None = None
    hysteresis_pct: float | None = None
    cause: str | None = None
    cracked: bool = False


def route_of(judged: Judged, transit: Transit, plan: SortPlan, counts: Mapping[int, int]) -> Route:
    """Where the shaft goes; `counts` is how many lie in each place.

    A place that is full hands its shafts to recheck, but for the cracked ones, which are not to lie among others. Where
    that is full too the route leads nowhere and says what to empty.
    """
    interrupted = sum(one.words in INTERRUPTIONS for one in transit.steps if one.stage is TransitStage.JUDGED)
    if judged.cause in INTERRUPTIONS and interrupted <= MOST_INTERRUPTIONS:
        return Route(again=True)
    again = interrupted <= MOST_INTERRUPTIONS and _measured(transit) <= plan.sort.measure_again
    if transit.standard is not None:
        return Route(again=True) if judged.hysteresis_pct is None and again else Route(place=_home(transit, plan))
    if judged.outcome in UNSURE and again:
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
    return sum(one.stage is TransitStage.JUDGED and one.words not in INTERRUPTIONS for one in transit.steps)


def _home(transit: Transit, plan: SortPlan) -> int:
    """A standard from the slot goes back there; one that a person put in is taken out again (see night)."""
    return plan.place_for("standard" if transit.source == "SLOT" else "recheck").number


def recheck_route(plan: SortPlan, counts: Mapping[int, int]) -> Route:
    """The way of a shaft that is not, or cannot be, measured."""
    return _into([plan.place_for("recheck").number], plan, counts)


def _into(places: Sequence[int], plan: SortPlan, counts: Mapping[int, int]) -> Route:
    full = tuple(place for place in places if is_full(place, plan, counts))
    names = " and ".join(plan.place_called(place) for place in full)
    verb, them = ("is", "it") if len(full) == 1 else ("are", "them")
    room = next((place for place in places if place not in full), None)
    if room is None:
        return Route(words=f"{names} {verb} full: empty {them}, then go on", full=full)
    before = full[: places.index(room)]  # a bin may have more than one place, and not all of them be tried
    if not before or plan.bin_of(room) is not None:
        return Route(place=room)
    return Route(place=room, words=f"{names} {verb} full: its shafts go to {plan.place_called(room)}", full=before)


def is_full(place: int, plan: SortPlan, counts: Mapping[int, int]) -> bool:
    """True when a place holds as many shafts as it can."""
    holds = next((one.holds for one in plan.place if one.number == place), None)
    return holds is not None and counts.get(place, 0) >= holds
