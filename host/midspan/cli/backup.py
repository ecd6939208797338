"""Command line: a backup of a database with all that belongs to it, and the way back."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.cli.options import STORE, StoreFile


def backup(
    folder: Annotated[Path, typer.Argument(help="New or empty folder, best on another disk.")],
    store: StoreFile = STORE,
    also: Annotated[
        list[Path] | None,
        typer.Option("--also", help="A file or folder besides, such as a plan that lies elsewhere; repeatable."),
    ] = None,
) -> None:
    """Copy the database with archives, calibrations, plans and settings into a folder, and read everything back.

    It may be made while a night runs and the page is open. Addresses in a plan's notices stand in the copy as they do
    in the plan: who has the backup has them.
    """
    from midspan.cli import backup_commands

    backup_commands.backup(folder, store, also or [])


def restore(
    folder: Annotated[Path, typer.Argument(help="Folder of a backup.")],
    into: Annotated[Path, typer.Option("--into", help="New or empty folder that gets everything.")],
) -> None:
    """Bring a backup back, on this computer or another, and read every run and result back.

    A damaged backup is refused, and each damaged file named.
    """
    from midspan.cli import backup_commands

    backup_commands.restore(folder, into)
