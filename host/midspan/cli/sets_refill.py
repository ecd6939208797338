"""Shafts that join sets that are there: a replacement for one that was lost, and a second set like the first."""

import json
from collections.abc import Sequence
from pathlib import Path

from midspan.base.clock import now_ms
from midspan.base.errors import MatchingError
from midspan.base.formatting import printable, with_uncertainty
from midspan.report import sets_text
from midspan.report.result_text import console
from midspan.report.sets_view import present, print_against, print_set, results_of, reviewed
from midspan.sets.complete import joining, why_none
from midspan.sets.limits import Array, Limits
from midspan.sets.registry import KeptSet, Sets
from midspan.sets.review import alike
from midspan.sets.stock import StockShaft, read_stock, spoken_against, values_of
from midspan.store.read_only import store_for

OFFERED = 3  # shafts shown for a lost one


def refill(
    store_file: Path, name: str, lost: Sequence[str], batches: Sequence[int], distance_m: float, k: float, *,
    keep: bool, as_json: bool,
) -> None:  # fmt: skip
    """Print the best shafts for those that a set lost, of some batches or of all, and let them join it when asked.

    Raises MatchingError when it lacks none, or nothing fits.
    """
    with store_for(store_file, writes=keep) as store:
        sets = Sets(store)
        kept = sets.named(name)
        gone = list(dict.fromkeys(sets.number_in(kept, one) for one in lost))
        there = [one for one in present(store, kept) if one.shaft not in gone]
        wanted = kept.limits.number - len(there)
        if wanted < 1 or not there:
            raise MatchingError(f"set {name}: {'no shaft is left' if not there else 'it is full'}; name with --lost "
                                "which shaft it lost")  # fmt: skip
        stock = read_stock(store, batches=batches)
        stock_now, values, _ = stock.fit_for(kept.limits)
        chosen = _joining(kept, there, stock_now, values, wanted, kept.limits)
        others = _next_best(kept, there, stock_now, values, chosen[0]) if wanted == 1 else []
        found = reviewed(store, [*there, *chosen], k)
        against = spoken_against(store, [one.shaft for one in there])
        doubles = [one for one in others if alike(chosen[0], one, results_of(store, [chosen[0], one]), k)]
        if keep:
            sets.refill(kept, gone, chosen, now_ms())
    if as_json:
        also = {"joining": [one.shaft for one in chosen], "next": [one.shaft for one in others]}
        also |= sets_text.twins_json(stock) | {"against": against}
        print(json.dumps(sets_text.review_json(name, found, kept.limits, distance_m) | also))
        return
    screen = console()
    screen.print(f"best for {printable(name)}: {_names(chosen)}")
    for one in others:
        same = ", not told apart from the best in spine" if one in doubles else ""
        screen.print(f"next: {printable(one.name)}, spine {one.spine_thou:.2f} thou{same}")
    print_set(found, k, distance_m)
    print_against(against, "should not be in it any more")
    for line in sets_text.twins_words(stock):
        screen.print(line)
    screen.print(f"kept in {store_file}" if keep else "nothing is kept; keep it with: --keep")


def _joining(
    kept: KeptSet,
    there: Sequence[StockShaft],
    stock_now: Sequence[StockShaft],
    values: Array,
    number: int,
    limits: Limits,
) -> list[StockShaft]:
    """The best shafts of the stock beside those that are there; MatchingError says which limit blocks."""
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
        missing = [quantity for quantity in limits.names if getattr(one, quantity) is None]
        if missing:
            raise MatchingError(f"set {name}: {missing[0]} of its shaft {one.name} is not known; weigh or measure it")


def _next_best(
    kept: KeptSet, there: Sequence[StockShaft], stock_now: Sequence[StockShaft], values: Array, best: StockShaft
) -> list[StockShaft]:
    left = [i for i, one in enumerate(stock_now) if one != best]
    found: list[StockShaft] = []
    while left and len(found) < OFFERED - 1:
        picked = joining(values_of(there, kept.limits), values[left], 1, kept.limits)
        if not len(picked):
            break
        found.append(stock_now[left.pop(int(picked[0]))])
    return found


def extend(
    store_file: Path, name: str, number: int | None, batches: Sequence[int], keep: str | None, distance_m: float,
    k: float, *, as_json: bool,
) -> None:  # fmt: skip
    """Print another set that matches a kept one, all of both within its limits, and keep it when a name is given.

    It is chosen from some batches or from all. Raises MatchingError when nothing fits.
    """
    with store_for(store_file, writes=keep is not None) as store:
        sets = Sets(store)
        first = sets.named(name)
        wanted = number or first.limits.number
        there = present(store, first)
        if not there:
            raise MatchingError(f"set {name}: it was taken apart; name another")
        stock = read_stock(store, batches=batches)
        stock_now, values, _ = stock.fit_for(first.limits)
        chosen = _joining(first, there, stock_now, values, wanted, first.limits)
        against = spoken_against(store, [one.shaft for one in there])
        both, alone = reviewed(store, [*there, *chosen], k), reviewed(store, chosen, k)
        if keep is not None:
            limits = first.limits.model_copy(update={"number": wanted})
            sets.keep({keep: chosen}, limits, now_ms(), like=first.id)
    if as_json:
        second = sets_text.review_json(keep or "second", alone, first.limits, distance_m)
        together = sets_text.review_json("both", both, first.limits, distance_m)
        print(json.dumps({"second": second, "both": together, "against": against} | sets_text.twins_json(stock)))
        return
    print_set(alone, k, distance_m)
    screen = console()
    spread = with_uncertainty(both.range_thou, k * both.u_range_thou, 3)
    print_against(against, f"should not be in {printable(name)} any more")
    for line in sets_text.twins_words(stock):
        screen.print(line)
    screen.print(f"together with {printable(name)}, {len(both.shafts)} shafts: spread over {spread} thou")
    screen.print(f"kept in {store_file}" if keep else "nothing is kept; keep it with: --keep NAME")


def _names(shafts: Sequence[StockShaft]) -> str:
    return ", ".join(f"{printable(one.name)} (spine {one.spine_thou:.2f} thou)" for one in shafts)
