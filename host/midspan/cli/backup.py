"""`midspan backup` and `midspan restore`: a database and everything that belongs to it, into a folder and back."""

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import BackupError
from midspan.cli.options import STORE, StoreAt, workspace_of
from midspan.cli.screen import aside

if TYPE_CHECKING:
    from midspan.backup.manifest import Manifest
    from midspan.workspace.settings import Workspace


def backup(
    context: typer.Context,
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="New or empty folder, best on another disk.", show_default="a dated folder in that of the workspace"
        ),
    ] = None,
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

    folder = folder or _new_folder(workspace_of(context))
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
    context: typer.Context,
    into: Annotated[Path, typer.Option("--into", help="New or empty folder that gets everything.")],
    folder: Annotated[
        Path | None, typer.Argument(help="Folder of a backup.", show_default="the newest of the workspace")
    ] = None,
) -> None:
    """Bring a backup back, on this computer or another, and read every run and result back.

    A damaged backup is refused, and each damaged file named.
    """
    from midspan.backup import restore as bringing_back

    folder = folder or _newest_folder(workspace_of(context))
    database, manifest = bringing_back.restore(folder, into, aside)
    for line in bringing_back.missing_references(into, manifest):
        aside(f"{line}; mend the plan before it is used")
    _say(into, manifest)
    print(f"Next: midspan report --store {quote(str(database))}")


def _new_folder(workspace: "Workspace | None") -> Path:
    """Return the folder for a new backup of a workspace; its name says when."""
    from datetime import UTC, datetime

    from midspan.workspace.status import backup_name

    if workspace is None:
        raise BackupError("no folder to copy into: name one, best on another disk, or begin a workspace (midspan init)")
    return workspace.files.backups / backup_name(datetime.now(UTC))


def _newest_folder(workspace: "Workspace | None") -> Path:
    """Return the newest backup of a workspace; a BackupError says that there is none."""
    from midspan.workspace.status import newest_backup

    newest = None if workspace is None else newest_backup(workspace.files.backups)
    if newest is None:
        raise BackupError("no backup found: name the folder of the backup to bring back")
    return newest


def _say(folder: Path, manifest: "Manifest") -> None:
    for name, runs in manifest.lacking.items():
        aside(f"{name}: the readings of {runs} runs are not there")
    size_mb = sum(entry.bytes for entry in manifest.file) / 1e6
    counts = f"runs {manifest.runs}, results {manifest.results}, nights {manifest.nights}, files {len(manifest.file)}"
    read = "all but these readings" if manifest.lacking else "everything"
    print(f"{folder}: {counts} ({size_mb:.1f} MB), {read} read back")
