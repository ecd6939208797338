"""Count the shafts of a night: how many lie in each place, and how often each kind of ending came in a row.

The tally is made from every finished shaft in order, so a run that goes on counts as if it had never stopped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from midspan.decision.decision import Outcome
from midspan.sorting.account import shafts_in
from midspan.sorting.plan import SortPlan
from midspan.store.transit import RunEvent, RunEventKind, Transit, TransitStage

NONE_IN_A_ROW = 3  # feeds without a shaft from a hopper that reports shafts


@dataclass
class Tally:
    """Counts of a night so far.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    places : Counter[int]
        Shafts in each place by its number, those that may have fallen into it included.
    shafts : int
        Shafts of the stock.
    in_a_row : Counter[str]
        How often each kind of ending came in a row.

    Examples
    --------
    >>> from midspan.sorting.plan import EXAMPLE
    >>> from midspan.store.transit import WayStep
    >>> tally = Tally(SortPlan.model_validate(EXAMPLE))
    >>> tally.end(Transit(1, 1, "HOPPER", None, 0, (WayStep(TransitStage.IN_BIN, 1, place=2, passed=2),)), None,
    ...     alarmed=False)
    >>> dict(tally.places), tally.shafts, tally.trouble()
    ({2: 2}, 2, '')
    """

    plan: SortPlan
    places: Counter[int] = field(default_factory=Counter)
    shafts: int = 0
    in_a_row: Counter[str] = field(default_factory=Counter)

    def end(self, transit: Transit, outcome: Outcome | None, *, alarmed: bool) -> None:
        """Count a shaft whose way has ended.

        Parameters
        ----------
        transit : Transit
            Its way.
        outcome : Outcome | None
            Outcome of its verdict, None without a verdict.
        alarmed : bool
            True if it raised an alarm about the gauge.
        """
        stage, place = transit.stage, transit.place
        self._count("none", stage is TransitStage.NO_SHAFT)
        if stage is TransitStage.NO_SHAFT:
            return
        unsure = stage is TransitStage.UNCERTAIN
        if place is not None and stage is not TransitStage.TAKEN_OUT and not self._is_return(place):
            self.places[place] += shafts_in(transit)
        self._count("uncertain", unsure)
        self._count("alarms", alarmed)
        if transit.standard is not None:
            return
        self.shafts += shafts_in(transit)
        self._count("faults", outcome is Outcome.INSTRUMENT_FAULT)
        self._count("rechecks", place == self.plan.place_for("recheck").number)

    def empty(self, place: int) -> None:
        """Count a place as empty.

        Parameters
        ----------
        place : int
            Its number.
        """
        self.places[place] = 0

    def planned_end(self, hours: float) -> str:
        """Return why the plan ends the run now.

        Parameters
        ----------
        hours : float
            How long the run has lasted, hours.

        Returns
        -------
        str
            Reason for people; empty to go on.
        """
        stop = self.plan.stop
        if stop.shafts is not None and self.shafts >= stop.shafts:
            return f"{self.shafts} shafts are sorted, as planned"
        if stop.hours is not None and hours >= stop.hours:
            return f"{stop.hours:g} hours are over, as planned"
        return ""

    def trouble(self) -> str:
        """Return the reason for an unplanned stop.

        Returns
        -------
        str
            Reason for people; empty to go on.
        """
        return next(self._reasons_to_stop(), "")

    def _reasons_to_stop(self) -> Iterator[str]:
        """Yield the reasons for an unplanned stop."""
        stop, row = self.plan.stop, self.in_a_row
        if row["faults"] >= stop.faults_in_a_row:
            yield f"{row['faults']} instrument faults in a row: look at the gauge"
        if row["rechecks"] >= stop.rechecks_in_a_row:
            yield f"{row['rechecks']} shafts in a row went to recheck: check gauge, bands and bins"
        if row["uncertain"] >= stop.uncertain_in_a_row:
            yield f"the chute missed {row['uncertain']} shafts in a row: look at its sensor, and recount"
        if row["alarms"] >= stop.alarms_in_a_row:
            yield f"{row['alarms']} shafts in a row raised an alarm about the gauge: look at it"
        if row["none"] >= NONE_IN_A_ROW:
            yield f"the feeder brought none {row['none']} times in a row: look at hopper and slot"

    def _is_return(self, place: int) -> bool:
        """Return True for the place that leads back into the slot of the check standard."""
        return any(known.number == place and known.use == "standard" for known in self.plan.place)

    def _count(self, name: str, came: bool) -> None:
        """Count an ending in a row, or begin at 0 again."""
        self.in_a_row[name] = self.in_a_row[name] + 1 if came else 0


def tally_of(plan: SortPlan, transits: list[Transit], outcomes: dict[int, Outcome], events: list[RunEvent]) -> Tally:
    """Return the tally of a night from its journal.

    Parameters
    ----------
    plan : SortPlan
        The plan.
    transits : list[Transit]
        Shafts of the night, in order.
    outcomes : dict[int, Outcome]
        Outcomes of the night's results by their number.
    events : list[RunEvent]
        Events of the night, in order.

    Returns
    -------
    Tally
        The tally.
    """
    tally = Tally(plan)
    alarmed = {event.shaft for event in events if event.kind is RunEventKind.ALARM}
    # The event names the last shaft before the place was emptied; times are no guide, as clocks may have been set.
    emptied = [event for event in events if event.kind is RunEventKind.EMPTIED and event.place is not None]
    for transit in transits:
        _empty(tally, [event for event in emptied if (event.shaft or 0) < transit.shaft])
        emptied = [event for event in emptied if (event.shaft or 0) >= transit.shaft]
        if not transit.is_open:
            outcome = None if transit.result is None else outcomes.get(transit.result)
            tally.end(transit, outcome, alarmed=transit.shaft in alarmed)
    _empty(tally, emptied)
    return tally


def _empty(tally: Tally, emptied: list[RunEvent]) -> None:
    """Count places as empty."""
    for event in emptied:
        assert event.place is not None
        tally.empty(event.place)
