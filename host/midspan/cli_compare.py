"""Command line: what changed between two results of the same readings."""

from pathlib import Path
from typing import Annotated

import typer


def compare(
    shaft: Annotated[str | None, typer.Argument(help="Number or label of one shaft; all of them without it.")] = None,
    store: Annotated[Path, typer.Option("--store", help="Database of results.")] = Path("results.db"),
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")] = False,
    k: Annotated[float, typer.Option("--k", min=1.0, max=4.0, help="Coverage factor of the printed U.")] = 2.0,
) -> None:
    """Show what changed since the result before, and why.

    Results change when the calibration or the evaluation did: make them again with recompute --store.
    """
    from midspan import comparison_report

    comparison_report.compare(store, shaft, as_json=as_json, k=k)
