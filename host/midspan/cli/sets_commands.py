"""What the commands of matched sets do, once their options are known: choose, keep, show, take apart."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from midspan.base.clock import now_ms
from midspan.base.errors import MatchingError
from midspan.base.formatting import printable
from midspan.report import sets_text
from midspan.report.result_text import console
from midspan.report.sets_view import all_reviewed, listed, present, print_against, print_set, reviewed
from midspan.sets.choose import Choice, choose, limits_that_block
from midspan.sets.limits import Limits
from midspan.sets.registry import Sets
from midspan.sets.review import Review
from midspan.sets.stock import read_stock, spoken_against
from midspan.store.database import Store
from midspan.store.read_only import open_to_read, store_for


def make(
    store_file: Path, limits: Limits, batches: Sequence[int], bins: Sequence[str], keep: str | None, distance_m: float,
    k: float, *, thorough: bool, as_json: bool,
) -> None:  # fmt: skip
    """Choose sets from the stock, print them, and keep them when a name is given.

    Raises MatchingError, saying which limit blocks, when there is none.
    """
    with store_for(store_file, writes=keep is not None) as store:
        stock = read_stock(store, batches=batches, bins=bins)
        shafts, values, left_out = stock.fit_for(limits)
        choice = choose(values, limits, thorough=thorough)
        if not choice.sets:
            if len(shafts) < limits.number:
                raise MatchingError(f"{store_file}: {sets_text.too_few_words(limits, len(shafts), left_out)}")
            raise MatchingError(f"{store_file}: {sets_text.blocked_words(limits_that_block(values, limits), limits)}")
        word = "set" if keep is None else keep
        found = {f"{word} {i}": [shafts[j] for j in one] for i, one in enumerate(choice.sets, 1)}
        reviews = all_reviewed(store, found, k)
        if keep is not None:
            Sets(store).keep(found, limits, now_ms())
    if as_json:
        found_twins = sets_text.twins_json(stock)
        print(json.dumps(_choice_json(choice, reviews, limits, left_out, distance_m) | found_twins))
        return
    screen = console()
    screen.print(sets_text.left_out_table(left_out, len(shafts)), "")
    for line in sets_text.twins_words(stock):
        screen.print(line)
        screen.print()
    screen.print(sets_text.sets_table(reviews, limits, k, distance_m), "")
    for line in sets_text.choice_words(choice, limits):
        screen.print(line)
    if len(reviews) == 1:
        print_set(next(iter(reviews.values())), k, distance_m)
    screen.print(f"kept in {store_file}" if keep else "nothing is kept; keep them with: --keep NAME")


def _choice_json(
    choice: Choice, reviews: dict[str, Review], limits: Limits, left_out: dict[str, tuple[int, ...]], distance_m: float
) -> dict[str, Any]:
    return {
        "limits": limits.model_dump(), "sets": [
            sets_text.review_json(name, one, limits, distance_m) for name, one in reviews.items()
        ], "most": choice.most, "proven": choice.is_best, "gap": choice.gap,
        "left_out": {reason: list(numbers) for reason, numbers in left_out.items()},
    }  # fmt: skip


def stock(store_file: Path, batches: Sequence[int], bins: Sequence[str], *, as_json: bool) -> None:
    """Print what there is to choose from, and what is left out for which reason."""
    with open_to_read(store_file) as store:
        found = read_stock(store, batches=batches, bins=bins)
    if as_json:
        left_out = {reason: list(numbers) for reason, numbers in found.left_out.items()}
        numbers = [one.shaft for one in found.shafts]
        print(json.dumps({"stock": numbers, "left_out": left_out} | sets_text.twins_json(found)))
        return
    console().print(sets_text.left_out_table(found.left_out, len(found.shafts)))
    for line in sets_text.twins_words(found):
        console().print()
        console().print(line)


def show(store_file: Path, name: str | None, distance_m: float, k: float, *, as_json: bool) -> None:
    """Print one kept set as its shafts were measured last, or a list of all.

    Raises MatchingError for a set with fewer than two shafts left in it.
    """
    with open_to_read(store_file) as store:
        sets = Sets(store)
        if name is None:
            kept = sets.all()
            if as_json:
                print(json.dumps([{"set": one.name, "shafts": list(one.present)} for one in kept]))
            else:
                console().print(sets_text.kept_table(kept, {one.id: one.name for one in kept}))
            return
        one = sets.named(name)
        if len(one.present) < 2:
            raise MatchingError(f"set {name}: fewer than two of its shafts are in it; there is nothing to compare")
        found = reviewed(store, present(store, one), k)
        against = spoken_against(store, one.present)
    if as_json:
        print(json.dumps(sets_text.review_json(name, found, one.limits, distance_m) | {"against": against}))
        return
    console().print(f"{printable(name)}: {sets_text.limits_words(one.limits)}")
    print_set(found, k, distance_m)
    print_against(against, "should not be in it any more")


def take_apart(store_file: Path, name: str) -> None:
    """Give the shafts of a set back to the stock. Raises MatchingError when that was done before."""
    with Store.open(store_file, create=False) as store:
        sets = Sets(store)
        kept = sets.named(name)
        if not kept.present:
            raise MatchingError(f"set {name}: it was taken apart already")
        sets.take_apart(kept, now_ms())
    print(f"{printable(name)} is taken apart; back in the stock: {listed(kept.present)}")
