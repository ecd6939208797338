"""Shafts of `midspan sort` on the simulated gauge: the world's file against the journal."""

from collections import Counter

from midspan.rehearsal.scenario_night import BAR
from midspan.store.journal import Journal
from midspan.store.transit import TransitStage
from stores import store_in


def where(folder):
    """Return where each physical shaft is, by the world's file."""
    at = {}
    for line in (folder / "rehearsal" / "world.txt").read_text(encoding="utf-8").splitlines():
        _, shaft, what = line.split(" ", 2)
        if shaft != "-" and not what.startswith("measured"):
            at[int(shaft)] = what
    return at


def places_of_stock(folder):
    """Return how many shafts of the stock lie in each place, by the world's file."""
    return Counter(place for shaft, place in where(folder).items() if shaft != BAR["number"])


def transits(folder):
    """Return every shaft that the journal knows, of all nights."""
    with store_in(folder).open() as store:
        journal = Journal(store)
        return [transit for night in journal.nights() for transit in journal.transits(night.id)]


def check_ledger(folder, number):
    """Check that all shafts of the hopper lie in places, and that journal and world count the same there."""
    truly, ended = places_of_stock(folder), transits(folder)
    assert not [transit for transit in ended if transit.is_open]
    assert sum(truly.values()) == number
    counted = Counter()
    for transit in ended:
        if transit.standard is None and transit.stage is not TransitStage.NO_SHAFT:
            counted[f"place {transit.place}"] += max(1, transit.passed)
    assert counted == truly
    assert where(folder)[BAR["number"]] == "slot"
