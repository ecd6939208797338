"""`midspan sets make, stock, show, apart`: choose sets from the stock, keep them, look at them, take them apart."""

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import MatchingError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, AsJson, Batches, Distance, Factor, SetName, StoreAt
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.console import Console

    from midspan.sets.choose import Choice
    from midspan.sets.limits import Array, Limits
    from midspan.sets.review import Review
    from midspan.sets.stock import Stock
    from midspan.sets.whom import Whom
    from midspan.store.database import Store

USUAL_SPINE = "5, as is usual for a dozen"
Customer = Annotated[str | None, typer.Option(help="For whom the sets are: shafts promised to others are left out.")]
Order = Annotated[str | None, typer.Option(help="The order that the sets are for.")]
Bins = Annotated[list[str] | None, typer.Option("--bin", help="Only shafts of this bin; repeatable.")]


@dataclass(frozen=True)
class Chosen:
    """Result of choosing: stock, how many shafts fit, who was left out, and each set reviewed."""

    limits: "Limits"
    stock: "Stock"
    fit: int
    left_out: dict[str, tuple[int, ...]]
    choice: "Choice"
    reviews: "dict[str, Review]"


def make(
    spine: Annotated[
        float | None,
        typer.Option(
            min=0.01, max=1000, help="Largest difference in spine within a set, thou.", show_default=USUAL_SPINE
        ),
    ] = None,
    number: Annotated[int, typer.Option(min=2, max=1000, help="Shafts in a set.")] = 12,
    spread: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Largest difference in spread around, thou.")
    ] = None,
    weight: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Largest difference in weight, grains.")
    ] = None,
    runout: Annotated[
        float | None, typer.Option(min=0.01, max=1000, help="Largest difference in runout, thou.")
    ] = None,
    batch: Batches = None,
    bins: Bins = None,
    customer: Customer = None,
    order: Order = None,
    keep: Annotated[str | None, typer.Option(help="Keep the sets as NAME 1, NAME 2, ...")] = None,
    distance: Distance = 70.0,
    thorough: Annotated[
        bool, typer.Option("--thorough", help="Prove in a large stock too that no choice is better; may take minutes.")
    ] = False,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Make as many matched sets as the limits allow, the tightest possible.

    Only accepted shafts are used: none that is rejected, doubtful, suspect, spent, in a set or promised to others (see
    midspan shafts tell). With --customer or --order those that are for them are used too. A number is no proof
    against cracks: look at each shaft before it is fletched, and never shoot one that is damaged.
    """
    from midspan.report.result_text import console
    from midspan.report.sets_text import limit_text
    from midspan.report.sets_view import all_reviewed
    from midspan.sets.choose import choose
    from midspan.sets.limits import USUAL_SPINE_THOU, Limits
    from midspan.sets.promised import stock_for
    from midspan.sets.registry import Sets
    from midspan.sets.stock import read_stock
    from midspan.sets.whom import Whom

    spine_thou, whom = USUAL_SPINE_THOU if spine is None else spine, Whom(customer or None, order or None)
    limits = Limits(number=number, spine_thou=spine_thou, spread_thou=spread, weight_gr=weight, runout_thou=runout)
    with store.open_for(writes=keep is not None) as opened:
        there = stock_for(opened, read_stock(opened, batches=batch or [], bins=bins or []), whom)
        shafts, values, left_out = there.fit_for(limits)
        choice = choose(values, limits, thorough=thorough)
        if not choice.sets:
            raise MatchingError(f"{store}: {_why_none(limits, values, left_out)}")
        word = "set" if keep is None else keep
        found = {f"{word} {i}": [shafts[j] for j in picked] for i, picked in enumerate(choice.sets, 1)}
        reviews = all_reviewed(opened, found, k)
        if keep is not None:
            Sets(opened).keep(found, limits, now_ms())
            _say_whom(opened, found, whom)
    chosen = Chosen(limits, there, len(shafts), left_out, choice, reviews)
    if as_json:
        print(json.dumps(_chosen_json(chosen, distance)))
        return
    _print_chosen(console(), chosen, distance)
    if spine is None:
        console().print(f"spine within {limit_text(spine_thou, 'thou')} is usual for a dozen; for another: --spine")
    console().print(f"kept in {store}" if keep else "nothing is kept; keep them with: --keep NAME")


def _say_whom(store: "Store", names: "Iterable[str]", whom: "Whom") -> None:
    """Record for whom new sets are, where it was said."""
    from midspan.sets.registry import Sets
    from midspan.sets.set_changes import say_of_set
    from midspan.store.detail_kinds import SetDetailKind

    for name in names:
        for kind, value in ((SetDetailKind.CUSTOMER, whom.customer), (SetDetailKind.ORDER, whom.order)):
            if value is not None:
                say_of_set(store, Sets(store).named(name), kind, value, ("", now_ms()))


def _why_none(limits: "Limits", values: "Array", left_out: dict[str, tuple[int, ...]]) -> str:
    """Return why no set was found: the limit that blocks, or too few shafts."""
    from midspan.report.sets_text import blocked_words, too_few_words
    from midspan.sets.choose import limits_that_block

    if len(values) < limits.number:
        return too_few_words(limits, len(values), left_out)
    return blocked_words(limits_that_block(values, limits), limits)


def _chosen_json(chosen: Chosen, distance_m: float) -> dict[str, Any]:
    """Return the choice as plain values."""
    from midspan.report.sets_text import review_json, twins_json

    limits, choice = chosen.limits, chosen.choice
    return {
        "limits": limits.model_dump(),
        "sets": [review_json(name, found, limits, distance_m) for name, found in chosen.reviews.items()],
        "most": choice.most, "proven": choice.is_best, "gap": choice.gap,
        "left_out": {reason: list(numbers) for reason, numbers in chosen.left_out.items()},
    } | twins_json(chosen.stock)  # fmt: skip


def _print_chosen(screen: "Console", chosen: Chosen, distance_m: float) -> None:
    """Print the choice as tables and sentences."""
    from midspan.report import sets_text

    screen.print(sets_text.left_out_table(chosen.left_out, chosen.fit), "")
    for line in sets_text.twins_words(chosen.stock):
        screen.print(line)
        screen.print()
    screen.print(sets_text.sets_table(chosen.reviews, chosen.limits, distance_m), "")
    for line in sets_text.choice_words(chosen.choice, chosen.limits):
        screen.print(line)
    if len(chosen.reviews) == 1:
        print_set(next(iter(chosen.reviews.values())), distance_m)


def print_set(review: "Review", distance_m: float) -> None:
    """Print the shafts of a set and the sentences about it."""
    from midspan.report.result_text import console
    from midspan.report.sets_text import members_table, review_words

    screen = console()
    screen.print("", members_table(review), "")
    for line in review_words(review, distance_m):
        screen.print(line)


def stock(batch: Batches = None, bins: Bins = None, store: StoreAt = STORE, as_json: AsJson = False) -> None:
    """Count what there is to choose from, and what is left out and why."""
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.sets.promised import stock_for
    from midspan.sets.stock import read_stock
    from midspan.sets.whom import Whom

    with store.open_to_read() as opened:
        found = stock_for(opened, read_stock(opened, batches=batch or [], bins=bins or []), Whom())
    if as_json:
        left_out = {reason: list(numbers) for reason, numbers in found.left_out.items()}
        numbers = [shaft.shaft for shaft in found.shafts]
        print(json.dumps({"stock": numbers, "left_out": left_out} | sets_text.twins_json(found)))
        return
    screen = console()
    screen.print(sets_text.left_out_table(found.left_out, len(found.shafts)))
    for line in sets_text.twins_words(found):
        screen.print()
        screen.print(line)


def show(
    name: Annotated[
        str | None, typer.Argument(help="Name of the set; all are listed without it.", metavar="SET")
    ] = None,
    distance: Distance = 70.0,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Show a kept set with its uncertainty, or list all."""
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.report.sets_view import present, reviewed
    from midspan.sets.registry import Sets
    from midspan.sets.stock import spoken_against

    if name is None:
        _show_all(store, as_json=as_json)
        return
    with store.open_to_read() as opened:
        kept = Sets(opened).named(name)
        if len(kept.present) < 2:
            raise MatchingError(f"set {name}: fewer than two of its shafts are in it; there is nothing to compare")
        found = reviewed(opened, present(opened, kept), k)
        against = spoken_against(opened, kept.present)
    if as_json:
        print(
            json.dumps(
                sets_text.review_json(name, found, kept.limits, distance)
                | {"against": against, "said": sets_text.set_json(kept)}
            )
        )
        return
    console().print(f"{printable(kept.name)}: {sets_text.limits_words(kept.limits)}")
    for line in sets_text.set_words(kept):
        console().print(line)
    print_set(found, distance)
    for line in sets_text.against_words(against, "should no longer be in it"):
        console().print(line)


def _show_all(store: StorePlace, *, as_json: bool) -> None:
    """Print all kept sets."""
    from midspan.report.result_text import console
    from midspan.report.sets_text import kept_table, set_json
    from midspan.sets.registry import Sets

    with store.open_to_read() as opened:
        kept = Sets(opened).all()
    if as_json:
        print(json.dumps([set_json(found) for found in kept]))
    else:
        console().print(kept_table(kept, {found.id: found.name for found in kept}))


def apart(name: SetName, store: StoreAt = STORE) -> None:
    """Take a set apart: its shafts go back to the stock."""
    from midspan.report.sets_view import listed
    from midspan.sets.registry import Sets

    with store.open(create=False) as opened:
        sets = Sets(opened)
        kept = sets.named(name)
        if not kept.present:
            raise MatchingError(f"set {name}: it has already been taken apart")
        sets.take_apart(kept, now_ms())
    print(f"{printable(name)} is taken apart; back in the stock: {listed(kept.present)}")
