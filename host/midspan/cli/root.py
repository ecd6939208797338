"""`midspan` before its command: version, workspace, log and trace."""

import logging
import sys
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

from midspan.base.errors import ConfigurationError, MidspanError
from midspan.cli.options import HELP_ASKED, WORKSPACE_PROBLEM

LOG = logging.getLogger(__name__)
AT_ANY_RATE = {"init", "status", "diagnose", "demo"}  # these run though the workspace file is wrong


def versions() -> dict[str, str]:
    """Return the versions of the program, of the protocol with a gauge, and of the tables of a database."""
    from importlib.metadata import version

    from midspan.store.revisions import NEWEST
    from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR

    return {"program": version("midspan"), "protocol": f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}", "database": str(NEWEST)}


def _print_version(wanted: bool) -> None:
    """Print versions of program, protocol and database, and end."""
    if wanted:
        known = versions()
        print(f"midspan {known['program']}, protocol {known['protocol']}, database version {known['database']}")
        raise typer.Exit


def root(
    context: typer.Context,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="Also show what goes into the log, in more detail.")
    ] = False,
    trace: Annotated[
        Path | None, typer.Option("--trace", help="Write down what goes over the line of the gauge, to this file.")
    ] = None,
    workspace: Annotated[
        Path | None,
        typer.Option(
            "--workspace", metavar="FILE", help="Workspace file.", show_default="nearest midspan.toml from here upwards"
        ),
    ] = None,
    no_workspace: Annotated[bool, typer.Option("--no-workspace", help="Leave the workspace file aside.")] = False,
    _version: Annotated[
        bool, typer.Option("--version", help="Show the version and end.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Measure arrow shafts: how stiff, how even around, and how sure the numbers are."""
    from midspan.base.log_file import log_path, logging_to

    context.with_resource(logging_to(log_path(), _complain, sys.stderr if verbose else None))
    context.with_resource(_noted(context.invoked_subcommand or ""))
    if trace is not None:
        context.with_resource(_traced(trace))
    if not no_workspace:
        _enter_workspace(context, workspace)


def _enter_workspace(context: typer.Context, named: Path | None) -> None:
    """Make what a workspace states the defaults of all commands, and its units those that are shown.

    A workspace file with a mistake ends the command, unless it can do without.
    """
    from midspan.cli.workspace_options import default_map, make_optional, options_stated, pointing_to_workspace
    from midspan.workspace.found import workspace_file

    path = named or workspace_file(Path.cwd())
    if path is None:
        context.with_resource(pointing_to_workspace())
        return
    from midspan.base.shown_units import showing
    from midspan.workspace.settings import load_workspace

    try:
        workspace = load_workspace(path, Path.cwd())
    except ConfigurationError as problem:
        context.meta[WORKSPACE_PROBLEM] = problem
        if context.invoked_subcommand in AT_ANY_RATE or context.meta.get(HELP_ASKED):
            return
        raise
    stated = options_stated(workspace)
    context.obj = workspace
    context.default_map = default_map(context.command, stated)
    make_optional(context.command, context.default_map)
    context.with_resource(showing(workspace.shown.units))
    context.with_resource(_pointing_to_status(stated.values()))


@contextmanager
def _pointing_to_status(files: Collection[str]) -> Iterator[None]:
    """Add where to look to the error about a file of the workspace that is not there yet."""
    try:
        yield
    except MidspanError as error:
        if isinstance(error.__cause__, FileNotFoundError) and str(error).startswith(
            tuple(f"{file}:" for file in files)
        ):
            error.args = (f"{error}; midspan status says what is missing",)
        raise


@contextmanager
def _noted(command: str) -> Iterator[None]:
    """Log the beginning and the end of a command."""
    from midspan.base.log_file import Ours

    LOG.info("%s begins", Ours(command))
    try:
        yield
    finally:
        LOG.info("%s ends: %s", Ours(command), sys.exception() or Ours("done"))


@contextmanager
def _traced(path: Path) -> Iterator[None]:
    """Trace all lines to a file; an OutputError says that it cannot be written."""
    from midspan.link.open_line import tracing
    from midspan.link.trace_file import TraceFile

    with tracing(TraceFile(path, monotonic, _date, _complain)):
        yield


def _date() -> str:
    """Return the time as ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _complain(words: str) -> None:
    """Print that log or trace end; go on silently if nothing can be printed."""
    with suppress(OSError, ValueError):  # the terminal is gone
        print(f"midspan: {words}", file=sys.stderr)
