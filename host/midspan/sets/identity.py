"""Which numbers are of one shaft: by its label, or because a person says so; what a person says last of a pair holds.

A shaft that goes through the gauge in a second night gets a second number. Nothing is ever changed for that: what is
said of pairs is kept one after another, and which numbers are of one shaft follows from all of it. What people say of
single shafts comes before labels: a label that would join what a person parted was given to several shafts, and says
nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from midspan.base.errors import MatchingError

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Statement:
    """A person said that two numbers are of one shaft, or of two; `same` is None where that was taken back."""

    shaft: int
    other: int
    same: bool | None

    @property
    def pair(self) -> Pair:
        """The lower number first."""
        return pair_of(self.shaft, self.other)


@dataclass(frozen=True)
class Identities:
    """Numbers of one shaft, by each of them where it has several; and the pairs of which somebody said they are two."""

    groups: Mapping[int, tuple[int, ...]]
    parted: frozenset[Pair] = frozenset()

    def numbers(self, shaft: int) -> tuple[int, ...]:
        """Every number of the shaft that has this one, lowest first."""
        return self.groups.get(shaft, (shaft,))

    def key(self, shaft: int) -> int:
        """One of the numbers of a shaft, the same for all of them."""
        return self.numbers(shaft)[0]

    def are_two(self, shaft: int, other: int) -> bool:
        """Whether somebody said that the shafts of two numbers are not the same one."""
        return any(pair_of(a, b) in self.parted for a in self.numbers(shaft) for b in self.numbers(other))


def pair_of(shaft: int, other: int) -> Pair:
    """Two numbers, the lower first."""
    return min(shaft, other), max(shaft, other)


def identities(said: Iterable[Statement], labels: Mapping[str, Collection[int]] | None = None) -> Identities:
    """What follows from statements in the order they were made, and from the numbers that bear each label.

    Raises MatchingError when statements contradict each other.

    >>> identities([Statement(3, 7, True), Statement(7, 12, True)]).numbers(12)
    (3, 7, 12)
    >>> identities([Statement(3, 7, False)], {"blue": [3, 7]}).numbers(3)
    (3,)
    """
    newest = {one.pair: one.same for one in said}
    parted = frozenset(pair for pair, same in newest.items() if same is False)
    groups: dict[int, frozenset[int]] = {}
    for pair, same in newest.items():
        if same:
            _join(groups, pair)
    for a, b in sorted(parted):
        if b in groups.get(a, ()):
            raise MatchingError(
                f"shafts {a} and {b} cannot be two: it is said that {_chain(newest, a, b)}; take one of that back first"
            )
    for _, bearers in sorted((labels or {}).items()):
        together = frozenset(bearers).union(*(groups.get(one, ()) for one in bearers))
        if len(bearers) > 1 and not any(a in together and b in together for a, b in parted):
            _join(groups, bearers)
    return Identities({shaft: tuple(sorted(those)) for shaft, those in groups.items()}, parted)


def _join(groups: dict[int, frozenset[int]], shafts: Collection[int]) -> None:
    together = frozenset(shafts).union(*(groups.get(one, ()) for one in shafts))
    groups.update(dict.fromkeys(together, together))


def _chain(newest: Mapping[Pair, bool | None], start: int, end: int) -> str:
    """The shortest way from one number to another by what is said to be one, as in "3 is 7, 7 is 12"."""
    ways: list[tuple[int, ...]] = [(start,)]
    seen = {start}
    for way in ways:  # grows while it is walked: the nearest come first
        if way[-1] == end:
            return ", ".join(f"{a} is {b}" for a, b in pairwise(way))
        for pair, same in newest.items():
            further = set(pair) - seen
            if same and way[-1] in pair and further:
                seen |= further
                ways.append((*way, *further))
    raise AssertionError("numbers in one group are joined by a way")
