"""Shafts that are there under two numbers: one list of them, and what people say of that."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from midspan.base.clock import now_ms
from midspan.report import sets_text
from midspan.report.result_text import console
from midspan.report.sets_view import listed
from midspan.sets.registry import Sets
from midspan.sets.stock import TWICE, shafts_measured, spoken_against
from midspan.sets.twins import find_twins, known_identities, said_in, say
from midspan.store.database import Store
from midspan.store.read_only import open_to_read

SHOWN = 12  # numbers of whom nobody can tell: more nobody reads


def twins(store_file: Path, *, as_json: bool) -> None:
    """Print which numbers are likely of one shaft, which are known to be, and of whom nobody can tell and why."""
    with open_to_read(store_file) as store:
        with store.transaction() as session:
            same = known_identities(session)
            found, said = find_twins(session, same), said_in(session)
        measured = shafts_measured(store, {n for pair in found.likely for key in pair for n in same.numbers(key)})
        sets = {same.key(shaft): one.name for one in Sets(store).all() for shaft in one.present}
    known = sorted(set(same.groups.values()))
    if as_json:
        reasons = {reason: list(numbers) for reason, numbers in found.unsure.items()}
        print(json.dumps({"likely_twins": found.likely, "one_shaft": known, "said": said, "cannot_tell": reasons}))
        return
    screen = console()
    if found.likely:
        keys = {key for pair in found.likely for key in pair}
        newest = {key: next((measured[n] for n in same.numbers(key)[::-1] if n in measured), None) for key in keys}
        screen.print(sets_text.twins_table(found.likely, newest, sets))
        screen.print()
        a, b = found.likely[0]
        screen.print(
            "Likely the same, so only one of each pair goes into sets. Look at both shafts. If there is only one, say\n"
            f"  midspan sets same {a} {b}\nif there are two:\n  midspan sets different {a} {b}"
        )
    else:
        screen.print("no shaft is likely there under two numbers")
    for numbers in known:
        screen.print(f"one shaft, by its label or because somebody said so: {listed(numbers)}")
    for reason, numbers in found.unsure.items():
        more = f" and {len(numbers) - SHOWN} more" if len(numbers) > SHOWN else ""
        screen.print(f"nobody can tell of {listed(numbers[:SHOWN])}{more}: {reason}")


def say_of(store_file: Path, shafts: Sequence[str], same: bool | None, person: str, words: str) -> None:
    """Note that shafts are one, that they are several, or with None that what was said of them is taken back.

    Raises MatchingError when that contradicts what stands there.
    """
    with Store.open(store_file, create=False) as store:
        sets = Sets(store)
        numbers = list(dict.fromkeys(sets.number(name) for name in shafts))
        say(store, numbers, same, now_ms(), person=person, words=words)
        in_sets = [number for one in sets.all() for number in one.present if number in numbers]
        twice = [number for number, reason in spoken_against(store, in_sets).items() if reason == TWICE]
    print(f"{listed(numbers)}: {_MEANS[same]}")
    for number in twice:
        print(f"shaft {number} {TWICE}: look which set has it, and take the other apart")


_MEANS: dict[Any, str] = {
    True: "one shaft", False: "each a shaft of its own", None: "what was said of them is taken back",
}  # fmt: skip
