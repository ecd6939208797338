"""`midspan shafts void, unvoid, label, note, tell`: take measurements back, and say whose a shaft is."""

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import StoreError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, Shafts, StoreAt
from midspan.cli.screen import aside, ask
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.store.database import Store
    from midspan.store.detail_kinds import DetailKind

ShaftName = Annotated[str, typer.Argument(help="Number or label of the shaft.", metavar="SHAFT")]
By = Annotated[str, typer.Option(help="Who says so.")]
WhyVoid = Annotated[
    str | None, typer.Option(help="Reason, as in: the wrong shaft lay in the gauge.", show_default="asked for")
]
WhyAgain = Annotated[str, typer.Option(help="A word on it.")]
Measurement = Annotated[
    int | None,
    typer.Option(min=1, help="Its number, as `midspan shafts show` lists it.", show_default="the newest that applies"),
]
LOOK_FOR_CRACK = (
    "This measurement suspected a crack. Flex the shaft and look at it before it is shot, and destroy it if it is "
    "cracked."
)


def void(
    shaft: ShaftName, why: WhyVoid = None, by: By = "", measurement: Measurement = None, store: StoreAt = STORE
) -> None:  # fmt: skip
    """Let a measurement count no more; it stays on record with your reason.

    The one before it counts again. `midspan shafts unvoid` takes this back.
    """
    from midspan.decision.decision import ConcernKind
    from midspan.store import voids
    from midspan.store.lookup import read_name

    with store.open(create=False) as opened:
        number = read_name(opened, shaft)
        run = _measurement(opened, number, measurement, void=False)
        stored = next(each for each in reversed(opened.history(number)) if each.run_id == run)
        if why is None:
            why = ask("Why does it not count?") if sys.stdin.isatty() else ""
        voids.void(opened, run, why, by, now_ms())
        cracked = any(concern.kind is ConcernKind.CRACK for concern in stored.decision.concerns)
        print(f"shaft {number}: measurement {run} is void; {_what_counts(opened, number)}")
    if cracked:
        aside(LOOK_FOR_CRACK)


def unvoid(
    shaft: ShaftName, why: WhyAgain = "", by: By = "", measurement: Measurement = None, store: StoreAt = STORE
) -> None:  # fmt: skip
    """Let a void measurement count again."""
    from midspan.store import voids
    from midspan.store.lookup import read_name

    with store.open(create=False) as opened:
        number = read_name(opened, shaft)
        run = _measurement(opened, number, measurement, void=True)
        voids.unvoid(opened, run, why, by, now_ms())
        print(f"shaft {number}: measurement {run} is void no more; {_what_counts(opened, number)}")


def _measurement(store: "Store", shaft: int, asked: int | None, *, void: bool) -> int:
    """Return the number of the measurement that is meant; a StoreError says that the shaft has none of that kind."""
    from midspan.store.voids import void_runs

    runs = {stored.run_id for stored in store.history(shaft)}
    if asked is not None and asked not in runs:
        raise StoreError(
            f"measurement {asked} is none of shaft {shaft}; its measurements are {', '.join(map(str, sorted(runs)))}",
            code="other_shaft",
        )
    gone = set(void_runs(store, [shaft]))
    those = gone if void else runs - gone
    if asked is not None:
        return asked
    if not those:
        what = "has no void measurement" if void else "has no measurement left that counts"
        raise StoreError(f"shaft {shaft} {what}; see: midspan shafts show {shaft}", code="none_to_change")
    return max(those)


def _what_counts(store: "Store", shaft: int) -> str:
    """Return which measurement counts now."""
    from midspan.store.lookup import counting

    counts = counting(store, shaft)
    return "none counts now: measure the shaft again" if counts is None else f"measurement {counts.run_id} counts now"


def label(
    shaft: ShaftName,
    text: Annotated[str | None, typer.Argument(help="The new label.", metavar="LABEL")] = None,
    back: Annotated[
        bool, typer.Option("--back", help="Instead of a new label, go back to the one it was measured under.")
    ] = False,
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Give a shaft another label; the old one stays on record and still finds it."""
    from midspan.store.detail_kinds import DetailKind
    from midspan.store.details import say_of
    from midspan.store.lookup import read_name

    if (text is None) is not back:
        raise StoreError("give the new label, or --back without one", code="label_or_back")
    with store.open(create=False) as opened:
        number = read_name(opened, shaft)
        say_of(opened, number, DetailKind.LABEL, text, by, now_ms())
        found = opened.history(number)[-1].run.label
    print(printable(f"shaft {number}: label {found}" if found else f"shaft {number}: no label"))


def note(
    shaft: ShaftName,
    text: Annotated[str, typer.Argument(help="The note, one line.", metavar="NOTE")],
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Add a note to a shaft; earlier notes stay."""
    from midspan.store.detail_kinds import DetailKind

    number, *_ = _say(store, [shaft], {DetailKind.NOTE: text}, by)
    print(f"shaft {number}: noted")


def tell(
    shafts: Shafts,
    customer: Annotated[str | None, typer.Option(help="Whom they are for.")] = None,
    order: Annotated[str | None, typer.Option(help="Number or name of the order.")] = None,
    size: Annotated[str | None, typer.Option(help="Nominal size, as the maker names it.")] = None,
    length: Annotated[str | None, typer.Option(help="Length, mm.")] = None,
    by: By = "",
    store: StoreAt = STORE,
) -> None:
    """Say for whom shafts are, of which order, size and length; an empty text takes back what was said."""
    from midspan.report.sets_view import listed
    from midspan.store.detail_kinds import DetailKind

    given = {
        DetailKind.CUSTOMER: customer, DetailKind.ORDER: order, DetailKind.SIZE: size, DetailKind.LENGTH_MM: length
    }  # fmt: skip
    said = {kind: value for kind, value in given.items() if value is not None}
    if not said:
        raise StoreError("say something of them: --customer, --order, --size or --length", code="nothing_said")
    print(f"{listed(_say(store, shafts, said, by))}: noted")


def _say(place: StorePlace, shafts: list[str], said: "dict[DetailKind, str]", person: str) -> list[int]:
    """Record what is said of shafts, of all of them or none, and return their numbers; an empty text takes it back."""
    from midspan.store.details import checked, say_of
    from midspan.store.lookup import read_name

    with place.open(create=False) as store:
        numbers = list(dict.fromkeys(read_name(store, name) for name in shafts))
        for kind, value in said.items():
            if value:
                checked(kind, value)
        at_ms = now_ms()
        for number in numbers:
            for kind, value in said.items():
                say_of(store, number, kind, value or None, person, at_ms)
    return numbers
