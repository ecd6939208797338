"""`midspan status`: what is set, what is missing, and the one command to do next."""

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from midspan.base.errors import ConfigurationError, StoreError
from midspan.cli.options import WORKSPACE_PROBLEM, AsJson, workspace_of
from midspan.cli.root import versions

if TYPE_CHECKING:
    from midspan.workspace.settings import Workspace
    from midspan.workspace.status import WorkspaceStatus

MARKS = {"set": "ok", "missing": "MISSING", "expired": "EXPIRED", "wrong": "WRONG", "advised": "advised"}


def status(context: typer.Context, as_json: AsJson = False) -> None:
    """Say what is set in this workspace, what is missing, and the one command to do next.

    Follow what it says under Next from an empty folder to a calibrated gauge. It ends with 0 when shafts can be
    measured, else with 1. Nothing moves and nothing is changed.
    """
    workspace, problem = workspace_of(context), context.find_root().meta.get(WORKSPACE_PROBLEM)
    found, database = status_of(workspace, problem)
    if as_json:
        print(json.dumps(_as_dict(found, workspace, database), indent=2))
    else:
        _print(found, workspace, database)
    if not found.ready:
        raise typer.Exit(1)


def status_of(workspace: "Workspace | None", problem: ConfigurationError | None) -> "tuple[WorkspaceStatus, str]":
    """Return the state of a workspace, and what is to be said of its database."""
    from midspan.rehearsal.process import REHEARSAL_PORT
    from midspan.store.facts import version_of
    from midspan.workspace.status import Surroundings, database_words, without_workspace, workspace_status

    if workspace is None:
        return without_workspace(problem), ""
    version, words = None, ""
    if workspace.files.store.exists():
        try:
            version = version_of(workspace.files.store)
        except StoreError as error:
            words = str(error)
    runs = version.runs if version else 0
    around = Surroundings(datetime.now(UTC).date(), REHEARSAL_PORT, runs, _free(workspace, runs))
    return workspace_status(workspace, around), words or database_words(workspace.files.store, version)


def _free(workspace: "Workspace", runs: int) -> int:
    """Return the number of accepted shafts that are in no set; 0 if there are too few measurements for one."""
    from midspan.workspace.status import A_SET

    if runs < A_SET:  # reading the stock takes a second
        return 0
    from midspan.sets.stock import read_stock
    from midspan.store.place import StorePlace

    try:
        with StorePlace(workspace.files.store).open_to_read() as store:
            return len(read_stock(store).shafts)
    except StoreError:
        return 0  # the line about the database says what is wrong with it


def next_command(folder: Path) -> str:
    """Return the command to do next in the workspace of a folder."""
    from midspan.workspace.found import workspace_file
    from midspan.workspace.settings import load_workspace

    path = workspace_file(folder.resolve())
    found, _ = status_of(None if path is None else load_workspace(path, Path.cwd()), None)
    return found.following or "midspan status"


def _as_dict(found: "WorkspaceStatus", workspace: "Workspace | None", database: str) -> dict[str, object]:
    """Return what is shown as plain values."""
    return {
        "workspace": None if workspace is None else str(workspace.path), "ready": found.ready,
        "next": found.following, "also": found.also, "versions": versions(), "database": database,
        "items": [asdict(item) for item in found.items],
    }  # fmt: skip


def _print(found: "WorkspaceStatus", workspace: "Workspace | None", database: str) -> None:
    """Print versions, a line for each thing, and the next command."""
    known = versions()
    print(f"Midspan {known['program']}, protocol {known['protocol']}, database version {known['database']}")
    if workspace is not None:
        shop = f" of {workspace.shop.name}" if workspace.shop.name else ""
        print(f"Workspace{shop}: {workspace.path}")
        print(f"Database: {database}")
    print()
    for item in found.items:
        print(f"  {MARKS[item.state]:8} {item.id:20} {item.words}")
    print()
    for item in found.items:
        if item.command and not item.blocks and item.command != found.also:
            print(f"Advised, when you like: {item.command}  ({item.id})")
    all_parts = ", or midspan calibrate all: every part in a row" if "midspan calibrate" in found.following else ""
    also = f", or {found.also}" if found.also else ""
    print(f"Next: {found.following or 'correct what is marked WRONG, then midspan status'}{all_parts}{also}")
