"""`midspan calibrate changes`: what changed between two results of the same readings."""

import json
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import StoreError
from midspan.cli.options import STORE, AsJson, Factor, StoreAt

if TYPE_CHECKING:
    from midspan.report.result_changes import ResultChange


def changes(
    shaft: Annotated[str | None, typer.Argument(help="Number or label of one shaft; all of them without it.")] = None,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Show how results changed under a new calibration, and which value of it did that.

    First evaluate the readings again: midspan recompute FILE --calibration NEW --bands BANDS --store DATABASE.
    """
    from midspan.report.result_changes import last_change
    from midspan.report.result_changes_text import change_json, changes_table, changes_words
    from midspan.report.result_text import console

    with store.open_to_read() as opened:
        calibrations = opened.calibrations()
        found = [last_change(versions, calibrations) for versions in opened.versions()]
    steps = [step for step in found if step is not None and (shaft is None or _is(step, shaft))]
    if not steps:
        words = f"{store}: nothing to compare; make results again with: midspan recompute FILE --store {store}"
        raise StoreError(words, code="nothing_to_compare")
    if as_json:
        print(json.dumps([change_json(step) for step in steps]))
        return
    screen = console()
    screen.print(changes_table(steps, k))
    for line in changes_words(steps, k):
        screen.print(line)


def _is(step: "ResultChange", shaft: str) -> bool:
    """Return True if a change is of the shaft with this number or label."""
    from midspan.store.lookup import number_in

    run = step.after.run
    return number_in(shaft) == run.shaft or shaft.casefold() == run.label.casefold()
