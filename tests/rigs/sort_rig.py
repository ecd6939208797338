"""What became of the shafts of `midspan sort` on the simulated gauge: the world's file against the journal."""

from collections import Counter

from midspan.rehearsal.scenario_night import BAR
from midspan.store.journal import Journal
from midspan.store.transit import TransitStage
from stores import store_in


def where(folder):
    """Where each physical shaft is, by the world's file."""
    at = {}
    for line in (folder / "rehearsal" / "world.txt").read_text(encoding="utf-8").splitlines():
        _, shaft, what = line.split(" ", 2)
        if shaft != "-" and not what.startswith("measured"):
            at[int(shaft)] = what
    return at


def places_of_stock(folder):
    """How many shafts of the stock lie in each place, by the world's file."""
    return Counter(place for shaft, place in where(folder).items() if shaft != BAR["number"])


def transits(folder):
    """Every shaft that the journal knows, of all nights."""
    with store_in(folder).open() as store:
        journal = Journal(store)
        return [one for night in journal.nights() for one in journal.transits(night.id)]


def check_ledger(folder, number):
    """Every shaft of so many in the hopper lies in a place, and the journal counts as many there as the world does."""
    truly, ended = places_of_stock(folder), transits(folder)
    assert not [one for one in ended if one.is_open]
    assert sum(truly.values()) == number
    counted = Counter()
    for one in ended:
        if one.standard is None and one.stage is not TransitStage.NO_SHAFT:
            counted[f"place {one.place}"] += max(1, one.passed)
    assert counted == truly
    assert where(folder)[BAR["number"]] == "slot"
