"""`midspan recompute`: results again from raw archives, printed and, with a store, kept beside the old ones.

One pass over the archives serves both.
"""

import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import ArchiveError, StoreError
from midspan.cli.options import AllowDoubtful, AsJson, CalibrationFile, Factor, Shown, StoreToKeepIn, workspace_of
from midspan.store.place import StorePlace

if TYPE_CHECKING:
    from midspan.decision.bands import Bands
    from midspan.report.result_text import Row
    from midspan.sorting.recompute import BesideOld, Remade


def recompute(
    context: typer.Context,
    calibration: CalibrationFile,
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Archives of raw readings.", metavar="FILE", show_default="that of the workspace, into its database"
        ),
    ] = None,
    bands: Annotated[Path | None, typer.Option(help="Judge the results against these bands too (TOML).")] = None,
    store: StoreToKeepIn = None,
    plan: Annotated[
        Path | None,
        typer.Option(help="Plan of their sorting run, if this database did not sort them: crack limit, standards."),
    ] = None,
    allow_doubtful: AllowDoubtful = False,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Evaluate raw readings again.

    Works under the calibration you name; nothing stored is changed. In a workspace, without FILE, its archive is taken
    and the results are kept in its database beside the old ones.
    """
    from midspan.base.clock import now_ms
    from midspan.decision.bands import load_bands
    from midspan.measurement.calibration_validity import load_usable
    from midspan.sorting import recompute as again
    from midspan.sorting.plan import load_sort_plan

    workspace = workspace_of(context)
    if not files and workspace is not None:
        files, store = [workspace.files.archive], store or StorePlace(workspace.files.store)
    if not files:
        raise ArchiveError("no archive to read: name it, or begin a workspace (midspan init)", code="no_archive")
    if store is not None and bands is None:
        raise StoreError(f"{store}: a stored result has a verdict; name the bands too with --bands FILE")
    limits = None if bands is None else load_bands(bands)
    usable = load_usable(calibration, allow_doubtful=allow_doubtful)
    night = None if plan is None else load_sort_plan(plan)
    damage: list[str] = []
    runs = again.entries(files, damage)
    runs = runs if allow_doubtful else again.usable(runs, usable)
    with ExitStack() as stack:
        if store is None or limits is None:
            remade = again.recomputed(runs, again.stored_nowhere(usable, again.Rules(limits, night)))
        else:
            beside = again.BesideOld(stack.enter_context(store.open()), limits, night, now_ms)
            stack.callback(_print_tally, beside)
            remade = again.recomputed(runs, beside.judging(usable), beside.store)
        _print_all(remade, Shown(as_json, k), limits)
    if damage:
        raise ArchiveError(*damage)


def _print_tally(beside: "BesideOld") -> None:
    """Print how many results were stored and how many were there already."""
    print(
        f"{beside.stored} results stored beside the old ones, {beside.unchanged} stood there already", file=sys.stderr
    )


def _print_all(remade: Iterator["Remade"], shown: Shown, bands: "Bands | None") -> None:
    """Print all results as a table or as JSON."""
    from midspan.report import result_text

    rows = ((result.result, result.decision) for result in remade)
    try:
        if shown.as_json:
            _print_json(rows, bands)
        else:
            screen = result_text.console()
            screen.print(result_text.results_table(rows, shown.k, wide=screen.width >= result_text.WIDE))
    except OSError:
        for _ in remade:  # the reader has closed the pipe, or its disk is full: results are still stored
            pass
        raise


def _print_json(rows: Iterable["Row"], bands: "Bands | None") -> None:
    """Print a JSON array, an object per line, as the results come."""
    from midspan.report.result_text import as_json

    before = "[\n"
    for result, decision in rows:
        sys.stdout.write(before + as_json(result, decision, bands))
        before = ",\n"
    sys.stdout.write("[]\n" if before == "[\n" else "\n]\n")
