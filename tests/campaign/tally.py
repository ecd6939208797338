"""The campaign's table: what was injected, and how many shafts survived, were lost, stayed in doubt, or are wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from rich.table import Table

KILLS = ("host killed", "both")
RESETS = ("device reset", "both")


@dataclass
class Tally:
    """What was done, and what came of it; `lost` and `wrong` have to stay empty.

    `instants` tells at what the harm fell: the state of the device, the stage of the open shaft in the journal of a
    dead host. `waits` tells why hosts ended before the night was over.
    """

    injected: Counter[str] = field(default_factory=Counter)
    fed: int = 0
    verdicts: int = 0
    nights: int = 0
    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    ambiguous: list[str] = field(default_factory=list)
    instants: Counter[str] = field(default_factory=Counter)
    waits: Counter[str] = field(default_factory=Counter)

    def sum_of(self, kinds: Iterable[str]) -> int:
        """Return how often any of these was injected."""
        return sum(self.injected[kind] for kind in kinds)


def added(tallies: Iterable[Tally]) -> Tally:
    """All of them in one."""
    total = Tally()
    for tally in tallies:
        for name, value in vars(tally).items():
            setattr(total, name, getattr(total, name) + value)
    return total


def table(tally: Tally) -> Table:
    """The table that the campaign prints."""
    rows = Table("fault campaign", "number", box=None)
    for kind, number in sorted(tally.injected.items()):
        rows.add_row(f"injected: {kind}", str(number))
    rows.add_row("nights, verdicts", f"{tally.nights}, {tally.verdicts}")
    rows.add_row("shafts fed", str(tally.fed))
    rows.add_row("survived: where they are is known", str(tally.fed - len(tally.ambiguous) - len(tally.lost)))
    rows.add_row("ambiguous: reported, with the place to recount", str(len(tally.ambiguous)))
    rows.add_row("lost (must be 0)", str(len(tally.lost)))
    rows.add_row("wrong (must be 0)", str(len(tally.wrong)))
    for words, number in tally.instants.most_common():
        rows.add_row(f"harm fell at: {words}", str(number))
    for words, number in tally.waits.most_common():
        if number:
            rows.add_row(f"a host ended early: {words}", str(number))
    return rows
