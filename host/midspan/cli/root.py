"""`midspan` before its command: its version, and what is written down for the case that something goes wrong."""

import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer

LOG = logging.getLogger(__name__)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        from midspan.wire.schema import PROTOCOL_MAJOR, PROTOCOL_MINOR

        print(f"midspan {version('midspan')}, protocol {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}")
        raise typer.Exit


def root(
    context: typer.Context,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="Also show what goes into the log, in more detail.")
    ] = False,
    _version: Annotated[
        bool, typer.Option("--version", help="Show the version and end.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Measure arrow shafts: how stiff, how even around, and how sure the numbers are."""
    from midspan.base.log_file import log_path, logging_to

    context.with_resource(logging_to(log_path(), _complain, sys.stderr if verbose else None))
    context.with_resource(_noted(context.invoked_subcommand or ""))


@contextmanager
def _noted(command: str) -> Iterator[None]:
    """Note in the log that a command begins and how it ends."""
    from midspan.base.log_file import Ours

    LOG.info("%s begins", Ours(command))
    try:
        yield
    finally:
        LOG.info("%s ends: %s", Ours(command), sys.exception() or Ours("done"))


def _complain(words: str) -> None:
    print(f"midspan: {words}", file=sys.stderr)
