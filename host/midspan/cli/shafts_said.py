"""`midspan shafts spent, vouch, size, twins, join, different`: what is said of single shafts.

Their nominal size, that they are spent or sound, and whether two numbers are one shaft.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.clock import now_ms
from midspan.base.errors import ConfigurationError
from midspan.cli.options import STORE, AsJson, Shafts, StoreAt
from midspan.cli.screen import aside
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.sets.twins import Twins

By = Annotated[str, typer.Option(help="Who says so.")]
Why = Annotated[str, typer.Option(help="A word on it.")]
TakeBack = Annotated[bool, typer.Option("--back", help="The contrary: take back what was said of them.")]
TwoOrMore = Annotated[list[str], typer.Argument(help="Numbers of two shafts or more.", metavar="SHAFT SHAFT")]

LOOK_AGAIN = (
    "No number and no word here makes a shaft sound: flex and look at each before it is shot, as its maker says, "
    "and destroy one that is cracked."
)
SHOWN = 12  # numbers listed of shafts that cannot be told apart
MEANS = {True: "one shaft", False: "each a shaft of its own", None: "what was said of them is taken back"}


def spent(
    shafts: Shafts,
    why: Annotated[str, typer.Option(help="A word on it.")] = "",
    back: Annotated[bool, typer.Option("--back", help="The contrary: they are stock again.")] = False,
    store: StoreAt = STORE,
) -> None:
    """Mark shafts as spent: no set gets them any more."""
    from midspan.report.sets_view import listed
    from midspan.sets.registry import Sets

    with store.open(create=False) as opened:
        sets = Sets(opened)
        sets.mark([sets.number(name) for name in shafts], spent=not back, words=why, at_ms=now_ms())
    print(f"{listed(shafts)}: {'back in the stock' if back else 'marked as spent'}")


def vouch(
    shafts: Shafts,
    by: Annotated[str, typer.Option(help="Who vouches.")],
    why: Annotated[str, typer.Option(help="What was looked at, and what was seen.")],
    bands: Annotated[Path | None, typer.Option(help="Bands (TOML), where those of the verdict were not kept.")] = None,
    store: StoreAt = STORE,
) -> None:
    """Stand for shafts that were suspected, on record: they are judged again by their limits alone.

    For a suspected crack, or a check standard that was at fault and not the gauge. A reading that is itself in doubt
    needs another measurement instead.
    """
    from midspan.decision.bands import load_bands
    from midspan.report.result_text import console, verdict_words
    from midspan.sets.registry import Sets
    from midspan.sets.stock import beside_verdict
    from midspan.store.vouching import Voucher, vouch

    limits = load_bands(bands) if bands else None
    with store.open(create=False) as opened:
        sets = Sets(opened)
        numbers = [sets.number(name) for name in shafts]
        for number, decision in vouch(opened, numbers, Voucher(by, why, now_ms()), limits).items():
            console().print(f"shaft {number}: {verdict_words(decision)}")
            against = beside_verdict(opened, number)
            if against is not None:
                console().print(f"shaft {number} is no stock all the same: {against}")
    aside(LOOK_AGAIN)


def size(
    shafts: Annotated[
        list[str] | None, typer.Argument(help="Shafts; the whole stock without.", metavar="SHAFT")
    ] = None,
    sizes: Annotated[Path | None, typer.Option(help="Table of nominal sizes that you keep (TOML).")] = None,
    store: StoreAt = STORE,
    as_json: AsJson = False,
) -> None:
    """Name the nominal size of unmarked shafts by their spine, from a table that you keep.

    The table, such as sizes.toml, has for each size the lowest spine that is sold under it and the highest:

    \b
        [[size]]
        name = "500"
        spine_thou = [490.0, 510.0]

    A size that you know you say yourself: midspan shafts tell 12 --size 500
    """
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.sets.nominal_sizes import load_sizes
    from midspan.sets.registry import Sets
    from midspan.sets.stock import full_results, read_stock, shafts_of, spoken_against

    if sizes is None:
        raise ConfigurationError(
            "no table of sizes: write sizes.toml as midspan shafts size --help shows; "
            "a size that you know you say with: midspan shafts tell SHAFT --size SIZE",
            code="no_sizes",
        )
    known = load_sizes(sizes)
    with store.open_to_read() as opened:
        sets = Sets(opened)
        found = shafts_of(opened, [sets.number(name) for name in shafts]) if shafts else None
        those = list(found.values()) if found is not None else list(read_stock(opened).shafts)
        whole = full_results(opened, those)
        against = spoken_against(opened, [shaft.shaft for shaft in those]) if found is not None else {}
    rows = [
        (shaft, known.likely(shaft.spine_thou, shaft.u_spine_thou, whole[shaft.result].dof_spine)) for shaft in those
    ]
    if as_json:
        print(json.dumps([
            {"shaft": shaft.shaft, "label": shaft.label, "spine_thou": shaft.spine_thou,
             "against": against.get(shaft.shaft), "sizes": {size.name: size.probability for size in likely}}
            for shaft, likely in rows
        ]))  # fmt: skip
        return
    console().print(sets_text.sizes_table(rows))
    for line in sets_text.against_words(against, "is not for use"):
        console().print(line)


def twins(store: StoreAt = STORE, as_json: AsJson = False) -> None:
    """List shafts that are likely there under two numbers, as after a second night.

    Compared are the results of one gauge under one calibration, within what it repeats: for that a check standard has
    to be measured now and then.
    """
    from midspan.report import sets_text
    from midspan.report.result_text import console
    from midspan.sets.registry import Sets
    from midspan.sets.stock import shafts_measured
    from midspan.sets.twins import find_twins
    from midspan.store.identity import known_identities
    from midspan.store.stock_records import StockRecords

    with store.open_to_read() as opened:
        with StockRecords.of(opened) as records:
            same = known_identities(records)
            found, said = find_twins(records, same), [asdict(each) for each in records.stated_identities()]
        measured = shafts_measured(opened, {n for pair in found.likely for key in pair for n in same.numbers(key)})
        sets = {same.key(shaft): kept.name for kept in Sets(opened).all() for shaft in kept.present}
    known = sorted(set(same.groups.values()))
    if as_json:
        reasons = {reason: list(numbers) for reason, numbers in found.unsure.items()}
        print(json.dumps({"likely_twins": found.likely, "one_shaft": known, "said": said, "cannot_tell": reasons}))
        return
    keys = {key for pair in found.likely for key in pair}
    newest = {key: next((measured[n] for n in same.numbers(key)[::-1] if n in measured), None) for key in keys}
    if found.likely:
        console().print(sets_text.twins_table(found.likely, newest, sets))
        console().print()
    for line in _twins_words(found, known):
        console().print(line)


def _twins_words(found: "Twins", known: Sequence[Sequence[int]]) -> Iterator[str]:
    """Yield what to do about likely twins, which numbers are one shaft, and which shafts cannot be told apart."""
    from midspan.report.sets_view import listed

    if found.likely:
        a, b = found.likely[0]
        yield "Likely the same, so only one of each pair goes into sets. Look at both shafts. If there is only one, say"
        yield f"  midspan shafts join {a} {b}\nif there are two:\n  midspan shafts different {a} {b}"
    else:
        yield "no shaft is likely there under two numbers"
    for numbers in known:
        yield f"one shaft, by its label or because somebody said so: {listed(numbers)}"
    for reason, unsure in found.unsure.items():
        more = f" and {len(unsure) - SHOWN} more" if len(unsure) > SHOWN else ""
        yield f"nobody can tell of {listed(unsure[:SHOWN])}{more}: {reason}"


def join(
    shafts: TwoOrMore, by: By = "", why: Why = "", back: TakeBack = False, store: StoreAt = STORE
) -> None:  # fmt: skip
    """Say that numbers are of one shaft: it is there once, and what is noted under one number holds for all."""
    _say(store, shafts, None if back else True, by, why)


def different(
    shafts: TwoOrMore, by: By = "", why: Why = "", back: TakeBack = False, store: StoreAt = STORE
) -> None:  # fmt: skip
    """Say that each number is a shaft of its own, however alike they are or what their label is."""
    _say(store, shafts, None if back else False, by, why)


def _say(place: StorePlace, shafts: Sequence[str], same: bool | None, person: str, words: str) -> None:
    """Store that numbers are one shaft (True), are several (False), or that neither was said (None).

    A MatchingError says that this contradicts what is stored.
    """
    from midspan.report.sets_view import listed
    from midspan.sets.registry import Sets
    from midspan.sets.stock import TWICE, spoken_against
    from midspan.sets.twins import say

    with place.open(create=False) as store:
        sets = Sets(store)
        numbers = list(dict.fromkeys(sets.number(name) for name in shafts))
        say(store, numbers, same, now_ms(), person=person, words=words)
        in_sets = [number for kept in sets.all() for number in kept.present if number in numbers]
        twice = [number for number, reason in spoken_against(store, in_sets).items() if reason == TWICE]
    print(f"{listed(numbers)}: {MEANS[same]}")
    for number in twice:
        print(f"shaft {number} {TWICE}: look which set has it, and take the other apart")
