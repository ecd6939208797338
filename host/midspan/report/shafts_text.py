"""Shafts as people read them: what was found, and everything on record about one of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from rich.table import Table

from midspan.base.formatting import printable
from midspan.measurement.result import Unmeasured
from midspan.measurement.shown_quantities import (
    UNKNOWN,
    meaning,
    spine_convention,
    spine_text,
    spine_unit,
    weight_text,
    weight_unit,
)
from midspan.sets.find_shafts import FoundShaft
from midspan.sets.shaft_history import MeasurementOnRecord, ShaftHistory
from midspan.sets.stock import IN_A_SET
from midspan.store.detail_kinds import DetailKind
from midspan.store.details import current

SAID = {
    DetailKind.CUSTOMER: "for", DetailKind.ORDER: "order", DetailKind.SIZE: "size",
    DetailKind.LENGTH_MM: "length, mm",
}  # fmt: skip


def found_table(found: Sequence[FoundShaft]) -> Table:
    """Return one row per shaft that was found.

    Parameters
    ----------
    found : Sequence[FoundShaft]
        The shafts.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = _table("shaft", "label", f"spine, {spine_unit()}", "bin", f"weight, {weight_unit()}", "set", "remarks")
    for shaft in found:
        known = None if shaft.newest is None else shaft.newest.shaft
        table.add_row(
            _numbers(shaft),
            printable(shaft.label),
            UNKNOWN if known is None else spine_text(known).cell,
            printable((shaft.newest.row.bin if shaft.newest else None) or UNKNOWN),
            UNKNOWN if known is None else weight_text(known.weight_gr).number,
            printable(", ".join(filter(None, (shaft.set_name, shaft.set_whom.words)))),
            printable("; ".join(_remarks(shaft))),
        )
    number = f"{len(found)} shaft{'' if len(found) == 1 else 's'}"
    table.caption = f"{number}; spine: {spine_convention()}; {meaning()}"
    return table


def _numbers(shaft: FoundShaft) -> str:
    """Return the number of a shaft, with its other numbers in parentheses."""
    others = ", ".join(str(number) for number in shaft.numbers if number != shaft.shaft)
    return f"{shaft.shaft} ({others})" if others else str(shaft.shaft)


def _remarks(shaft: FoundShaft) -> Iterator[str]:
    """Yield what else is known of a shaft that was found."""
    if shaft.newest is not None and shaft.newest.against not in (None, IN_A_SET):  # the set has a column
        yield shaft.newest.against
    counts = current(shaft.details)
    yield from (f"{words} {counts[kind]}" for kind, words in SAID.items() if kind in counts)
    if DetailKind.NOTE in counts:
        yield counts[DetailKind.NOTE]
    if shaft.newest is None:
        yield "every measurement is void"
    elif shaft.voids:
        yield f"{shaft.voids} measurement{'' if shaft.voids == 1 else 's'} void"


def found_json(shaft: FoundShaft) -> dict[str, object]:
    """Return a shaft that was found as plain values; uncertainties are standard uncertainties.

    Parameters
    ----------
    shaft : FoundShaft
        The shaft.

    Returns
    -------
    dict[str, object]
        Values by name.
    """
    newest = shaft.newest
    known = None if newest is None else newest.shaft
    return {
        "shaft": shaft.shaft, "numbers": list(shaft.numbers), "label": shaft.label, "set": shaft.set_name,
        "batches": sorted({run.batch for run in shaft.runs}),
        "spine_thou": None if known is None else known.spine_thou,
        "u_spine_thou": None if known is None else known.u_spine_thou,
        "weight_gr": None if known is None else known.weight_gr,
        "outcome": None if newest is None else newest.row.outcome.value,
        "bin": None if newest is None else newest.row.bin,
        "against": None if newest is None else newest.against, "void_measurements": shaft.voids,
        "said": {kind.value: value for kind, value in current(shaft.details).items()},
        "notes": [detail.value for detail in shaft.details if detail.kind is DetailKind.NOTE],
    }  # fmt: skip


