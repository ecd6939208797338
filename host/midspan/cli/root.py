"""`midspan` before its command: its version, and what is written down for the case that something goes wrong."""

import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

LOG = logging.getLogger(__name__)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR

        print(f"midspan {version('midspan')}, protocol {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}")
        raise typer.Exit


def root(
    context: typer.Context,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="Also show what goes into the log, in more detail.")
    ] = False,
    trace: Annotated[
        Path | None, typer.Option("--trace", help="Write down what goes over the line of the gauge, to this file.")
    ] = None,
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


@contextmanager
def _noted(command: str) -> Iterator[None]:
    """Note in the log that a command begins and how it ends."""
    from midspan.base.log_file import Ours

    LOG.info("%s begins", Ours(command))
    try:
        yield
    finally:
        LOG.info("%s ends: %s", Ours(command), sys.exception() or Ours("done"))


@contextmanager
def _traced(path: Path) -> Iterator[None]:
    """Trace all lines to a file; OutputError when it cannot be begun."""
    from midspan.link.open_line import tracing
    from midspan.link.trace_file import TraceFile

    with tracing(TraceFile(path, monotonic, _date, _complain)):
        yield


def _date() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def _complain(words: str) -> None:
    """Say that log or trace end; where nobody is to be told any more, all else goes on as well."""
    with suppress(OSError, ValueError):  # the terminal went, or was closed
        print(f"midspan: {words}", file=sys.stderr)
