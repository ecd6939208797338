"""What evaluating again has changed: a table, a summary, and JSON."""

import math
from collections.abc import Iterator

from rich.table import Table

from midspan.base.formatting import printable, signed
from midspan.measurement.result import Unmeasured
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


def changes_table(steps: list[ResultChange], k: float) -> Table:
    """Return one row per shaft: its newest spine, what has changed, and its verdict.

    Parameters
    ----------
    steps : list[ResultChange]
        A change for each shaft.
    k : float
        Coverage factor of U.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    table.caption = f"thou; U with k = {k:g}; expected: what the changed calibration values do to first order"
    table.add_column("shaft", no_wrap=True)
    for heading in ("spine", "U", "change", "expected", "spread"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for step in steps:
        spine, u = _spine(step.after.result)
        table.add_row(
            printable(f"{step.after.run.shaft} {step.after.run.label}"),
            "-" if spine is None else f"{spine:.2f}",
            "-" if u is None else f"{k * u:.2f}",
            signed(step.differences.get("spine_thou")),
            signed(step.expected_thou),
            signed(step.differences.get("spread_thou")),
            _verdicts(step),
        )
    return table


def _spine(result: AnyResult) -> tuple[float | None, float | None]:
    """Return spine and its standard uncertainty in thou, each None if it is missing or not finite."""
    return (None, None) if isinstance(result, Unmeasured) else (finite(result.spine_thou), finite(result.u_spine_thou))


def _verdicts(step: ResultChange) -> str:
    """Return the verdict, with the former one before it if it has changed."""
    new = result_text.brief(step.after.decision)
    return f"{result_text.brief(step.before.decision)}, now {new}" if step.verdict_changed else new


def changes_words(steps: list[ResultChange], k: float) -> Iterator[str]:
    """Yield a summary of all changes, a line at a time, and what caused them.

    Parameters
    ----------
    steps : list[ResultChange]
        A change for each shaft.
    k : float
        Coverage factor of U.

    Yields
    ------
    str
        A line of the summary.
    """
    moved = [step.differences["spine_thou"] for step in steps if "spine_thou" in step.differences]
    yield f"\n{len(steps)} shafts compared, {sum(step.verdict_changed for step in steps)} go elsewhere now"
    if moved:
        mean, largest = math.fsum(moved) / len(moved), max(moved, key=abs)
        yield f"spine changed by {signed(mean)} thou on average, {signed(largest)} at most"
        yield from _of_u(steps, k)
    if all(step.is_nothing for step in steps):
        yield "every number is the same to the last bit"
    causes = dict.fromkeys(cause for step in steps for cause in step.causes)
    yield from (f"because {cause}" for cause in causes)
    if not causes and not all(step.is_nothing for step in steps):
        yield "neither calibration nor evaluation changed: only the bands did, or the raw readings are not the same"


def _of_u(steps: list[ResultChange], k: float) -> Iterator[str]:
    """Yield how much U has changed on average, nothing if the change is too small to print."""
    both = [(_spine(step.before.result)[1], _spine(step.after.result)[1]) for step in steps]
    known = [(was, now) for was, now in both if was is not None and now is not None]
    was, now = (k * math.fsum(side) / len(known) for side in zip(*known, strict=True)) if known else (0.0, 0.0)
    if abs(now - was) > WORTH_SAYING_THOU:
        yield f"U was {was:.2f} thou on average, and is {now:.2f} now"
