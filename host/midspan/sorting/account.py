"""Account for every shaft of a run, each exactly once: where it is, and whether it was measured.

Terminal, page, report and notices count from here, so they say the same of one run.

>>> from midspan.sorting.plan import EXAMPLE, SortPlan
>>> from midspan.store.transit import WayStep
>>> fell = Transit(1, 1, "HOPPER", None, 0, (WayStep(TransitStage.IN_BIN, 1, place=2, passed=2),))
>>> gone = Transit(2, 1, "HOPPER", None, 0, (WayStep(TransitStage.TAKEN_OUT, 2),))
>>> account = account_of([fell, gone], {})
>>> account.shafts, account.measured, account.unmeasured
(3, 0, 3)
>>> account.words(SortPlan.model_validate(EXAMPLE))
'3 shafts: 2 to measure again, 1 taken out by hand. No shaft was measured.'
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from midspan.sorting.plan import SortPlan
from midspan.store.transit import JudgedResult, Transit, TransitStage
from midspan.wire.records import FaultCode

# What the shafts in a place of the plan are, by the use of the place; a place without a use takes a bin of the bands.
MEANS = {
    "": "in bins",
    "recheck": "to measure again",
    "rejected": "rejected",
    "cracked": "maybe cracked",
    "standard": "gone the way of the check standard",
}
ELSEWHERE = "in places of an earlier plan"


def shafts_in(transit: Transit) -> int:
    """Return how many shafts went by at once: what the chute saw, or what lay on the rollers.

    Parameters
    ----------
    transit : Transit
        A way through the gauge.

    Returns
    -------
    int
        1, or more if others came along.
    """
    return max(2 if transit.unfit == FaultCode.TWO_SHAFTS.name else 1, transit.passed)


@dataclass(frozen=True)
class Account:
    """Shafts of the stock that a run took in; check standards and feeds that brought nothing do not count.

    Parameters
    ----------
    confirmed : Counter[int]
        Shafts that fell into each place, by its number.
    uncertain : Counter[int]
        Shafts that were sent to each place and may lie elsewhere.
    taken_out : int
        Shafts that a person took out of the gauge.
    in_gauge : int
        Shafts on their way.
    measured : int
        Shafts with a spine.
    along : int
        Shafts that came with another and were not measured.
    """

    confirmed: Counter[int]
    uncertain: Counter[int]
    taken_out: int
    in_gauge: int
    measured: int
    along: int

    @property
    def shafts(self) -> int:
        """All shafts; the sum of those in places, taken out, and on their way."""
        return self.confirmed.total() + self.uncertain.total() + self.taken_out + self.in_gauge

    @property
    def done(self) -> int:
        """Shafts whose way has ended."""
        return self.shafts - self.in_gauge

    @property
    def unmeasured(self) -> int:
        """Shafts without a spine, those that came along included; `measured` and these are all shafts."""
        return self.shafts - self.measured

    def sent_to(self, place: int) -> int:
        """Return how many shafts went to a place, those that may lie elsewhere included.

        Parameters
        ----------
        place : int
            Number of the place.

        Returns
        -------
        int
            Number of shafts.
        """
        return self.confirmed[place] + self.uncertain[place]

    def words(self, plan: SortPlan) -> str:
        """Return in one line where all shafts are; the parts add up to the whole.

        Parameters
        ----------
        plan : SortPlan
            Plan of the run.

        Returns
        -------
        str
            As in "35 shafts: 31 in bins, 4 to measure again. All were measured.", without a line break.
        """
        whole = "1 shaft" if self.shafts == 1 else f"{self.shafts} shafts"
        parts = ", ".join(self._parts(plan))
        return f"{whole}: {parts}. {self._measured_words()}" if parts else f"{whole}."

    def _parts(self, plan: SortPlan) -> Iterator[str]:
        """Yield where the shafts are, a part of them at a time."""
        uses = {place.number: place.use or "" for place in plan.place}
        held: Counter[str] = Counter()
        for place in {*self.confirmed, *self.uncertain}:
            held[MEANS[uses[place]] if place in uses else ELSEWHERE] += self.sent_to(place)
        held["taken out by hand"], held["in the gauge"] = self.taken_out, self.in_gauge
        for meaning in (*MEANS.values(), ELSEWHERE, "taken out by hand", "in the gauge"):
            if held[meaning]:
                yield f"{held[meaning]} {meaning}"

    def _measured_words(self) -> str:
        """Return how many shafts were measured and how many not."""
        if self.shafts == 1:
            return "It was measured." if self.measured else "It was not measured."
        if not self.unmeasured:
            return "All were measured."
        if not self.measured:
            return "No shaft was measured."
        return f"{self.measured} were measured, {self.unmeasured} not."


def with_spine(results: Mapping[int, JudgedResult]) -> frozenset[int]:
    """Return the numbers of the results that have a spine.

    Parameters
    ----------
    results : Mapping[int, JudgedResult]
        Results by their number.

    Returns
    -------
    frozenset[int]
        Numbers.
    """
    return frozenset(number for number, judged in results.items() if judged.spine_thou is not None)


def account_of(transits: Iterable[Transit], measured: Collection[int]) -> Account:
    """Return the account of a run.

    Parameters
    ----------
    transits : Iterable[Transit]
        All ways of the run.
    measured : Collection[int]
        Numbers of the results that have a spine.

    Returns
    -------
    Account
        The account.
    """
    confirmed, uncertain, counts = Counter[int](), Counter[int](), Counter[str]()
    for transit in transits:
        if transit.standard is not None or transit.stage is TransitStage.NO_SHAFT:
            continue
        number, place = shafts_in(transit), transit.place
        counts["measured"] += transit.result in measured
        counts["along"] += number - 1
        if transit.is_open:
            counts["in gauge"] += number
        elif place is None or transit.stage is TransitStage.TAKEN_OUT:
            counts["taken out"] += number
        elif transit.stage is TransitStage.UNCERTAIN:
            uncertain[place] += number
        else:
            confirmed[place] += number
    return Account(confirmed, uncertain, counts["taken out"], counts["in gauge"], counts["measured"], counts["along"])
