"""Bring the shafts of a list into the store, all of them or none, beside whatever was measured of them."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from midspan.base.errors import StoreError
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.definition import DEFINITION
from midspan.measurement.result_form import ResultKind
from midspan.sets.spine_list import ListedShaft
from midspan.store.database import Store, add_evaluation
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import record_details
from midspan.store.evaluation import Evaluation, Origin, RunReference, StoredResult
from midspan.store.lookup import read_name
from midspan.store.older_spines import LISTED_EVALUATION
from midspan.store.set_records import SetRecords, WeightRecord
from midspan.store.stored_result import ListedResult, finite, read_measured

SAME = 1e-9  # relative difference of one number through a database


@dataclass(frozen=True, slots=True)
class ListImport:
    """What an import did.

    Parameters
    ----------
    added : tuple[int, ...]
        Numbers of the shafts that were added, in the order of the list.
    measured : tuple[int, ...]
        Those of them that were measured here already; their measurements count.
    known : int
        How many lines were left out because the same spine of that shaft was imported before.
    next_number : int
        Number that the next new shaft gets.
    """

    added: tuple[int, ...]
    measured: tuple[int, ...]
    known: int
    next_number: int


def import_list(store: Store, shafts: Sequence[ListedShaft], source: Path, person: str, at_ms: int) -> ListImport:
    """Add the shafts of a list.

    A shaft without a number gets that of the shaft with its label, else a new one.

    Parameters
    ----------
    store : Store
        Database opened to write.
    shafts : Sequence[ListedShaft]
        The shafts.
    source : Path
        File of the list; its name and time tell whether a line was imported before.
    person : str
        Who brings the list, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.

    Returns
    -------
    ListImport
        What was added.

    Raises
    ------
    StoreError
        Two shafts here bear a label of the list (code "two_shafts"), or a number of the list is that of a shaft with
        another label here ("other_label"); then nothing is added.
    """
    made_ms = int(source.stat().st_mtime * 1000)
    numbers = _numbers(store, shafts)
    stand = {number: store.standing(number) for number in numbers}
    measured = {number for number, there in stand.items() if any(not _is_listed(stored) for stored in there)}
    runs = [
        RunReference(str(source), shaft.line, number, shaft.label, made_ms)
        for shaft, number in zip(shafts, numbers, strict=True)
    ]
    new = [
        (shaft, run)
        for shaft, run in zip(shafts, runs, strict=True)
        if store.run_of(run) is None and not any(_is_same(shaft, stored) for stored in stand[run.shaft])
    ]
    batch = store.begin_batch(f"list {source.name}", at_ms) if new else 0
    with SetRecords.of(store) as records:
        for shaft, run in new:
            verdict = Decision(Outcome.DOUBTFUL, (f"from the list {source.name}: not measured here",))
            evaluation = Evaluation(_result(shaft, made_ms), verdict, at_ms)
            add_evaluation(records.session, batch, run, evaluation, Origin.IMPORTED)
            _say(records, shaft, run.shaft, person, at_ms)
        following = records.highest_number() + 1
    added = tuple(run.shaft for _, run in new)
    both = tuple(number for number in added if number in measured)
    return ListImport(added, both, len(shafts) - len(new), following)


def _is_listed(stored: StoredResult) -> bool:
    """Return True if a result is from a list, not measured."""
    return isinstance(stored.result, ListedResult)


def _is_same(shaft: ListedShaft, stored: StoredResult) -> bool:
    """Return True if a line says what was imported before, however its cells or its file are written now."""
    result = stored.result
    return (
        isinstance(result, ListedResult)
        and math.isclose(finite(result.spine_thou) or math.nan, shaft.spine_thou, rel_tol=SAME)
        and math.isclose(finite(result.u_spine_thou) or math.nan, shaft.u_spine_thou, rel_tol=SAME)
    )


def _numbers(store: Store, shafts: Sequence[ListedShaft]) -> list[int]:
    """Return the number of each shaft."""
    with SetRecords.of(store) as records:
        free = max(records.highest_number(), *(shaft.number or 0 for shaft in shafts), 0) + 1
    numbers = []
    for shaft in shafts:
        number = shaft.number if shaft.number is not None else _labelled(store, shaft.label)
        if number is None:
            number, free = free, free + 1
        known = store.latest(number)
        if known is not None and shaft.label and known.run.label and known.run.label != shaft.label:
            raise StoreError(
                f"{shaft.place}: shaft {number} bears the label {known.run.label!r} here, not {shaft.label!r}; leave "
                "the column of numbers out, and the shafts of the list get numbers of their own",
                code="other_label",
            )
        numbers.append(number)
    return numbers


def _labelled(store: Store, label: str) -> int | None:
    """Return the number of the shaft with a label, None if there is none."""
    with SetRecords.of(store) as records:
        if not records.numbers_of(label):
            return None
    return read_name(store, label)


def _result(shaft: ListedShaft, made_ms: int) -> ListedResult:
    """Return the result of a line."""
    lb, u_lb = shaft.pounds
    values = {
        "started_ms": made_ms, "evaluation": LISTED_EVALUATION, "definition": DEFINITION,
        "spine_thou": shaft.spine_thou, "u_spine_thou": shaft.u_spine_thou, "older_lb": lb, "u_older_lb": u_lb,
    }  # fmt: skip
    found = read_measured(ResultKind.LISTED, json.dumps(values))
    assert isinstance(found, ListedResult)
    return found


def _say(records: SetRecords, shaft: ListedShaft, number: int, person: str, at_ms: int) -> None:
    """Record the weight in a line, and what else it says; its label stands with the result."""
    if shaft.weight is not None:
        records.weigh([WeightRecord(number, shaft.weight.weight_g, shaft.weight.u_weight_g)], at_ms)
    said: dict[DetailKind, str | None] = {**shaft.said}
    said.pop(DetailKind.LABEL, None)
    record_details(records, number, said, person, at_ms)
