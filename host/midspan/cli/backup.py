"""`midspan backup` and `midspan restore`: a database and everything that belongs to it, into a folder and back."""

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import BackupError
from midspan.cli.options import STORE, StoreAt
from midspan.cli.screen import aside

if TYPE_CHECKING:
    from midspan.backup.manifest import Manifest


def backup(
    folder: Annotated[Path, typer.Argument(help="New or empty folder, best on another disk.")],
    store: StoreAt = STORE,
    also: Annotated[
        list[Path] | None,
        typer.Option("--also", help="A file or folder besides, such as a plan that lies elsewhere; repeatable."),
    ] = None,
) -> None:
    """Copy the database with archives, calibrations, plans and settings into a folder, and read everything back.

    It can be made while a sorting run and the page are open. The copy of a plan contains the addresses of its
    notices: keep it where you keep the plan.
    """
    from midspan.backup import copy as making
    from midspan.base.clock import now_ms

    manifest, strange = making.backup(folder, store, also or [], now_ms)
    for path in strange:
        aside(f"{path}: not taken, it is no file of Midspan; name it with --also if it is to be kept")
    _say(folder, manifest)
    print(f"Next: midspan restore {quote(str(folder))} --into NEWFOLDER, on any computer")
    if manifest.lacking:
        raise BackupError(
            f"{folder}: complete except for missing readings; put their files beside the database and "
            "make another backup"
        )


def restore(
    folder: Annotated[Path, typer.Argument(help="Folder of a backup.")],
    into: Annotated[Path, typer.Option("--into", help="New or empty folder that gets everything.")],
) -> None:
    """Bring a backup back, on this computer or another, and read every run and result back.

    A damaged backup is refused, and each damaged file named.
    """
    from midspan.backup import restore as bringing_back

    database, manifest = bringing_back.restore(folder, into, aside)
    for line in bringing_back.missing_references(into, manifest):
        aside(f"{line}; mend the plan before it is used")
    _say(into, manifest)
    print(f"Next: midspan report --store {quote(str(database))}")


def _say(folder: Path, manifest: "Manifest") -> None:
    for name, runs in manifest.lacking.items():
        aside(f"{name}: the readings of {runs} runs are not there")
    size_mb = sum(entry.bytes for entry in manifest.file) / 1e6
    counts = f"runs {manifest.runs}, results {manifest.results}, nights {manifest.nights}, files {len(manifest.file)}"
    read = "all but these readings" if manifest.lacking else "everything"
    print(f"{folder}: {counts} ({size_mb:.1f} MB), {read} read back")
