"""Say of a set what its name, customer and order are, and that it was shipped or came back.

Rows are only added, so what was said before stays on record.
"""

from datetime import date, datetime

from midspan.base.errors import StoreError
from midspan.sets.registry import KeptSet
from midspan.sets.set_details import check_words, name_taken
from midspan.store.database import Store
from midspan.store.detail_kinds import SetDetailKind
from midspan.store.set_records import SaidOfSet, SetRecords


def say_of_set(store: Store, kept: KeptSet, kind: SetDetailKind, value: str | None, by: tuple[str, int]) -> None:
    """Record what a person says of a set; what was said before stays on record.

    Parameters
    ----------
    store : Store
        Database opened to write.
    kept : KeptSet
        The set.
    kind : SetDetailKind
        What about; for a name see `rename`, for shipping `ship` and `unship`.
    value : str | None
        What is said, None to take it back.
    by : tuple[str, int]
        Who says so, may be empty, and when, UTC in ms since 1970.

    Raises
    ------
    StoreError
        It is empty, too long or not printable on one line (code "name").
    """
    if value is not None:
        check_words(value, f"set {kept.name}: {kind.value} needs words")
    with SetRecords.of(store) as records:
        records.say(SaidOfSet(kept.id, kind, value, *by))


def rename(store: Store, kept: KeptSet, name: str, by: tuple[str, int]) -> None:
    """Give a set another name; it is found by its earlier names too.

    Parameters
    ----------
    store : Store
        Database opened to write.
    kept : KeptSet
        The set.
    name : str
        The new name.
    by : tuple[str, int]
        Who says so, may be empty, and when, UTC in ms since 1970.

    Raises
    ------
    StoreError
        It is no name (code "name"), or another set has or had it (code "taken").
    """
    check_words(name, "a set needs a name")
    with SetRecords.of(store) as records:
        # Insert before looking, so that of two programs the later one sees what the earlier one wrote.
        records.say(SaidOfSet(kept.id, SetDetailKind.NAME, name, *by))
        if records.named([name])[name] != {kept.id}:
            raise name_taken(store.place, name)


def ship(store: Store, kept: KeptSet, day: date, by: tuple[str, int]) -> None:
    """Record that a set was handed over: its shafts are no stock, and the set cannot be taken apart.

    Parameters
    ----------
    store : Store
        Database opened to write.
    kept : KeptSet
        The set.
    day : date
        Day of shipping.
    by : tuple[str, int]
        Who says so, may be empty, and when, UTC in ms since 1970.

    Raises
    ------
    StoreError
        It is shipped already (code "shipped"), no shaft is in it (code "empty"), or the day is to come (code
        "to_come").
    """
    if not kept.present:
        raise StoreError(f"set {kept.name} has been taken apart; there is nothing to ship", code="empty")
    if day > datetime.fromtimestamp(by[1] / 1000).astimezone().date():
        raise StoreError(f"{day} is still to come; ship the set on the day that it leaves", code="to_come")
    with SetRecords.of(store) as records:
        before = _said_before(records, SaidOfSet(kept.id, SetDetailKind.SHIPPED, day.isoformat(), *by))
        if before is not None:
            raise StoreError(
                f"set {kept.name} was shipped {before} already; for another day, first: midspan sets unship "
                f"{kept.name!r}",
                code="shipped",
            )


def unship(store: Store, kept: KeptSet, by: tuple[str, int]) -> None:
    """Record that a set came back, or was never shipped; its shafts stay in it.

    Parameters
    ----------
    store : Store
        Database opened to write.
    kept : KeptSet
        The set.
    by : tuple[str, int]
        Who says so, may be empty, and when, UTC in ms since 1970.

    Raises
    ------
    StoreError
        It is not shipped (code "not_shipped").
    """
    with SetRecords.of(store) as records:
        if _said_before(records, SaidOfSet(kept.id, SetDetailKind.SHIPPED, None, *by)) is None:
            raise StoreError(f"set {kept.name} is not shipped", code="not_shipped")


def _said_before(records: SetRecords, said: SaidOfSet) -> str | None:
    """Store a statement and return what stood before it."""
    # Insert before looking, so that of two programs the later one sees what the earlier one wrote.
    records.say(said)
    every = [each.value for each in records.said() if (each.set, each.kind) == (said.set, said.kind)]
    return every[-2] if len(every) > 1 else None
