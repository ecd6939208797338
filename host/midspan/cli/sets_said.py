"""`midspan sets rename, order, ship, unship, list`: what people say of a set, and sets found again by it."""

import json
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import StoreError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, AsJson, SetName, StoreAt

if TYPE_CHECKING:
    from midspan.sets.registry import KeptSet
    from midspan.sets.whom import Whom
    from midspan.store.database import Store

By = Annotated[str, typer.Option(help="Who says so.")]
Customer = Annotated[str | None, typer.Option(help="For whom the set is; '' takes it back.")]
Order = Annotated[str | None, typer.Option(help="The order it belongs to; '' takes it back.")]


def rename(
    name: SetName,
    new: Annotated[str, typer.Argument(help="The new name.", metavar="NEW")],
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Give a set another name; it is found by its earlier names too."""
    from midspan.sets import set_changes
    from midspan.sets.registry import Sets

    with store.open(create=False) as opened:
        kept = Sets(opened).named(name)
        set_changes.rename(opened, kept, new, (by, now_ms()))
    print(f"{printable(kept.name)} is now {printable(new)}; both names find it")


def order(
    name: SetName,
    customer: Customer = None,
    order: Annotated[str | None, typer.Option("--order", help="The order it belongs to; '' takes it back.")] = None,
    note: Annotated[str | None, typer.Option(help="A note; all notes are kept.")] = None,
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Say for whom a set is and to which order it belongs, or add a note."""
    from midspan.sets.registry import Sets

    if customer is None and order is None and not note:
        raise StoreError("nothing was said; give --customer, --order or --note", code="nothing_said")
    with store.open(create=False) as opened:
        sets = Sets(opened)
        kept = sets.named(name)
        _say(opened, kept, (customer, order, note), by)
        kept = sets.named(kept.name)
        print(_line(kept))
        for shaft, told in _for_others(opened, kept, None, None).items():
            print(f"note: shaft {shaft} in it is promised {told.words}; {_how_to_free(shaft, kept.name)}")


def ship(
    name: SetName,
    on: Annotated[str | None, typer.Option(help="Day it left, as in 2026-05-01.", show_default="today")] = None,
    customer: Customer = None,
    order: Order = None,
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Record that a set was handed over: its shafts are no stock until it comes back.

    Look at every shaft once more before it leaves: a number is no proof against cracks. A set with a shaft that is
    suspected of a crack, or otherwise spoken against, or promised to others, is not shipped.
    """
    from midspan.sets import set_changes
    from midspan.sets.registry import Sets
    from midspan.sets.stock import spoken_against

    day = datetime.fromtimestamp(now_ms() / 1000).astimezone().date() if on is None else _day(on)
    with store.open(create=False) as opened:
        sets = Sets(opened)
        kept = sets.named(name)
        for shaft, reason in spoken_against(opened, kept.present).items():
            raise StoreError(
                f"set {kept.name}: shaft {shaft} is in it, but by now: {reason}; measure it again, or replace it with "
                "midspan sets refill",
                code="unsound",
            )
        for shaft, told in _for_others(opened, kept, customer, order).items():
            raise StoreError(
                f"set {kept.name}: shaft {shaft} in it is promised {told.words}; ship the set to them, or "
                f"{_how_to_free(shaft, kept.name)}",
                code="promised",
            )
        set_changes.ship(opened, kept, day, (by, now_ms()))
        _say(opened, kept, (customer, order, None), by)
        print(_line(sets.named(kept.name)))
    print("Its shafts are no stock now; a lost one is replaced with: midspan sets refill")


def unship(name: SetName, by: By = "", store: StoreAt = STORE) -> None:
    """Take back that a set was shipped: it came back, or never left."""
    from midspan.sets import set_changes
    from midspan.sets.registry import Sets

    with store.open(create=False) as opened:
        kept = Sets(opened).named(name)
        set_changes.unship(opened, kept, (by, now_ms()))
    print(f"{printable(kept.name)} is here again; its shafts stay in it (take it apart with: midspan sets apart)")


def listed_sets(
    part: Annotated[str | None, typer.Argument(help="Part of a name, customer, order or note.", metavar="TEXT")] = None,
    customer: Annotated[str | None, typer.Option(help="Only sets of this customer.")] = None,
    order: Annotated[str | None, typer.Option("--order", help="Only sets of this order.")] = None,
    shipped: Annotated[
        str | None, typer.Option(help="Only sets shipped on these days: 2026, or 2026-01-01..2026-06-30.")
    ] = None,
    here: Annotated[bool, typer.Option("--here", help="Only sets that are not shipped.")] = False,
    shaft: Annotated[str | None, typer.Option("--with", help="Only the set of this shaft: number or label.")] = None,
    store: StoreAt = STORE,
    as_json: AsJson = False,
) -> None:
    """List kept sets, or find those of a customer, an order, a day of shipping or a shaft."""
    from midspan.report.result_text import console
    from midspan.report.sets_text import kept_table, set_json
    from midspan.sets.find_sets import SetQuery, found_sets
    from midspan.sets.registry import Sets
    from midspan.store.identity import known_identities
    from midspan.store.set_records import SetRecords

    with store.open_to_read() as opened:
        sets = Sets(opened)
        numbers = None
        if shaft is not None:
            number = sets.number(shaft)
            with SetRecords.of(opened) as records:
                numbers = known_identities(records).numbers(number)
        every = sets.all()
    found = found_sets(every, SetQuery(part, customer, order, shipped, here=here, shafts=numbers))
    if as_json:
        print(json.dumps([set_json(kept) for kept in found]))
        return
    if not found:
        print("no such set" if every else "no set is kept yet; make one with: midspan sets make")
        return
    console().print(kept_table(found, {kept.id: kept.name for kept in every}))


def _say(opened: "Store", kept: "KeptSet", said: tuple[str | None, str | None, str | None], by: str) -> None:
    """Store customer, order and note where they were given; an empty one takes back what was said."""
    from midspan.sets.set_changes import say_of_set
    from midspan.store.detail_kinds import SetDetailKind

    kinds = (SetDetailKind.CUSTOMER, SetDetailKind.ORDER, SetDetailKind.NOTE)
    for kind, value in zip(kinds, said, strict=True):
        if value is not None:
            say_of_set(opened, kept, kind, value or None, (by, now_ms()))


def _for_others(opened: "Store", kept: "KeptSet", customer: str | None, order: str | None) -> "dict[int, Whom]":
    """Return for whom shafts of a set are that are for others than the set; what is said now counts before the set's.

    An empty text takes back what the set says.
    """
    from midspan.sets.promised import promised_to_others
    from midspan.sets.whom import Whom

    said = kept.details
    customer, order = said.customer if customer is None else customer, said.order if order is None else order
    return promised_to_others(opened, kept.present, Whom(customer or None, order or None))


def _how_to_free(shaft: int, name: str) -> str:
    """Return what to do about a shaft of a set that is promised to others."""
    return (
        f"take the promise back (midspan shafts tell {shaft} --customer '' --order ''), or: midspan sets apart {name!r}"
    )


def _line(kept: "KeptSet") -> str:
    """Return the set with what is known of it, on one line."""
    notes = "".join(f"; {note}" for note in kept.details.notes)
    return printable(f"{kept.name}: {kept.details.words or 'nothing is said of it'}{notes}")


def _day(text: str) -> date:
    """Return a day that a person wrote; raise StoreError if it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise StoreError(f"{text[:40]!r} is no day; write as in 2026-05-01", code="no_day") from None
