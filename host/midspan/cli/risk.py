"""Command line: what a decision rule costs."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import AsJson


def risk(
    bands: Annotated[Path, typer.Option("--bands", help="Tolerance bands with their decision rule (TOML).")],
    process_mean: Annotated[float, typer.Option(min=50, max=5000, help="Mean spine of the stock, thou.")],
    process_sd: Annotated[float, typer.Option(min=1e-3, max=1000, help="Standard deviation of its true spines, thou.")],
    u: Annotated[float, typer.Option("--u", min=1e-3, max=1000, help="Standard uncertainty of a spine (k = 1), thou.")],
    as_json: AsJson = False,
) -> None:
    """Say what your decision rule costs.

    How many bad shafts it lets in and how many good ones it turns away, beside the other rules of JCGM 106.
    """
    from midspan.cli import uncertainty_commands

    uncertainty_commands.risk(bands, process_mean, process_sd, u, as_json=as_json)
