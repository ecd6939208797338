"""What is noted of single shafts for sets: their weight, that they are spent; and their nominal size."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from midspan.base.clock import now_ms
from midspan.base.errors import ReadingsError
from midspan.cli.scale_weigh import by_scale
from midspan.decision.bands import load_bands
from midspan.report import sets_text
from midspan.report.result_text import console, verdict_words
from midspan.report.sets_view import listed, print_against
from midspan.sets.nominal_sizes import load_sizes
from midspan.sets.registry import Sets
from midspan.sets.stock import beside_verdict, full_results, read_stock, shafts_of, spoken_against
from midspan.sets.weights import weight_of, weights_in
from midspan.store.database import Store
from midspan.store.read_only import open_to_read
from midspan.store.vouching import Voucher, vouch

LOOK_AGAIN = (
    "No number and no word here makes a shaft sound: flex and look at each before it is shot, as its maker says, "
    "and destroy one that is cracked."
)


def weigh(
    store_file: Path, shaft: str | None, weight: str | None, unit: str | None, csv: Path | None, scale: Path | None
) -> None:
    """Note a weight that was typed, all of a table, or what a scale shows.

    Raises ReadingsError when neither or two of these were given, or a weight is none.
    """
    if scale is not None and csv is None and weight is None and unit is None:
        by_scale(store_file, scale, shaft)
        return
    if scale is None and csv is not None and shaft is None:
        weights = weights_in(csv)
    elif scale is None and csv is None and shaft is not None and weight is not None and unit is not None:
        weights = {shaft: weight_of(weight, unit, f"shaft {shaft}")}
    else:
        raise ReadingsError(
            "say which shaft, its weight and --unit grains or grams; or give a --csv with them, or a --scale"
        )
    with Store.open(store_file, create=False) as store:
        number = Sets(store).weigh(weights, now_ms())
    print(f"{number} weight{'s' if number != 1 else ''} noted in {store_file}")


def mark(store_file: Path, shafts: Sequence[str], words: str, *, back: bool) -> None:
    """Take shafts out of the stock, or give them back."""
    with Store.open(store_file, create=False) as store:
        sets = Sets(store)
        sets.mark([sets.number(one) for one in shafts], spent=not back, words=words, at_ms=now_ms())
    print(f"{listed(shafts)}: {'back in the stock' if back else 'marked as spent'}")


def vouch_for(store_file: Path, shafts: Sequence[str], person: str, words: str, bands_file: Path | None) -> None:
    """Let a person vouch for shafts, all or none of them, and print the verdict that each has now."""
    bands = load_bands(bands_file) if bands_file else None
    with Store.open(store_file, create=False) as store:
        sets = Sets(store)
        numbers = [sets.number(name) for name in shafts]
        for number, decision in vouch(store, numbers, Voucher(person, words, now_ms()), bands).items():
            console().print(f"shaft {number}: {verdict_words(decision)}")
            against = beside_verdict(store, number)
            if against is not None:
                console().print(f"shaft {number} is no stock all the same: {against}")
    print(LOOK_AGAIN, file=sys.stderr)


def size(store_file: Path, table: Path, shafts: Sequence[str], *, as_json: bool) -> None:
    """Print the nominal size of shafts, and how likely its neighbours are."""
    sizes = load_sizes(table)
    with open_to_read(store_file) as store:
        sets = Sets(store)
        found = shafts_of(store, [sets.number(one) for one in shafts]) if shafts else None
        those = list(found.values()) if found is not None else list(read_stock(store).shafts)
        whole = full_results(store, [one.result for one in those])
        against = spoken_against(store, [one.shaft for one in those]) if found is not None else {}
    rows = [(one, sizes.likely(one.spine_thou, one.u_spine_thou, whole.get(one.result, {}).get("dof_spine")))
            for one in those]  # fmt: skip
    if as_json:
        print(json.dumps([
            {"shaft": one.shaft, "label": one.label, "spine_thou": one.spine_thou, "against": against.get(one.shaft),
             "sizes": {each.name: each.probability for each in likely}} for one, likely in rows
        ]))  # fmt: skip
        return
    console().print(sets_text.sizes_table(rows))
    print_against(against, "is not for use")
