"""`midspan export`: tables for other programs."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, StoreAt


def export(
    table: Annotated[str, typer.Argument(help="results or sets.", metavar="TABLE")],
    out: Annotated[Path, typer.Option("--out", help="File to write: its name ends in .csv, .json or .parquet.")],
    store: StoreAt = STORE,
    all_versions: Annotated[
        bool, typer.Option("--all-versions", help="Every evaluation of each run, not the newest only.")
    ] = False,
) -> None:
    """Write results or sets as a table, with a dictionary of its columns beside it."""
    from midspan.report.export import export_file

    number = export_file(store, table, out, all_versions=all_versions)
    print(f"{out}: {number} rows; what each column means stands in {out.stem}-columns.csv")
