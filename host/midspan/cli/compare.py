"""Command line: what changed between two results of the same readings."""

from typing import Annotated

import typer

from midspan.cli.options import STORE, AsJson, FixedFactor, StoreFile


def compare(
    shaft: Annotated[str | None, typer.Argument(help="Number or label of one shaft; all of them without it.")] = None,
    store: StoreFile = STORE,
    as_json: AsJson = False,
    k: FixedFactor = 2.0,
) -> None:
    """Show what changed since the result before, and why.

    Results change when the calibration or the evaluation did: make them again with recompute --store.
    """
    from midspan.report import comparison_text

    comparison_text.compare(store, shaft, as_json=as_json, k=k)
