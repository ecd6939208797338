"""Counts of a night: how many shafts lie in each place, and what came how often in a row.

Made by giving it every shaft that has come to its end, in order, so that a run that goes on counts as if it had never
stopped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from midspan.decision.decision import Outcome
from midspan.sorting.plan import SortPlan
from midspan.store.transit import RunEvent, RunEventKind, Transit, TransitStage
from midspan.wire.records import FaultCode

NONE_IN_A_ROW = 3  # feeds that brought nothing from a hopper that says it holds some


@dataclass
class Tally:
    """What was counted so far. `places` is what lies in each place, a shaft that may have fallen into it included.

    >>> from midspan.sorting.plan import EXAMPLE
    >>> from midspan.store.transit import Step
    >>> tally = Tally(SortPlan.model_validate(EXAMPLE))
    >>> tally.end(Transit(1, 1, "HOPPER", None, 0, (Step(TransitStage.IN_BIN, 1, place=2, passed=2),)), None,
    ...     alarmed=False)
    >>> dict(tally.places), tally.shafts, tally.trouble()
    ({2: 2}, 2, '')
    >>> tally.words()
    '2 shafts: 2 in place 2 (recheck)'
    """

    plan: SortPlan
    places: Counter[int] = field(default_factory=Counter)
    outcomes: Counter[str] = field(default_factory=Counter)
    shafts: int = 0
    uncertain: int = 0
    in_a_row: Counter[str] = field(default_factory=Counter)

    def end(self, transit: Transit, outcome: Outcome | None, *, alarmed: bool) -> None:
        """A shaft has come to its end; `outcome` is its verdict's, `alarmed` whether it raised one about the gauge."""
        stage, place = transit.stage, transit.place
        self._count("none", stage is TransitStage.NO_SHAFT)
        if stage is TransitStage.NO_SHAFT:
            return
        unsure = stage is TransitStage.UNCERTAIN
        if place is not None and stage is not TransitStage.TAKEN_OUT and not self._is_return(place):
            self.places[place] += _number(transit)
        self._count("uncertain", unsure)
        self._count("alarms", alarmed)
        if transit.standard is not None:
            return
        self.shafts += _number(transit)
        self.uncertain += unsure
        self.outcomes["not measured" if outcome is None else outcome.value] += 1
        self._count("faults", outcome is Outcome.INSTRUMENT_FAULT)
        self._count("rechecks", place == self.plan.place_for("recheck").number)

    def empty(self, place: int) -> None:
        """A person emptied a place."""
        self.places[place] = 0

    def words(self) -> str:
        """How many shafts there were and where they lie, the fullest place first."""
        number = f"{self.shafts} shaft{'' if self.shafts == 1 else 's'}"
        lie = [f"{held} in {self.plan.place_called(place)}" for place, held in self.places.most_common() if held]
        return f"{number}: {', '.join(lie)}" if lie else number

    def planned_end(self, hours: float) -> str:
        """Why the plan has the run end after so many hours, or nothing."""
        stop = self.plan.stop
        if stop.shafts is not None and self.shafts >= stop.shafts:
            return f"{self.shafts} shafts are sorted, as planned"
        if stop.hours is not None and hours >= stop.hours:
            return f"{stop.hours:g} hours are over, as planned"
        return ""

    def trouble(self) -> str:
        """Why the run is to stop though nobody planned it, or nothing."""
        return next(self._reasons_to_stop(), "")

    def _reasons_to_stop(self) -> Iterator[str]:
        stop, row = self.plan.stop, self.in_a_row
        if row["faults"] >= stop.faults_in_a_row:
            yield f"{row['faults']} instrument faults in a row: look at the gauge"
        if row["rechecks"] >= stop.rechecks_in_a_row:
            yield f"{row['rechecks']} shafts in a row went to recheck: look at gauge, bands and places"
        if row["uncertain"] >= stop.uncertain_in_a_row:
            yield f"the chute missed {row['uncertain']} shafts in a row: look at its sensor, and recount"
        if row["alarms"] >= stop.alarms_in_a_row:
            yield f"{row['alarms']} shafts in a row raised an alarm about the gauge: look at it"
        if row["none"] >= NONE_IN_A_ROW:
            yield f"the feeder brought none {row['none']} times in a row: look at hopper and slot"

    def _is_return(self, place: int) -> bool:
        return any(one.number == place and one.use == "standard" for one in self.plan.place)

    def _count(self, name: str, came: bool) -> None:
        self.in_a_row[name] = self.in_a_row[name] + 1 if came else 0


def _number(transit: Transit) -> int:
    """How many shafts there are, as far as anyone knows: what the chute saw, or what lay on the rollers."""
    return max(2 if transit.unfit == FaultCode.TWO_SHAFTS.name else 1, transit.passed)


def tally_of(plan: SortPlan, transits: list[Transit], outcomes: dict[int, Outcome], events: list[RunEvent]) -> Tally:
    """The tally of a night from its journal; `outcomes` are those of its results by their number."""
    tally = Tally(plan)
    alarmed = {one.shaft for one in events if one.kind is RunEventKind.ALARM}
    # A place was emptied after the shaft that the event names: clocks may have been set meanwhile.
    emptied = [one for one in events if one.kind is RunEventKind.EMPTIED and one.place is not None]
    for transit in transits:
        _empty(tally, [one for one in emptied if (one.shaft or 0) < transit.shaft])
        emptied = [one for one in emptied if (one.shaft or 0) >= transit.shaft]
        if not transit.is_open:
            outcome = None if transit.result is None else outcomes.get(transit.result)
            tally.end(transit, outcome, alarmed=transit.shaft in alarmed)
    _empty(tally, emptied)
    return tally


def _empty(tally: Tally, emptied: list[RunEvent]) -> None:
    for one in emptied:
        assert one.place is not None
        tally.empty(one.place)
