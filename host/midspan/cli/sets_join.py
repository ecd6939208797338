"""`midspan sets refill, extend`: shafts that join sets that are there.

A replacement for one that was lost, and a second set like the first.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import MatchingError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, AsJson, Batches, Distance, Factor, SetName, StoreAt
from midspan.cli.sets_choose import print_set

if TYPE_CHECKING:
    from midspan.sets.limits import Array
    from midspan.sets.registry import KeptSet
    from midspan.sets.stock import Stock, StockShaft

OFFERED = 3  # shafts offered for each lost shaft


@dataclass(frozen=True)
class Joining:
    """A kept set, the shafts in it, and the shafts of the stock that have every value its limits need."""

    kept: "KeptSet"
    there: "list[StockShaft]"
    stock: "list[StockShaft]"
    values: "Array"

    @classmethod
    def to(cls, kept: "KeptSet", there: "list[StockShaft]", stock: "Stock") -> "Joining":
        """Return the shafts that may join a set; a MatchingError says which value of its own shafts is unknown."""
        for shaft in there:
            missing = [quantity.name for quantity in kept.limits.quantities if quantity.of(shaft) is None]
            if missing:
                raise MatchingError(
                    f"set {kept.name}: {missing[0]} of its shaft {shaft.name} is not known; weigh or measure it"
                )
        fit, values, _ = stock.fit_for(kept.limits)
        return cls(kept, there, list(fit), values)

    def best(self, number: int) -> "list[StockShaft]":
        """Return the best shafts to join; a MatchingError says which limit blocks."""
        from midspan.sets.complete import joining, why_none
        from midspan.sets.stock import values_of

        name, limits = self.kept.name, self.kept.limits
        if len(self.stock) < number:
            raise MatchingError(
                f"set {name}: {number} wanted, but only {len(self.stock)} to choose from with every value that its "
                "limits ask for (see: midspan sets stock)"
            )
        present = values_of(self.there, limits)
        picked = joining(present, self.values, number, limits)
        if not len(picked):
            raise MatchingError(f"set {name}: nothing fits; {why_none(present, self.values, limits)}")
        return [self.stock[i] for i in picked]

    def next_best(self, best: "StockShaft") -> "list[StockShaft]":
        """Return the shafts that would join if the best shaft did not, OFFERED at most with it."""
        from midspan.sets.complete import joining
        from midspan.sets.stock import values_of

        limits, left = self.kept.limits, [i for i, shaft in enumerate(self.stock) if shaft != best]
        found: list[StockShaft] = []
        while left and len(found) < OFFERED - 1:
            picked = joining(values_of(self.there, limits), self.values[left], 1, limits)
            if not len(picked):
                break
            found.append(self.stock[left.pop(int(picked[0]))])
        return found


def refill(
    name: SetName,
    lost: Annotated[list[str] | None, typer.Option(help="Number or label of a lost shaft; repeatable.")] = None,
    batch: Batches = None,
    keep: Annotated[bool, typer.Option("--keep", help="Put it into the set; the lost one is marked as spent.")] = False,
    distance: Distance = 70.0,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Find the best replacement for a lost shaft."""
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.report.sets_view import present, results_of, reviewed
    from midspan.sets.promised import stock_for
    from midspan.sets.registry import Sets
    from midspan.sets.review import alike
    from midspan.sets.stock import read_stock, spoken_against

    with store.open_for(writes=keep) as opened:
        sets = Sets(opened)
        kept = sets.named(name)
        gone = list(dict.fromkeys(sets.number_in(kept, name_or_number) for name_or_number in lost or []))
        there = [shaft for shaft in present(opened, kept) if shaft.shaft not in gone]
        wanted = kept.limits.number - len(there)
        if wanted < 1 or not there:
            why = "it is full" if there else "no shaft is left"
            raise MatchingError(f"set {name}: {why}; name with --lost which shaft it lost")
        stock = stock_for(opened, read_stock(opened, batches=batch or []), kept.details.whom)
        joining = Joining.to(kept, there, stock)
        chosen = joining.best(wanted)
        others = joining.next_best(chosen[0]) if wanted == 1 else []
        found = reviewed(opened, [*there, *chosen], k)
        against = spoken_against(opened, [shaft.shaft for shaft in there])
        doubles = [other for other in others if alike(chosen[0], other, results_of(opened, [chosen[0], other]), k)]
        if keep:
            sets.refill(kept, gone, chosen, now_ms())
    if as_json:
        also = {"joining": [shaft.shaft for shaft in chosen], "next": [shaft.shaft for shaft in others]}
        told = sets_text.review_json(name, found, kept.limits, distance) | also | sets_text.twins_json(stock)
        print(json.dumps(told | {"against": against, "said": sets_text.set_json(kept)}))
        return
    screen = console()
    for line in sets_text.set_words(kept):
        screen.print(line)
    screen.print(f"best for {printable(kept.name)}: {_names(chosen)}")
    for other in others:
        same = ", not told apart from the best in spine" if other in doubles else ""
        screen.print(f"next: {_names([other])}{same}")
    print_set(found, distance)
    words = sets_text.against_words(against, "should no longer be in it")
    for line in (*words, *sets_text.twins_words(stock)):
        screen.print(line)
    screen.print(f"kept in {store}" if keep else "nothing is kept; keep it with: --keep")


