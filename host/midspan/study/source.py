"""Collect the readings of a study from a table, or from results in the database by batch and label.

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
from midspan.measurement.definition import DEFINITION
from midspan.measurement.result import Unmeasured
from midspan.sets.stock import each_once
from midspan.store.database import Store
from midspan.store.evaluation import StoredResult
from midspan.store.reference_spine import StatedSpine, under_reference
from midspan.store.stored_result import AnyResult
from midspan.store.voids import void_runs
from midspan.study.linearity import Reference

PARTS, APPRAISERS = ("part", "shaft", "bar"), ("appraiser", "operator", "batch", "gauge")
VALUES = ("value", "measurement", "spine_thou")
TIMES = ("day", "time", "date")
MS_PER_DAY = 86_400_000


@dataclass(frozen=True)
class StudyReading:
    """One reading of a study.

    Parameters
    ----------
    part : str
        Name of the part that was measured, empty where unknown.
    appraiser : str
        Person, gauge or batch that measured it, empty where unknown.
    value : float
        The reading.
    day : float
        Time in days from any moment.
    converted : bool
        True for the spine of an earlier version, converted to the reference condition.
    """

    part: str
    appraiser: str
    value: float
    day: float = 0.0
    converted: bool = False


def from_table(path: Path, *, timed: bool = False) -> list[StudyReading]:
    """Read readings from a CSV table with a column of values, and of parts, appraisers and days where it has them.

    Parameters
    ----------
    path : Path
        The table.
    timed : bool
        True to read the days too, numbers or dates; without such a column readings count as one a day.

    Returns
    -------
    list[StudyReading]
        The readings, in the order of the lines.

    Raises
    ------
    ReadingsError
        A column is missing, or a value or day is not what its column says.
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
    """Return True if a table has one of these columns."""
    return any(name in table.columns for name in names)


def _days(table: TypedTable) -> list[float]:
    """Return days as numbers, dates as days since the first; without such a column the readings are one a day."""
    if not _has(table, TIMES):
        return [float(i) for i in range(len(table.lines))]
    column = table.column_among(TIMES)
    moments = [_moment(text, line.number, table) for text, line in zip(table.texts(column), table.lines, strict=True)]
    return [moment - min(moments) for moment in moments]


def _moment(text: str, line: int, table: TypedTable) -> float:
    """Return the days of a date since 1970 UTC, or the number in its place."""
    try:
        return datetime.fromisoformat(text).timestamp() * 1000 / MS_PER_DAY
    except ValueError:
        return number_in(text, f"{table.source}, line {line}: the day")


def references_in(path: Path) -> dict[str, Reference]:
    """Read known values from a CSV table with the columns part and reference; u_reference and u_shared if known.

    Parameters
    ----------
    path : Path
        The table.

    Returns
    -------
    dict[str, Reference]
        Known values by name of the part.

    Raises
    ------
    ReadingsError
        A column is missing, a value is not a number, a part has two values, or a shared part is above its u (code
        `shared_part`).
    """
    table = read_typed(path)
    known: dict[str, Reference] = {}
    names, values = table.texts(table.column_among(PARTS)), table.numbers("reference")
    doubts = table.numbers("u_reference") if "u_reference" in table.columns else [0.0] * len(names)
    shared: Sequence[float | None] = table.numbers("u_shared") if "u_shared" in table.columns else [None] * len(names)
    for name, value, u, part in zip(names, values, doubts, shared, strict=True):
        if known.setdefault(name, Reference(value, u, part)) != Reference(value, u, part):
            raise ReadingsError(f"{path}: part {name} has reference {known[name].value:g} and {value:g}; correct one")
    return known


def references_of(bars: Sequence[Path]) -> dict[str, Reference]:
    """Read known values from the files that `midspan hand assign` writes.

    Parameters
    ----------
    bars : Sequence[Path]
        The files.

    Returns
    -------
    dict[str, Reference]
        Known spines, thou, by label of the bar.

    Raises
    ------
    ConfigurationError
        A file cannot be read, or is not the file of a bar.
    """
    known = map(load_bar, bars)
    return {bar.name: Reference(bar.spine_thou, bar.u_spine_thou) for bar in known}


def from_batches(store: Store, appraisers: Sequence[str], quantity: str) -> list[StudyReading]:
    """Collect the results of batches: each shaft is a part, each group of batches an appraiser.

    Parameters
    ----------
    store : Store
        The open store.
    appraisers : Sequence[str]
        Batches of each appraiser, comma separated, as in "1,4,7".
    quantity : str
        Name of the field of a result to study.

    Returns
    -------
    list[StudyReading]
        The readings.

    Raises
    ------
    ReadingsError
        A batch is not a number, or is given twice.
    """
    return [
        replace(reading, appraiser=f"batch {appraiser}")
        for appraiser, batch in _batches(appraisers)
        for reading in _observations(store, store.batch(batch), quantity)
    ]


