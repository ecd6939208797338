"""Where the readings of a study come from: a table, or results in the database by batch and label.

>>> rows = [StudyReading("bar", "batch 1", 500.2, 0.0), StudyReading("bar", "batch 2", 500.4, 1.5)]
>>> [(day, readings) for day, readings in by_day(rows)]
[(0.0, [500.2]), (1.0, [500.4])]
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from pathlib import Path

from midspan.base.csv_table import TypedTable, number_in, read_typed
from midspan.base.errors import ReadingsError
from midspan.calibrate.reference_bar import load_bar
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.sets.stock import each_once
from midspan.store.database import Store
from midspan.store.evaluation import StoredResult
from midspan.study.linearity import Reference

PARTS, APPRAISERS = ("part", "shaft", "bar"), ("appraiser", "operator", "batch", "gauge")
VALUES = ("value", "measurement", "spine_thou")
TIMES = ("day", "time", "date")
MS_PER_DAY = 86_400_000


@dataclass(frozen=True)
class StudyReading:
    """One reading: of which part, by whom (or which batch), its value, and the day counted from any moment."""

    part: str
    appraiser: str
    value: float
    day: float = 0.0


def from_table(path: Path, *, timed: bool = False) -> list[StudyReading]:
    """Readings of a CSV: part and value, appraiser where there is one, and day (a number or a date) when timed.

    Raises ReadingsError when a column is missing or a cell cannot be what it says.
    """
    table = read_typed(path)
    values = table.numbers(table.column_among(VALUES))
    parts = table.texts(next((name for name in PARTS if name in table.columns), PARTS[0])) if _has(table, PARTS) else []
    who = table.texts(table.column_among(APPRAISERS)) if _has(table, APPRAISERS) else []
    days = _days(table) if timed else [0.0] * len(values)
    return [
        StudyReading(parts[i] if parts else "", who[i] if who else "", value, days[i]) for i, value in enumerate(values)
    ]


def _has(table: TypedTable, names: Iterable[str]) -> bool:
    return any(name in table.columns for name in names)


def _days(table: TypedTable) -> list[float]:
    """Days as numbers, dates as days since the first; without such a column readings count one a day."""
    if not _has(table, TIMES):
        return [float(i) for i in range(len(table.lines))]
    column = table.column_among(TIMES)
    moments = [_moment(text, line.number, table) for text, line in zip(table.texts(column), table.lines, strict=True)]
    return [moment - min(moments) for moment in moments]


def _moment(text: str, line: int, table: TypedTable) -> float:
    try:
        return datetime.fromisoformat(text).timestamp() * 1000 / MS_PER_DAY
    except ValueError:
        return number_in(text, f"{table.source}, line {line}: the day")


def references_in(path: Path) -> dict[str, Reference]:
    """Reference values of a CSV with columns part and reference, and u_reference if known.

    Raises ReadingsError when a part has two values.
    """
    table = read_typed(path)
    known: dict[str, Reference] = {}
    names, values = table.texts(table.column_among(PARTS)), table.numbers("reference")
    doubts = table.numbers("u_reference") if "u_reference" in table.columns else [0.0] * len(names)
    for name, value, u in zip(names, values, doubts, strict=True):
        if known.setdefault(name, Reference(value, u)) != Reference(value, u):
            raise ReadingsError(f"{path}: part {name} has reference {known[name].value:g} and {value:g}; correct one")
    return known


def references_of(bars: Sequence[Path]) -> dict[str, Reference]:
    """Reference values from the files that `midspan hand assign` writes, by the label of each bar."""
    known = map(load_bar, bars)
    return {bar.name: Reference(bar.spine_thou, bar.u_spine_thou) for bar in known}


def from_batches(store: Store, appraisers: Sequence[str], quantity: str) -> list[StudyReading]:
    """Results of batches: each shaft is a part; an appraiser is the batches it measured, as in "1,4,7".

    Raises ReadingsError when a batch is no number or stands there twice.
    """
    return [
        replace(one, appraiser=f"batch {appraiser}")
        for appraiser, batch in _batches(appraisers)
        for one in _observations(store.batch(batch), quantity)
    ]


def from_stock(store: Store, batches: Sequence[str], quantity: str) -> list[StudyReading]:
    """Results of the shafts of batches, each shaft once by its newest run, check standards left out.

    Raises ReadingsError when a batch is no number or stands there twice.
    """
    found = [one for _, batch in _batches(batches) for one in store.batch(batch)]
    return list(_observations(each_once(store, found), quantity))


def _batches(asked: Sequence[str]) -> list[tuple[str, int]]:
    """Batches as they were asked for, and their number."""
    pairs = [(together, batch.strip()) for together in asked for batch in together.split(",")]
    texts = [batch for _, batch in pairs]
    for batch in texts:
        if not batch.isdecimal() or texts.count(batch) > 1:
            raise ReadingsError(f"batch {batch!r} is no number, or stands there twice; write --batch 1,2 --batch 3,4")
    return [(together, int(batch)) for together, batch in pairs]


def from_labels(store: Store, labels: Sequence[str], quantity: str) -> list[StudyReading]:
    """Results of labelled shafts in the order of time, the newest evaluation of each run.

    Raises ReadingsError when they were measured on different gauges, which have different biases.
    """
    found = [one for label in labels for one in store.history(label)]
    newest = list({(one.run.archive, one.run.byte_offset, one.run.shaft): one for one in found}.values())
    gauges = sorted({str(one.result.gauge) for one in newest if not isinstance(one.result, Unmeasured)})
    if len(gauges) > 1:
        raise ReadingsError(
            f"{', '.join(labels)}: measured on {' and '.join(gauges)}, which cannot share a chart; keep a database for "
            "each, or study a CSV"
        )
    return sorted(_observations(newest, quantity), key=lambda one: one.day)


def _observations(results: Iterable[StoredResult], quantity: str) -> Iterator[StudyReading]:
    """Results without those of a sick gauge or without a number: they say nothing of how well it measures."""
    for one in results:
        value: object = getattr(one.result, quantity, None)  # a run without a result has none
        if one.decision.outcome is Outcome.INSTRUMENT_FAULT or not isinstance(value, int | float):
            continue
        if math.isfinite(value):
            name = one.run.label or str(one.run.shaft)
            yield StudyReading(name, f"batch {one.batch}", float(value), one.run.started_ms / MS_PER_DAY)


def by_day(rows: Sequence[StudyReading]) -> Iterator[tuple[float, list[float]]]:
    """Readings of each calendar day (UTC) in the order of time, days counted from the first."""
    ordered = sorted(rows, key=lambda one: one.day)
    first = math.floor(ordered[0].day) if ordered else 0
    for day, group in groupby(ordered, key=lambda one: math.floor(one.day)):
        yield float(day - first), [one.value for one in group]