def _names(shafts: "Sequence[StockShaft]") -> str:
    """Return the names of shafts separated by commas."""
    from midspan.measurement.shown_quantities import spine_text

    return ", ".join(f"{printable(shaft.name)} (spine {spine_text(shaft)})" for shaft in shafts)


def extend(
    name: SetName,
    number: Annotated[int | None, typer.Option(min=2, max=1000, help="Shafts; as many as in the first.")] = None,
    batch: Batches = None,
    keep: Annotated[str | None, typer.Option(help="Keep it under this name.")] = None,
    distance: Distance = 70.0,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Find a second set that matches a kept one."""
    from midspan.measurement.shown_quantities import difference_unit
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.report.sets_view import present, reviewed
    from midspan.sets.promised import stock_for
    from midspan.sets.registry import Sets
    from midspan.sets.stock import read_stock, spoken_against
    from midspan.sets.whom import Whom

    with store.open_for(writes=keep is not None) as opened:
        sets = Sets(opened)
        first = sets.named(name)
        wanted = number or first.limits.number
        there = present(opened, first)
        if not there:
            raise MatchingError(f"set {name}: it has been taken apart; name another set")
        stock = stock_for(opened, read_stock(opened, batches=batch or []), Whom())
        chosen = Joining.to(first, there, stock).best(wanted)
        against = spoken_against(opened, [shaft.shaft for shaft in there])
        both, alone = reviewed(opened, [*there, *chosen], k), reviewed(opened, chosen, k)
        if keep is not None:
            limits = first.limits.model_copy(update={"number": wanted})
            sets.keep({keep: chosen}, limits, now_ms(), like=first.id)
    if as_json:
        second = sets_text.review_json(keep or "second", alone, first.limits, distance)
        together = sets_text.review_json("both", both, first.limits, distance)
        print(json.dumps({"second": second, "both": together, "against": against} | sets_text.twins_json(stock)))
        return
    print_set(alone, distance)
    screen = console()
    widest = f"{sets_text.widest_text(both)} {difference_unit()}"
    words = sets_text.against_words(against, f"should no longer be in {printable(name)}")
    for line in (*words, *sets_text.twins_words(stock)):
        screen.print(line)
    screen.print(f"together with {printable(name)}, {len(both.shafts)} shafts: from stiffest to softest {widest}")
    screen.print(f"kept in {store}" if keep else "nothing is kept; keep it with: --keep NAME")
