"""`midspan report`: the report of a night as a page."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, StoreOfPlan


def report(
    run: Annotated[int | None, typer.Argument(help="Number of the run; the newest if left out.")] = None,
    store: StoreOfPlan = STORE,
    out: Annotated[
        Path | None, typer.Option("--out", help="HTML file to write.", show_default="night-NUMBER.html")
    ] = None,
) -> None:
    """Write the morning report of a night: one HTML file, for a telephone, a screen or paper."""
    from midspan.report.night_html import write_report

    path, words = write_report(store, run, out)
    print(f"{words}\n{path}: open it in a browser; print it from there")
