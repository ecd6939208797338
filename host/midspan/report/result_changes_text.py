"""What evaluating again has changed: a table, a summary, and JSON."""

import math
from collections.abc import Iterator

from rich.table import Table

from midspan.base.formatting import printable, signed
from midspan.measurement.result import Unmeasured
from midspan.measurement.shown_quantities import (
    UNKNOWN,
    across_text,
    across_unit,
    expanded_thou,
    in_across_unit,
    meaning,
    spine_text,
    spine_unit,
)
from midspan.report import result_text
from midspan.report.result_changes import ResultChange
from midspan.store.stored_result import AnyResult, finite

WORTH_SAYING_THOU = 0.005  # of U, which is printed in hundredths


def change_json(step: ResultChange) -> dict[str, object]:
    """Return a change as a mapping of plain values.

    Parameters
    ----------
    step : ResultChange
        The change.

    Returns
    -------
    dict[str, object]
        Values that JSON can hold.
    """
    run, old, new = step.after.run, step.before.decision, step.after.decision
    return {
        "shaft": run.shaft,
        "label": run.label,
        "differences": step.differences,
        "expected_spine_thou": step.expected_thou,
        "causes": list(step.causes),
        "verdict_before": old.bin or old.outcome.value,
        "verdict_after": new.bin or new.outcome.value,
        "identical": step.is_nothing,
    }


def changes_table(steps: list[ResultChange], k: float | None) -> Table:
    """Return one row per shaft: its newest spine, what has changed, and its verdict.

    Parameters
    ----------
    steps : list[ResultChange]
        A change for each shaft.
    k : float or None
        Coverage factor of each ±, None for 95 %.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    table.caption = f"{meaning(k)}; expected: what the changed calibration values do to first order"
    table.add_column("shaft", no_wrap=True)
    unit = across_unit()
    for heading in (f"spine, {spine_unit()}", f"change, {unit}", "expected", "spread"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for step in steps:
        result = step.after.result
        table.add_row(
            printable(f"{step.after.run.shaft} {step.after.run.label}"),
            UNKNOWN if isinstance(result, Unmeasured) else spine_text(result, k).cell,
            _change(step.differences.get("spine_thou")),
            _change(step.expected_thou),
            _change(step.differences.get("spread_thou")),
            _verdicts(step),
        )
    return table


def _change(thou: float | None) -> str:
    """Return a change across the shaft with its sign, a dash for None."""
    return UNKNOWN if thou is None else signed(in_across_unit(thou), 3 if across_unit() == "thou" else 5)


def _range_thou(result: AnyResult, k: float | None) -> float | None:
    """Return what follows the ± of a spine, thou; None if it is missing or not finite."""
    return None if isinstance(result, Unmeasured) else finite(expanded_thou(result, k))


def _verdicts(step: ResultChange) -> str:
    """Return the verdict, with the former one before it if it has changed."""
    new = result_text.brief(step.after.decision)
    return f"{result_text.brief(step.before.decision)}, now {new}" if step.verdict_changed else new


def changes_words(steps: list[ResultChange], k: float | None) -> Iterator[str]:
    """Yield a summary of all changes, a line at a time, and what caused them.

    Parameters
    ----------
    steps : list[ResultChange]
        A change for each shaft.
    k : float or None
        Coverage factor of each ±, None for 95 %.

    Yields
    ------
    str
        A line of the summary.
    """
    moved = [step.differences["spine_thou"] for step in steps if "spine_thou" in step.differences]
    yield f"\n{len(steps)} shafts compared, {sum(step.verdict_changed for step in steps)} now fall into another bin"
    if moved:
        mean, largest = math.fsum(moved) / len(moved), max(moved, key=abs)
        yield f"spine changed by {_change(mean)} {across_unit()} on average, {_change(largest)} at most"
        yield from _of_range(steps, k)
    if all(step.is_nothing for step in steps):
        yield "every number is the same to the last bit"
    causes = dict.fromkeys(cause for step in steps for cause in step.causes)
    yield from (f"because {cause}" for cause in causes)
    if not causes and not all(step.is_nothing for step in steps):
        yield "neither calibration nor evaluation changed: only the bands did, or the raw readings are not the same"


def _of_range(steps: list[ResultChange], k: float | None) -> Iterator[str]:
    """Yield how much the ± has changed on average, nothing if the change is too small to print."""
    both = [(_range_thou(step.before.result, k), _range_thou(step.after.result, k)) for step in steps]
    known = [(was, now) for was, now in both if was is not None and now is not None]
    was, now = (math.fsum(side) / len(known) for side in zip(*known, strict=True)) if known else (0.0, 0.0)
    if abs(now - was) > WORTH_SAYING_THOU:
        yield f"the ± of a spine was {across_text(was)} on average, and is {across_text(now)} now"