def from_stock(store: Store, batches: Sequence[str], quantity: str) -> list[StudyReading]:
    """Collect the results of the shafts of batches, each shaft once by its newest run, without check standards.

    Parameters
    ----------
    store : Store
        The open store.
    batches : Sequence[str]
        Batches, single or comma separated.
    quantity : str
        Name of the field of a result to study.

    Returns
    -------
    list[StudyReading]
        The readings.

    Raises
    ------
    ReadingsError
        A batch is not a number, or is given twice.
    """
    found = [result for _, batch in _batches(batches) for result in store.batch(batch)]
    return list(_observations(store, each_once(store, found), quantity))


def _batches(asked: Sequence[str]) -> list[tuple[str, int]]:
    """Return each batch as it was asked for, and its number; raise ReadingsError for a wrong or repeated batch."""
    pairs = [(together, batch.strip()) for together in asked for batch in together.split(",")]
    texts = [batch for _, batch in pairs]
    for batch in texts:
        if not batch.isdecimal() or texts.count(batch) > 1:
            raise ReadingsError(f"batch {batch!r} is not a number or is given twice; write --batch 1,2 --batch 3,4")
    return [(together, int(batch)) for together, batch in pairs]


def from_labels(store: Store, labels: Sequence[str], quantity: str) -> list[StudyReading]:
    """Collect the results of labelled shafts, the newest evaluation of each run that is not void.

    Parameters
    ----------
    store : Store
        The open store.
    labels : Sequence[str]
        Their labels.
    quantity : str
        Name of the field of a result to study.

    Returns
    -------
    list[StudyReading]
        The readings, in the order of time.

    Raises
    ------
    ReadingsError
        They were measured on different gauges, which have different biases.
    """
    found = [stored for label in labels for stored in store.history(label)]
    void = void_runs(store, {stored.run.shaft for stored in found})
    found = [stored for stored in found if stored.run_id not in void]
    newest = list({(stored.run.archive, stored.run.byte_offset, stored.run.shaft): stored for stored in found}.values())
    gauges = sorted({str(stored.result.gauge) for stored in newest if not isinstance(stored.result, Unmeasured)})
    if len(gauges) > 1:
        raise ReadingsError(
            f"{', '.join(labels)}: measured on {' and '.join(gauges)}, which have different biases and cannot share a "
            "chart; use a database for each, or study a CSV"
        )
    return sorted(_observations(store, newest, quantity), key=lambda reading: reading.day)


def _observations(store: Store, results: Iterable[StoredResult], quantity: str) -> Iterator[StudyReading]:
    """Yield the readings of results; those of a faulty gauge or without a number say nothing about precision.

    Spines of earlier versions are converted to the reference condition; one that cannot be converted is left out.
    """
    calibrations = store.calibrations()
    for stored in results:
        value: object = getattr(stored.result, quantity, None)  # a run without a result has no such field
        converted = quantity == "spine_thou" and _is_older(stored.result)
        if converted and not isinstance(stored.result, Unmeasured):
            known = under_reference(stored.result, calibrations)
            value = None if known is None else known[0]
        if stored.decision.outcome is Outcome.INSTRUMENT_FAULT or not isinstance(value, int | float):
            continue
        if math.isfinite(value):
            name = stored.run.label or str(stored.run.shaft)
            day = stored.run.started_ms / MS_PER_DAY
            yield StudyReading(name, f"batch {stored.batch}", float(value), day, converted)


def _is_older(result: AnyResult) -> bool:
    """Return True for a result whose spine is stated for another condition than the reference."""
    return not isinstance(result, Unmeasured) and StatedSpine.of(result).definition != DEFINITION


def by_day(rows: Sequence[StudyReading]) -> Iterator[tuple[float, list[float]]]:
    """Group readings by calendar day (UTC).

    Parameters
    ----------
    rows : Sequence[StudyReading]
        The readings, in any order.

    Yields
    ------
    tuple[float, list[float]]
        Days since the first, and the values of that day in the order of time.

    Examples
    --------
    >>> rows = [StudyReading("bar", "", 500.2, 3.1), StudyReading("bar", "", 500.4, 3.9)]
    >>> list(by_day(rows))
    [(0.0, [500.2, 500.4])]
    """
    ordered = sorted(rows, key=lambda reading: reading.day)
    first = math.floor(ordered[0].day) if ordered else 0
    for day, group in groupby(ordered, key=lambda reading: math.floor(reading.day)):
        yield float(day - first), [reading.value for reading in group]
