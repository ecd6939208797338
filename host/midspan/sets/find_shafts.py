"""Find shafts by what is known of them: labels, notes, customer, order, size, spine, batch, set, and what is wrong.

>>> import tempfile
>>> from pathlib import Path
>>> from midspan.store.place import StorePlace
>>> with StorePlace(Path(tempfile.mkdtemp()) / "results.db").open() as store:
...     find_shafts(store, ShaftQuery(word="blue"))
[]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from midspan.base.formatting import CODE
from midspan.decision.decision import Outcome
from midspan.sets.registry import Sets
from midspan.sets.stock import (
    CONTRADICTED,
    CRACKED,
    STANDARD,
    SUSPECT,
    NewestOfShaft,
    newest_of_each,
)
from midspan.sets.whom import Whom
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import Detail, current, details_of
from midspan.store.records import MeasuredRun, Records

Value = TypeVar("Value")
IN_DOUBT = frozenset({CRACKED, SUSPECT, CONTRADICTED})


@dataclass(frozen=True, slots=True)
class ShaftQuery:
    """What shafts are looked for; None or False asks for nothing, and everything asked for must fit.

    Parameters
    ----------
    word : str | None
        A number, or part of the label or of anything that was said of the shaft.
    label : str | None
        Part of the label.
    said : Mapping[DetailKind, str]
        Part of what was said, by its kind.
    low_thou : float | None
        Lowest spine, thou.
    high_thou : float | None
        Highest spine, thou.
    batch : int | None
        Number of a batch in which it was measured.
    set_name : str | None
        Name of the set that it is in.
    suspects : bool
        True for shafts that are doubtful, suspect, or may be cracked.
    voided : bool
        True for shafts with void measurements.
    """

    word: str | None = None
    label: str | None = None
    said: Mapping[DetailKind, str] = field(default_factory=dict)
    low_thou: float | None = None
    high_thou: float | None = None
    batch: int | None = None
    set_name: str | None = None
    suspects: bool = False
    voided: bool = False


@dataclass(frozen=True)
class FoundShaft:
    """A shaft with what is known of it.

    Parameters
    ----------
    numbers : tuple[int, ...]
        Its numbers, ascending.
    label : str
        Its label, empty without one.
    runs : tuple[MeasuredRun, ...]
        Its measurements, void ones included.
    newest : NewestOfShaft | None
        What counts, None if all its measurements are void.
    details : tuple[Detail, ...]
        Everything that was said of it, oldest first.
    set_name : str | None
        Name of the set that it is in, None if it is in none.
    set_whom : Whom
        For whom that set is.
    """

    numbers: tuple[int, ...]
    label: str
    runs: tuple[MeasuredRun, ...]
    newest: NewestOfShaft | None
    details: tuple[Detail, ...]
    set_name: str | None
    set_whom: Whom

    @property
    def shaft(self) -> int:
        """The number that it was measured under last."""
        return self.numbers[-1] if self.newest is None else self.newest.row.shaft

    @property
    def voids(self) -> int:
        """Number of its measurements that are void."""
        return sum(run.void for run in self.runs)

    @property
    def is_in_doubt(self) -> bool:
        """True if it is doubtful, suspect, or may be cracked."""
        if self.newest is None:
            return False
        doubtful = self.newest.row.outcome in (Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)
        return doubtful or self.newest.against in IN_DOUBT


def find_shafts(store: Store, query: ShaftQuery) -> list[FoundShaft]:
    """Return the shafts that fit, without check standards.

    Parameters
    ----------
    store : Store
        Open database.
    query : ShaftQuery
        What is looked for.

    Returns
    -------
    list[FoundShaft]
        Shafts by their numbers, each once; empty if none fits.

    Raises
    ------
    StoreError
        No set has the name that was asked for.
    """
    if query.set_name is not None:
        Sets(store).named(query.set_name)
    return [shaft for shaft in every_shaft(store) if _fits(shaft, query)]


def every_shaft(store: Store) -> list[FoundShaft]:
    """Return all shafts that were ever measured, without check standards.

    Parameters
    ----------
    store : Store
        Open database.

    Returns
    -------
    list[FoundShaft]
        Shafts by their lowest numbers, each once.
    """
    same, newest = newest_of_each(store)
    with Records.of(store) as records:
        runs = _by_key((same.key(run.shaft), run) for run in records.every_run())
    details = _by_key((same.key(detail.shaft), detail) for detail in details_of(store, None))
    sets = {same.key(shaft): kept for kept in Sets(store).all() for shaft in kept.present}
    found = []
    for key in sorted(runs):
        counts = newest.get(key)
        if counts is None or counts.against != STANDARD:
            label = runs[key][-1].label if counts is None else counts.row.label
            said, kept = tuple(details.get(key, ())), sets.get(key)
            name, whom = (None, Whom()) if kept is None else (kept.name, kept.details.whom)
            found.append(FoundShaft(same.numbers(key), label, tuple(runs[key]), counts, said, name, whom))
    return found


def _by_key(pairs: Iterable[tuple[int, Value]]) -> dict[int, list[Value]]:
    """Return values grouped by key, in their order."""
    found: dict[int, list[Value]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


def _fits(shaft: FoundShaft, query: ShaftQuery) -> bool:
    """Return True if a shaft is what is looked for."""
    counts = current(shaft.details)
    spine_thou = None if shaft.newest is None or shaft.newest.shaft is None else shaft.newest.shaft.spine_thou
    return (
        (query.word is None or _has_word(shaft, query.word))
        and (query.label is None or _is_part(query.label, [shaft.label]))
        and all(_is_part(part, _said(shaft, counts, kind)) for kind, part in query.said.items())
        and (query.low_thou is None or (spine_thou is not None and spine_thou >= query.low_thou))
        and (query.high_thou is None or (spine_thou is not None and spine_thou <= query.high_thou))
        and (query.batch is None or any(run.batch == query.batch for run in shaft.runs))
        and (query.set_name is None or shaft.set_name == query.set_name)
        and (not query.suspects or shaft.is_in_doubt)
        and (not query.voided or shaft.voids > 0)
    )


def _said(shaft: FoundShaft, counts: Mapping[DetailKind, str], kind: DetailKind) -> Sequence[str]:
    """Return what counts of a kind; of notes all of them, of customer and order also those of the set it is in."""
    if kind is DetailKind.NOTE:
        return [detail.value or "" for detail in shaft.details if detail.kind is kind]
    of_set = {DetailKind.CUSTOMER: shaft.set_whom.customer, DetailKind.ORDER: shaft.set_whom.order}
    return [text for text in (counts.get(kind), of_set.get(kind)) if text is not None]


def _has_word(shaft: FoundShaft, word: str) -> bool:
    """Return True if a word is a number of the shaft, or part of its label or of what was said of it."""
    digits = word.removeprefix(CODE).removeprefix("#").lstrip("0")
    if digits in {str(number) for number in shaft.numbers}:
        return True
    counts = current(shaft.details)
    return _is_part(word, [shaft.label, *(text for kind in DetailKind for text in _said(shaft, counts, kind))])


def _is_part(part: str, texts: Iterable[str]) -> bool:
    """Return True if a text contains the part, in any case."""
    return any(part.casefold() in text.casefold() for text in texts)