def history_words(history: ShaftHistory) -> Iterator[str]:
    """Yield the lines about a shaft that stand above its measurements.

    Parameters
    ----------
    history : ShaftHistory
        What is on record about the shaft.

    Yields
    ------
    str
        A line.
    """
    others = [str(number) for number in history.numbers if number != history.shaft]
    yield printable(f"shaft {history.shaft} {history.label}".strip())
    if others:
        yield f"also measured under {', '.join(others)}"
    if history.earlier_labels:
        yield printable(f"earlier labels: {', '.join(history.earlier_labels)}")
    counts = current(history.details)
    yield from (printable(f"{words} {counts[kind]}") for kind, words in SAID.items() if kind in counts)
    if history.weights_gr:
        yield f"weight {weight_text(history.weights_gr[-1])}"
    for membership in history.sets:
        yield printable(f"set {membership.name}" + (f", left: {membership.left}" if membership.left else ""))
    if history.against is not None:
        yield f"no stock: {history.against}"
    for detail in history.details:
        if detail.kind is DetailKind.NOTE:
            yield printable(f"note of {_day(detail.at_ms)}: {detail.value}{_by(detail.person)}")
    for said in history.joined:
        verb = {True: "are one shaft", False: "are two shafts", None: "may be one shaft or two: taken back"}[said.same]
        reason = f": {said.words}" if said.words else ""
        yield printable(f"{said.shaft} and {said.other} {verb}{reason}{_by(said.person)}, {_day(said.at_ms)}")


def measurements_table(history: ShaftHistory) -> Table:
    """Return one row per measurement of a shaft, void ones included.

    Parameters
    ----------
    history : ShaftHistory
        What is on record about the shaft.

    Returns
    -------
    Table
        The rows, oldest first.
    """
    headings = ("measurement", "day", "shaft", "batch", f"spine, {spine_unit()}", "verdict", "counts")
    table = _table(*headings)
    for each in history.measurements:
        stored = each.stored
        table.add_row(
            str(stored.run_id),
            _day(stored.run.started_ms),
            str(stored.run.shaft),
            str(stored.batch),
            UNKNOWN if isinstance(stored.result, Unmeasured) else spine_text(stored.result).cell,
            stored.decision.outcome.value,
            printable(_standing(each)),
        )
    table.caption = f"spine: {spine_convention()}; {meaning()}"
    return table


def _standing(each: MeasurementOnRecord) -> str:
    """Return whether a measurement counts, and why not."""
    if each.void is not None:
        return f"void: {each.void.words}{_by(each.void.person)}"
    if each.counts:
        return "yes"
    return "no, another counts more" if each.stands else "no, measured again"


def history_json(history: ShaftHistory) -> dict[str, object]:
    """Return what is on record about a shaft as plain values; uncertainties are standard uncertainties.

    Parameters
    ----------
    history : ShaftHistory
        What is on record about the shaft.

    Returns
    -------
    dict[str, object]
        Values by name.
    """
    return {
        "shaft": history.shaft, "numbers": list(history.numbers), "label": history.label,
        "earlier_labels": list(history.earlier_labels),
        "said": [
            {"kind": detail.kind.value, "value": detail.value, "by": detail.person, "at_ms": detail.at_ms}
            for detail in history.details
        ],
        "measurements": [_measurement_json(each) for each in history.measurements],
        "sets": [{"set": each.name, "joined_ms": each.joined_ms, "left": each.left} for each in history.sets],
        "weights_gr": list(history.weights_gr), "against": history.against,
        "joined": [
            {"shaft": said.shaft, "other": said.other, "same": said.same, "by": said.person, "why": said.words}
            for said in history.joined
        ],
    }  # fmt: skip


def _measurement_json(each: MeasurementOnRecord) -> dict[str, object]:
    """Return a measurement as plain values."""
    stored, void = each.stored, each.void
    result = None if isinstance(stored.result, Unmeasured) else stored.result
    return {
        "measurement": stored.run_id, "result": stored.id, "shaft": stored.run.shaft, "batch": stored.batch,
        "started_ms": stored.run.started_ms, "outcome": stored.decision.outcome.value, "bin": stored.decision.bin,
        "spine_thou": None if result is None else result.spine_thou,
        "u_spine_thou": None if result is None else result.u_spine_thou, "counts": each.counts,
        "void": None if void is None else {"why": void.words, "by": void.person, "at_ms": void.at_ms},
    }  # fmt: skip


def _table(*headings: str) -> Table:
    """Return a table without lines."""
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    for heading in headings:
        table.add_column(heading)
    return table


def _by(person: str) -> str:
    """Return who said something, in parentheses; empty where unknown."""
    return f" ({person})" if person else ""


def _day(at_ms: int) -> str:
    """Return a time as its day (UTC)."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).date().isoformat()
