"""Find the numbers that belong to one shaft: from labels, and from what people state about pairs of numbers.

A shaft that passes the gauge in a second night gets a second number. Nothing stored is changed for that: statements
about pairs are kept in order, the newest statement on a pair counts, and the numbers of one shaft follow from all of
them. Statements on single shafts come before labels: a label that would join what a person parted was given to several
shafts, and is ignored.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from midspan.base.errors import MatchingError
from midspan.base.formatting import read_code
from midspan.store.records import Records

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Statement:
    """A person's statement that two numbers belong to one shaft, or to two.

    Parameters
    ----------
    shaft : int
        First number.
    other : int
        Second number.
    same : bool | None
        True for one shaft, False for two, None where an earlier statement is taken back.
    """

    shaft: int
    other: int
    same: bool | None

    @property
    def pair(self) -> Pair:
        """The two numbers, the lower first."""
        return pair_of(self.shaft, self.other)


@dataclass(frozen=True)
class Identities:
    """Numbers that belong together, and pairs that a person stated to be two shafts.

    Parameters
    ----------
    groups : Mapping[int, tuple[int, ...]]
        All numbers of a shaft, ascending, by each of its numbers; a shaft of one number is left out.
    parted : frozenset[Pair]
        Pairs of numbers, the lower first, that belong to two shafts.
    """

    groups: Mapping[int, tuple[int, ...]]
    parted: frozenset[Pair] = frozenset()

    def numbers(self, shaft: int) -> tuple[int, ...]:
        """Return every number of a shaft.

        Parameters
        ----------
        shaft : int
            Any of its numbers.

        Returns
        -------
        tuple[int, ...]
            Its numbers, ascending.

        Examples
        --------
        >>> Identities({3: (3, 7), 7: (3, 7)}).numbers(7)
        (3, 7)
        """
        return self.groups.get(shaft, (shaft,))

    def key(self, shaft: int) -> int:
        """Return the lowest number of a shaft, which stands for all of them.

        Parameters
        ----------
        shaft : int
            Any of its numbers.

        Returns
        -------
        int
            Its lowest number.
        """
        return self.numbers(shaft)[0]

    def are_two(self, shaft: int, other: int) -> bool:
        """Return True if a person stated that two numbers belong to two shafts.

        Parameters
        ----------
        shaft : int
            Any number of the first shaft.
        other : int
            Any number of the second shaft.

        Returns
        -------
        bool
            True if any of their numbers were parted.
        """
        return any(pair_of(a, b) in self.parted for a in self.numbers(shaft) for b in self.numbers(other))


def pair_of(shaft: int, other: int) -> Pair:
    """Put the lower of two numbers first.

    Parameters
    ----------
    shaft : int
        A number.
    other : int
        Another number.

    Returns
    -------
    Pair
        The pair.

    Examples
    --------
    >>> pair_of(7, 3)
    (3, 7)
    """
    return min(shaft, other), max(shaft, other)


def identities(said: Iterable[Statement], labels: Mapping[str, Collection[int]] | None = None) -> Identities:
    """Work out which numbers belong to one shaft.

    Parameters
    ----------
    said : Iterable[Statement]
        Statements in the order they were made.
    labels : Mapping[str, Collection[int]] | None
        Numbers that bear each label.

    Returns
    -------
    Identities
        The groups of numbers, and the pairs that were parted.

    Raises
    ------
    MatchingError
        Statements contradict each other.

    Examples
    --------
    >>> identities([Statement(3, 7, True), Statement(7, 12, True)]).numbers(12)
    (3, 7, 12)
    >>> identities([Statement(3, 7, False)], {"blue": [3, 7]}).numbers(3)
    (3,)
    """
    newest = {statement.pair: statement.same for statement in said}
    parted = frozenset(pair for pair, same in newest.items() if same is False)
    groups: dict[int, frozenset[int]] = {}
    for pair, same in newest.items():
        if same:
            _join(groups, pair)
    for a, b in sorted(parted):
        if b in groups.get(a, ()):
            raise MatchingError(
                f"shafts {a} and {b} cannot be two: {_chain(newest, a, b)} is on record; take one statement back first"
            )
    for _, bearers in sorted((labels or {}).items()):
        together = frozenset(bearers).union(*(groups.get(bearer, ()) for bearer in bearers))
        if len(bearers) > 1 and not any(a in together and b in together for a, b in parted):
            _join(groups, bearers)
    return Identities({shaft: tuple(sorted(those)) for shaft, those in groups.items()}, parted)


def known_identities(records: Records) -> Identities:
    """Return the numbers that belong to one shaft by labels and by statements.

    A label that is the printed code of a number counts as that number.

    Parameters
    ----------
    records : Records
        Open records of the store.

    Returns
    -------
    Identities
        The groups of numbers, and pairs that were stated to be two shafts.

    Raises
    ------
    MatchingError
        Statements in the store contradict each other.
    """
    bearers: dict[str, set[int]] = {}
    for shaft, label in records.labels():
        bearers.setdefault(label, set()).add(shaft)
        named = read_code(label)
        if named != label and named.isdecimal():
            bearers[label].add(int(named))
    return identities(statements(records), {label: those for label, those in bearers.items() if len(those) > 1})


def statements(records: Records) -> list[Statement]:
    """Return all statements on record.

    Parameters
    ----------
    records : Records
        Open records of the store.

    Returns
    -------
    list[Statement]
        Statements, oldest first.
    """
    return [Statement(each.shaft, each.other, each.same) for each in records.stated_identities()]


def _join(groups: dict[int, frozenset[int]], shafts: Collection[int]) -> None:
    """Put shafts, and all that they were joined with before, into one group."""
    together = frozenset(shafts).union(*(groups.get(shaft, ()) for shaft in shafts))
    groups.update(dict.fromkeys(together, together))


def _chain(newest: Mapping[Pair, bool | None], start: int, end: int) -> str:
    """Return the shortest chain of statements from one number to another, as in "3 is 7, 7 is 12"."""
    ways: list[tuple[int, ...]] = [(start,)]
    seen = {start}
    for way in ways:  # the list grows during the walk, shortest ways first
        if way[-1] == end:
            return ", ".join(f"{a} is {b}" for a, b in pairwise(way))
        for pair, same in newest.items():
            further = set(pair) - seen
            if same and way[-1] in pair and further:
                seen |= further
                ways.append((*way, *further))
    raise AssertionError("numbers in one group are joined by a way")
