"""What people say of a set: its name, customer, order, day of shipping and notes; the newest of a kind counts.

>>> renamed = SaidOfSet(1, SetDetailKind.NAME, "Ann's dozen", "", 1)
>>> name, details = standing_details("spring 1", [renamed, SaidOfSet(1, SetDetailKind.SHIPPED, "2026-05-01", "", 2)])
>>> name, details.earlier_names, details.words
("Ann's dozen", ('spring 1',), 'shipped 2026-05-01')
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from midspan.base.errors import StoreError
from midspan.sets.whom import Whom
from midspan.store.detail_kinds import SetDetailKind
from midspan.store.place import StorePlace
from midspan.store.set_records import SaidOfSet, SetRecords

LONGEST = 72  # characters of a name


@dataclass(frozen=True, slots=True)
class SetDetails:
    """What people said of a set, as it stands now.

    Parameters
    ----------
    customer : str | None
        For whom it is, None where nobody said.
    order : str | None
        Order that it belongs to.
    shipped : str | None
        Day it was shipped, as in "2026-05-01"; None while it is here.
    notes : tuple[str, ...]
        Notes, oldest first.
    earlier_names : tuple[str, ...]
        Names that it had before, oldest first.
    """

    customer: str | None = None
    order: str | None = None
    shipped: str | None = None
    notes: tuple[str, ...] = ()
    earlier_names: tuple[str, ...] = ()

    @property
    def whom(self) -> Whom:
        """Customer and order."""
        return Whom(self.customer, self.order)

    @property
    def words(self) -> str:
        """Customer, order and day of shipping, as in "for Ann, order 2026-14, shipped 2026-05-01"; may be empty."""
        return ", ".join(filter(None, (self.whom.words, self.shipped and f"shipped {self.shipped}")))


def standing_details(first_name: str, said: Sequence[SaidOfSet]) -> tuple[str, SetDetails]:
    """Return the name of a set and what else stands of what was said of it.

    Parameters
    ----------
    first_name : str
        Name that it was made with.
    said : Sequence[SaidOfSet]
        Statements about it, oldest first.

    Returns
    -------
    tuple of str and SetDetails
        Name that it has now, and its details.
    """
    names = [first_name, *(each.value for each in said if each.kind is SetDetailKind.NAME and each.value)]
    last = {each.kind: each.value for each in said}
    return names[-1], SetDetails(
        last.get(SetDetailKind.CUSTOMER), last.get(SetDetailKind.ORDER), last.get(SetDetailKind.SHIPPED),
        tuple(each.value for each in said if each.kind is SetDetailKind.NOTE and each.value),
        tuple(name for name in dict.fromkeys(names) if name != names[-1]),
    )  # fmt: skip


def by_set(said: Iterable[SaidOfSet]) -> dict[int, list[SaidOfSet]]:
    """Return statements by the number of their set.

    Parameters
    ----------
    said : Iterable[SaidOfSet]
        Statements, oldest first.

    Returns
    -------
    dict[int, list[SaidOfSet]]
        Those of each set, oldest first.
    """
    found: dict[int, list[SaidOfSet]] = {}
    for each in said:
        found.setdefault(each.set, []).append(each)
    return found


def last_said_of(records: SetRecords, number: int, kind: SetDetailKind) -> str | None:
    """Return what stands of a kind for a set by now, whoever wrote it since the set was read.

    Parameters
    ----------
    records : SetRecords
        Records within a transaction.
    number : int
        Number of the set.
    kind : SetDetailKind
        What about.

    Returns
    -------
    str | None
        What was said last, None if nothing was or it was taken back.
    """
    return {each.kind: each.value for each in records.said() if each.set == number}.get(kind)


def name_taken(place: StorePlace, name: str) -> StoreError:
    """Return the error for a name that a set has or had.

    Parameters
    ----------
    place : StorePlace
        Database.
    name : str
        The name.

    Returns
    -------
    StoreError
        The error (code "taken").
    """
    return StoreError(f"{place}: a set has or had the name {name!r}, and is found by it; choose another", code="taken")


def check_words(words: str, what: str) -> None:
    """Refuse words that cannot be printed on one line of a label.

    Parameters
    ----------
    words : str
        The words.
    what : str
        What they are needed for, the begin of the message.

    Raises
    ------
    StoreError
        They are empty, too long or not printable (code "name").

    Examples
    --------
    >>> check_words("spring 1", "a set needs a name")
    """
    if not (words.isprintable() and words == words.strip() and 0 < len(words) <= LONGEST):
        raise StoreError(f"{what} of 1 to {LONGEST} printable characters, not {words[:LONGEST]!r}", code="name")
