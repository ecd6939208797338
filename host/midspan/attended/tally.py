"""Totals of a session: every shaft once, so that the numbers add up.

>>> tally = SessionTally()
>>> tally.shafts.update({1: CountedShaft("accepted", "stiff"), 2: CountedShaft("rejected")})
>>> tally.voided.add(2)
>>> tally.batches.add(3)
>>> print(tally.words())
2 shafts: 1 accepted (1 stiff), 1 void
stored as batch 3, as in: midspan compare batch:3 ...
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from midspan.decision.decision import Outcome

ORDER = tuple(outcome.value for outcome in Outcome)


@dataclass(frozen=True, slots=True)
class CountedShaft:
    """How a shaft counts: by its newest verdict.

    Parameters
    ----------
    outcome : str
        Outcome of the verdict.
    bin : str
        Its bin, empty without one.
    """

    outcome: str
    bin: str = ""


@dataclass
class SessionTally:
    """What was measured in a session.

    Parameters
    ----------
    shafts : dict[int, CountedShaft]
        Each shaft by its number, with its newest verdict.
    voided : set of int
        Those of them whose last measurement is void.
    measurements : int
        Measurements of shafts, repeated ones included.
    checks : dict[str, list[bool]]
        Measurements of each check standard, True for a good one.
    fetched : int
        Shafts of an earlier session whose readings were stored first.
    suspects : set of int
        Shafts that a check put in doubt.
    batches : set of int
        Batches that got the measurements: that of this session, and that of an earlier one for a shaft it left open.
    """

    shafts: dict[int, CountedShaft] = field(default_factory=dict)
    voided: set[int] = field(default_factory=set)
    measurements: int = 0
    checks: dict[str, list[bool]] = field(default_factory=dict)
    fetched: int = 0
    suspects: set[int] = field(default_factory=set)
    batches: set[int] = field(default_factory=set)

    def words(self) -> str:
        """Return the totals as lines; the parts of the first line add up to its first number.

        Returns
        -------
        str
            Lines without an end.
        """
        counted = {shaft: known for shaft, known in self.shafts.items() if shaft not in self.voided}
        outcomes = Counter(known.outcome for known in counted.values())
        parts = [f"{outcomes[name]} {name}{self._bins(name)}" for name in ORDER if outcomes[name]]
        void = len(self.shafts) - len(counted)
        parts += [f"{void} void"] if void else []
        number = len(self.shafts)
        lines = [f"{number} shaft{'' if number == 1 else 's'}{': ' + ', '.join(parts) if parts else ''}"]
        repeated = self.measurements - number
        lines += [f"{self.measurements} measurements, {repeated} of them repeated"] if repeated > 0 else []
        for name, good in self.checks.items():
            lines.append(f"check standard {name}: {sum(good)} of {len(good)} good")
        if self.suspects:
            those = ", ".join(map(str, sorted(self.suspects)))
            lines.append(f"measure again, a check put them in doubt: {those}")
        lines += [f"{self.fetched} of an earlier session fetched and stored first"] if self.fetched else []
        if self.batches:
            those = " and ".join(map(str, sorted(self.batches)))
            stored = f"stored as batch {those}" if len(self.batches) == 1 else f"stored in batches {those}"
            lines.append(f"{stored}, as in: midspan compare batch:{max(self.batches)} ...")
        return "\n".join(lines)

    def _bins(self, outcome: str) -> str:
        """Return how many shafts of an outcome fell into each bin, empty without bins."""
        bins = Counter(
            known.bin
            for shaft, known in self.shafts.items()
            if known.outcome == outcome and known.bin and shaft not in self.voided
        )
        return f" ({', '.join(f'{number} {name}' for name, number in sorted(bins.items()))})" if bins else ""
