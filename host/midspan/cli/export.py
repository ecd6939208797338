"""`midspan export`: tables for other programs."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, StoreAt


def export(
    table: Annotated[str, typer.Argument(help="results or sets.", metavar="TABLE")],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="File to write: its name ends in .csv, .json or .parquet.", show_default="such as results.csv"
        ),
    ] = None,
    store: StoreAt = STORE,
    all_versions: Annotated[
        bool, typer.Option("--all-versions", help="Every evaluation of each run, not the newest only.")
    ] = False,
) -> None:
    """Write results or sets as a table, with a dictionary of its columns beside it."""
    from midspan.report.export import export_file

    out = out or Path(f"{table}.csv")
    number = export_file(store, table, out, all_versions=all_versions)
    print(f"{out}: {number} rows; what each column means stands in {out.stem}-columns.csv")
