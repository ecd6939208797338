"""What became of every shaft, told by two that never speak to each other: the world's file and the host's journal.

The world's file is written by the simulated feeder and chute at each event, whatever the device and the host know
of it. A shaft has a number of its own there; the host's number for it stands in the line "measured as".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Set
from dataclasses import dataclass, field
from pathlib import Path

from midspan.store.transit import Transit, TransitStage

GAUGE = ("rollers", "inlet")


@dataclass
class World:
    """Where each shaft is (by its own number), which number the host gave it, and which places were emptied."""

    where: dict[int, str] = field(default_factory=dict)
    moves: list[tuple[int, str]] = field(default_factory=list)
    measured_as: dict[int, list[int]] = field(default_factory=dict)  # own numbers, by the host's number

    @classmethod
    def read(cls, path: Path) -> World:
        """The world as its file tells it; a world without a file has not begun."""
        world = cls()
        for line in path.read_text().splitlines() if path.exists() else ():
            _, shaft, what = line.split(" ", 2)
            if what.startswith("measured as "):
                world.measured_as.setdefault(int(what.removeprefix("measured as ")), []).append(int(shaft))
            elif shaft != "-":
                world.where[int(shaft)] = what
                world.moves.append((int(shaft), what))
        return world

    def own(self, number: int) -> int | None:
        """The shaft that the host measured under this number, None when it measured none."""
        owns = set(self.measured_as.get(number, ()))
        assert len(owns) <= 1, f"number {number} was given to the shafts {sorted(owns)}"
        return next(iter(owns), None)

    def in_place(self, place: int) -> set[int]:
        """Shafts that lie in a place."""
        return {shaft for shaft, where in self.where.items() if where == f"place {place}"}


@dataclass
class Account:
    """What does not agree: `lost` and `wrong` must stay empty, `ambiguous` are those that the host itself names."""

    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    ambiguous: list[str] = field(default_factory=list)
    fed: int = 0

    def check(self, good: bool, words: str) -> None:
        """Note a shaft that is not where the journal says."""
        if not good:
            self.lost.append(words)


def account(world: World, transits: Iterable[Transit], standards: Set[int]) -> Account:
    """Compare the two: each shaft that was fed lies in one place, and the journal says which or names a doubt.

    `standards` are own numbers of check standards: they come again and again, so the newest transit tells where it is.
    """
    found = Account()
    transits = list(transits)
    by_own: dict[int, list[Transit]] = {}
    for transit in transits:
        own = world.own(transit.shaft)
        if own is not None:
            by_own.setdefault(own, []).append(transit)
    newest = max((known.shaft for known in transits if known.standard is not None), default=0)
    for own, same in by_own.items():
        if own not in standards or same[-1].shaft == newest:
            _compare(found, same[-1], world.where[own])
        if own not in standards and len(same) > 1:
            found.wrong.append(f"the shaft {own} was measured under the numbers {[again.shaft for again in same]}")
    _count_places(found, world, transits)
    _count_taken(found, world, transits, standards)
    moved = {shaft for shaft, _ in world.moves} - standards
    found.fed = len({shaft for shaft in moved if world.where[shaft] != "hopper"})
    _count_all(found, world, transits, moved)
    return found


def _compare(found: Account, transit: Transit, where: str) -> None:
    """A shaft whose own number is known."""
    said = f"shaft {transit.shaft} is {transit.stage} {transit.place or ''} in the journal and lies in {where}"
    here = where == f"place {transit.place}" or (transit.standard is not None and where == "slot")
    match transit.stage:
        case TransitStage.IN_BIN:
            found.check(here, said)
        case TransitStage.UNCERTAIN:
            found.ambiguous.append(said)
            found.check(here, said)
        case TransitStage.TAKEN_OUT:
            found.check(where == "floor", said)
        case TransitStage.NO_SHAFT:
            found.check(False, said)
        case TransitStage.LEAVING:
            found.check(here or where in GAUGE, said)
        case _:
            found.check(where in GAUGE, said)


def _count_places(found: Account, world: World, transits: list[Transit]) -> None:
    """Compare what the chute saw fall into each place with what lies there: a difference must be a named doubt."""
    seen: Counter[int] = Counter()
    doubts: Counter[int] = Counter()
    for transit in transits:
        if transit.place is None or transit.standard is not None:
            continue
        if transit.stage is TransitStage.IN_BIN:
            seen[transit.place] += transit.passed
        elif transit.stage in (TransitStage.UNCERTAIN, TransitStage.LEAVING):
            doubts[transit.place] += 1
    places = {int(where.split(" ")[1]) for where in world.where.values() if where.startswith("place ")}
    for place in places | set(seen):
        lie = len(world.in_place(place))
        words = f"place {place}: {seen[place]} seen to fall into it, {doubts[place]} in doubt, {lie} lie there"
        found.check(seen[place] <= lie <= seen[place] + doubts[place], words)


def _count_taken(found: Account, world: World, transits: list[Transit], standards: Set[int]) -> None:
    """Check that every shaft noted as taken out was taken out."""
    said = [transit.shaft for transit in transits if transit.stage is TransitStage.TAKEN_OUT]
    taken = [shaft for shaft, where in world.where.items() if where == "floor" and shaft not in standards]
    found.check(len(said) <= len(taken), f"{said} are said to be taken out, and {taken} were")


def _count_all(found: Account, world: World, transits: list[Transit], moved: set[int]) -> None:
    """No shaft left the hopper without a transit that answers for it."""
    answers = sum(
        max(transit.passed, 1)
        for transit in transits
        if transit.standard is None and transit.stage not in (TransitStage.NO_SHAFT,)
    )
    out = [shaft for shaft in moved if world.where[shaft] not in ("hopper", "floor")]
    found.check(len(out) <= answers, f"{len(out)} shafts left the hopper, {answers} are in the journal")
