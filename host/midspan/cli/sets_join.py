"""`midspan sets refill, extend`: shafts that join sets that are there.

A replacement for one that was lost, and a second set like the first.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import MatchingError
from midspan.base.formatting import printable, with_uncertainty
from midspan.cli.options import STORE, AsJson, Batches, Distance, FixedFactor, SetName, StoreFile
from midspan.cli.sets_choose import SetView, print_set

if TYPE_CHECKING:
    from midspan.sets.limits import Array, Limits
    from midspan.sets.registry import KeptSet
    from midspan.sets.stock import StockShaft

OFFERED = 3  # shafts shown for a lost one


def refill(
    name: SetName,
    lost: Annotated[list[str] | None, typer.Option(help="Number or label of a lost shaft; repeatable.")] = None,
    batch: Batches = None,
    keep: Annotated[bool, typer.Option("--keep", help="Put it into the set; the lost one is marked as spent.")] = False,
    distance: Distance = 70.0,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Find the best replacement for a lost shaft."""
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.report.sets_view import present, results_of, reviewed
    from midspan.sets.registry import Sets
    from midspan.sets.review import alike
    from midspan.sets.stock import read_stock, spoken_against

    with store.open_for(writes=keep) as opened:
        sets = Sets(opened)
        kept = sets.named(name)
        gone = list(dict.fromkeys(sets.number_in(kept, name_or_number) for name_or_number in lost or []))
        there = [one for one in present(opened, kept) if one.shaft not in gone]
        wanted = kept.limits.number - len(there)
        if wanted < 1 or not there:
            raise MatchingError(f"set {name}: {'no shaft is left' if not there else 'it is full'}; name with --lost "
                                "which shaft it lost")  # fmt: skip
        stock = read_stock(opened, batches=batch or [])
        stock_now, values, _ = stock.fit_for(kept.limits)
        chosen = _joining(kept, there, stock_now, values, wanted)
        others = _next_best(kept, there, stock_now, values, chosen[0]) if wanted == 1 else []
        found = reviewed(opened, [*there, *chosen], k)
        against = spoken_against(opened, [one.shaft for one in there])
        doubles = [one for one in others if alike(chosen[0], one, results_of(opened, [chosen[0], one]), k)]
        if keep:
            sets.refill(kept, gone, chosen, now_ms())
    if as_json:
        also = {"joining": [one.shaft for one in chosen], "next": [one.shaft for one in others]}
        also |= sets_text.twins_json(stock) | {"against": against}
        print(json.dumps(sets_text.review_json(name, found, kept.limits, distance) | also))
        return
    screen = console()
    screen.print(f"best for {printable(name)}: {_names(chosen)}")
    for one in others:
        same = ", not told apart from the best in spine" if one in doubles else ""
        screen.print(f"next: {printable(one.name)}, spine {one.spine_thou:.2f} thou{same}")
    print_set(found, SetView(distance, k))
    words = sets_text.against_words(against, "should not be in it any more")
    for line in (*words, *sets_text.twins_words(stock)):
        screen.print(line)
    screen.print(f"kept in {store}" if keep else "nothing is kept; keep it with: --keep")


def _joining(
    kept: KeptSet, there: Sequence[StockShaft], stock_now: Sequence[StockShaft], values: Array, number: int
) -> list[StockShaft]:
    """The best shafts of the stock beside those that are there; MatchingError says which limit blocks."""
    from midspan.sets.complete import joining, why_none
    from midspan.sets.stock import values_of

    limits = kept.limits
    _all_measured(there, limits, kept.name)
    if len(stock_now) < number:
        raise MatchingError(f"set {kept.name}: {number} wanted, but only {len(stock_now)} to choose from with "
                            "every value that its limits ask for (see: midspan sets stock)")  # fmt: skip
    picked = joining(values_of(there, limits), values, number, limits)
    if not len(picked):
        raise MatchingError(f"set {kept.name}: nothing fits; {why_none(values_of(there, limits), values, limits)}")
    return [stock_now[i] for i in picked]


def _all_measured(there: Sequence[StockShaft], limits: Limits, name: str) -> None:
    for one in there:
        missing = [quantity.name for quantity in limits.quantities if quantity.of(one) is None]
        if missing:
            raise MatchingError(f"set {name}: {missing[0]} of its shaft {one.name} is not known; weigh or measure it")


def _next_best(
    kept: KeptSet, there: Sequence[StockShaft], stock_now: Sequence[StockShaft], values: Array, best: StockShaft
) -> list[StockShaft]:
    from midspan.sets.complete import joining
    from midspan.sets.stock import values_of

    left = [i for i, one in enumerate(stock_now) if one != best]
    found: list[StockShaft] = []
    while left and len(found) < OFFERED - 1:
        picked = joining(values_of(there, kept.limits), values[left], 1, kept.limits)
        if not len(picked):
            break
        found.append(stock_now[left.pop(int(picked[0]))])
    return found


def extend(
    name: SetName,
    number: Annotated[int | None, typer.Option(min=2, max=1000, help="Shafts; as many as in the first.")] = None,
    batch: Batches = None,
    keep: Annotated[str | None, typer.Option(help="Keep it under this name.")] = None,
    distance: Distance = 70.0,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Find a second set that matches a kept one."""
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.report.sets_view import present, reviewed
    from midspan.sets.registry import Sets
    from midspan.sets.stock import read_stock, spoken_against

    with store.open_for(writes=keep is not None) as opened:
        sets = Sets(opened)
        first = sets.named(name)
        wanted = number or first.limits.number
        there = present(opened, first)
        if not there:
            raise MatchingError(f"set {name}: it was taken apart; name another")
        stock = read_stock(opened, batches=batch or [])
        stock_now, values, _ = stock.fit_for(first.limits)
        chosen = _joining(first, there, stock_now, values, wanted)
        against = spoken_against(opened, [one.shaft for one in there])
        both, alone = reviewed(opened, [*there, *chosen], k), reviewed(opened, chosen, k)
        if keep is not None:
            limits = first.limits.model_copy(update={"number": wanted})
            sets.keep({keep: chosen}, limits, now_ms(), like=first.id)
    if as_json:
        second = sets_text.review_json(keep or "second", alone, first.limits, distance)
        together = sets_text.review_json("both", both, first.limits, distance)
        print(json.dumps({"second": second, "both": together, "against": against} | sets_text.twins_json(stock)))
        return
    print_set(alone, SetView(distance, k))
    screen = console()
    spread = with_uncertainty(both.range_thou, k * both.u_range_thou, 3)
    words = sets_text.against_words(against, f"should not be in {printable(name)} any more")
    for line in (*words, *sets_text.twins_words(stock)):
        screen.print(line)
    screen.print(f"together with {printable(name)}, {len(both.shafts)} shafts: spread over {spread} thou")
    screen.print(f"kept in {store}" if keep else "nothing is kept; keep it with: --keep NAME")


def _names(shafts: Sequence[StockShaft]) -> str:
    return ", ".join(f"{printable(one.name)} (spine {one.spine_thou:.2f} thou)" for one in shafts)
