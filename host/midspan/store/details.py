"""What people say of a shaft: label, notes, customer, order, size and length; a record each, earlier ones stay.

A shaft may have several numbers. Its label is written under all of them, since every table shows numbers with labels;
everything else is written once and read from all its numbers together.

>>> import tempfile
>>> from pathlib import Path
>>> from midspan.store.place import StorePlace
>>> with StorePlace(Path(tempfile.mkdtemp()) / "results.db").open() as store:
...     say_of(store, 7, DetailKind.ORDER, "club 2026-14", "Ann", at_ms=1)
...     say_of(store, 7, DetailKind.ORDER, None, "Ann", at_ms=2)
...     [(detail.value, detail.at_ms) for detail in details_of(store, [7])], current(details_of(store, [7]))
([('club 2026-14', 1), (None, 2)], {})
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import insert, select

from midspan.base.errors import StoreError
from midspan.base.plain_text import brief
from midspan.store.database import Store
from midspan.store.detail_kinds import DetailKind
from midspan.store.identity import known_identities
from midspan.store.records import Records
from midspan.store.tables import DetailRow

LONGEST = {DetailKind.LABEL: 64, DetailKind.NOTE: 500}
LONGEST_WORD = 80  # characters of the other kinds
SHORTEST_MM, LONGEST_MM = 100.0, 1500.0


@dataclass(frozen=True, slots=True)
class Detail:
    """What a person said of a shaft.

    Parameters
    ----------
    id : int
        Number of the record; records are numbered in the order they were made.
    shaft : int
        Number of the shaft.
    at_ms : int
        When it was said, UTC in ms since 1970.
    kind : DetailKind
        What it is about.
    value : str | None
        What was said, None if it was taken back.
    person : str
        Who said it, empty where unknown.
    """

    id: int
    shaft: int
    at_ms: int
    kind: DetailKind
    value: str | None
    person: str


def say_of(store: Store, shaft: int, kind: DetailKind, value: str | None, person: str, at_ms: int) -> None:
    """Record what a person says of a shaft; what was said before stays on record.

    Parameters
    ----------
    store : Store
        Database opened to write.
    shaft : int
        Number of the shaft, which need not be measured yet.
    kind : DetailKind
        What it is about.
    value : str | None
        What is said, None to take back what was said last. Notes all stay, so a note cannot be taken back.
    person : str
        Who says it, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.

    Raises
    ------
    StoreError
        The value is empty, too long, not printable on one line or no length of a shaft (code "detail_value"), a note is
        taken back (code "note"), or another shaft bears the label (code "two_shafts").
    """
    if value is None and kind is DetailKind.NOTE:
        raise StoreError(f"shaft {shaft}: a note cannot be taken back; add another note that corrects it", code="note")
    said = None if value is None else checked(kind, value)
    with Records.of(store) as records:
        numbers: tuple[int, ...] = (shaft,)
        if kind is DetailKind.LABEL:
            numbers = known_identities(records).numbers(shaft)
            others = records.numbers_of(said or "") - {*numbers}
            if others:
                raise StoreError(
                    f"shaft {min(others)} bears the label {said!r} already; choose another, or if it is the same "
                    f"shaft: midspan shafts join {min(others)} {shaft}",
                    code="two_shafts",
                )
        for number in numbers:
            record_details(records, number, {kind: said}, person, at_ms)


def record_details(
    records: Records, shaft: int, said: Mapping[DetailKind, str | None], person: str, at_ms: int
) -> None:
    """Record details that were checked, within an open transaction.

    Parameters
    ----------
    records : Records
        Records open to write.
    shaft : int
        Number of the shaft.
    said : Mapping[DetailKind, str | None]
        What is said, by its kind; None takes back what was said last.
    person : str
        Who says it, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.
    """
    rows = [
        {"shaft": shaft, "at_ms": at_ms, "kind": kind.value, "value": value, "person": person}
        for kind, value in said.items()
    ]
    if rows:
        records.session.execute(insert(DetailRow), rows)


def checked(kind: DetailKind, value: str) -> str:
    """Return what is said of a shaft without spaces around it, after a check.

    Parameters
    ----------
    kind : DetailKind
        What it is about.
    value : str
        What is said.

    Returns
    -------
    str
        The value as it is stored.

    Raises
    ------
    StoreError
        The value cannot be stored (code "detail_value").

    Examples
    --------
    >>> checked(DetailKind.LENGTH_MM, " 752.5 ")
    '752.5'
    """
    text, most = value.strip(), LONGEST.get(kind, LONGEST_WORD)
    if not text or len(text) > most or not text.isprintable():
        raise StoreError(
            f"{kind.value} {brief(text)!r}: give 1 to {most} printable characters on one line", code="detail_value"
        )
    if kind is DetailKind.LENGTH_MM and not _is_length(text):
        raise StoreError(
            f"length {text!r}: give mm, {SHORTEST_MM:.0f} to {LONGEST_MM:.0f}; an inch is 25.4 mm", code="detail_value"
        )
    return text


def _is_length(text: str) -> bool:
    """Return True if a text is a possible length of a shaft in mm."""
    try:
        length_mm = float(text)
    except ValueError:
        return False
    return math.isfinite(length_mm) and SHORTEST_MM <= length_mm <= LONGEST_MM


def details_of(store: Store, shafts: Collection[int] | None) -> list[Detail]:
    """Return everything that was said of shafts.

    Parameters
    ----------
    store : Store
        Open database.
    shafts : Collection[int] | None
        Numbers, as all numbers of one shaft; None for all shafts.

    Returns
    -------
    list[Detail]
        Oldest first; empty if nothing was said.
    """
    query = select(DetailRow).order_by(DetailRow.id)
    if shafts is not None:
        query = query.where(DetailRow.shaft.in_(shafts))
    with store.transaction() as session:
        return [
            Detail(row.id, row.shaft, row.at_ms, DetailKind(row.kind), row.value, row.person)
            for row in session.scalars(query)
        ]


def current(details: Iterable[Detail]) -> dict[DetailKind, str]:
    """Return what counts of everything that was said of a shaft.

    Parameters
    ----------
    details : Iterable[Detail]
        Details, oldest first.

    Returns
    -------
    dict[DetailKind, str]
        The newest value of each kind without those that were taken back; of notes, the newest note.
    """
    newest = {detail.kind: detail.value for detail in details}
    return {kind: value for kind, value in newest.items() if value is not None}
