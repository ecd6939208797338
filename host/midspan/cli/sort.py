"""`midspan sort`: a night on a gauge with feeder and bins."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import ClearFault, EvenSo


def sort(
    plan: Annotated[Path, typer.Argument(help="Plan of the night (TOML); midspan demo writes one to start from.")],
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the last night, whatever ended or killed it.")
    ] = False,
    anew: Annotated[bool, typer.Option("--anew", help="Begin another though the last was not finished.")] = False,
    attended: Annotated[
        bool, typer.Option("--attended", help="You stay with the gauge: you are asked instead of the night stopping.")
    ] = False,
    clear_fault: ClearFault = False,
    emptied: Annotated[
        list[int] | None, typer.Option("--emptied", min=1, max=64, help="You emptied this place; may be repeated.")
    ] = None,
    even_so: EvenSo = False,
) -> None:
    """Sort the hopper into bins, alone, until it is empty.

    Each shaft leaves only after its readings and verdict are on the disk. Ctrl-C finishes the shaft in hand, twice
    stops at once. The gauge moves by itself: hands off, lid shut, emergency stop in reach of whoever comes by.
    """
    from midspan.cli import sort_commands

    sort_commands.sort(
        plan, resume=resume, anew=anew, attended=attended, clear_fault=clear_fault, emptied=emptied or [],
        even_so=even_so,
    )  # fmt: skip
