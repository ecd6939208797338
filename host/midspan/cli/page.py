"""Command line: the live page."""

from pathlib import Path
from typing import Annotated

import typer

from midspan.base.errors import ConfigurationError


def page(
    store: Annotated[Path, typer.Option("--store", help="Database that the plan names.")] = Path("results.db"),
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Port of the page.")] = 8437,
    network: Annotated[
        bool, typer.Option("--network", help="Let other computers look too; each needs a token.")
    ] = False,
    look_token: Annotated[
        Path | None,
        typer.Option("--look-token", help="File with the token to look (else: $MIDSPAN_LOOK_TOKEN, or made)."),
    ] = None,
    command_token: Annotated[
        Path | None,
        typer.Option("--command-token", help="File with the token to command (else: $MIDSPAN_COMMAND_TOKEN, or made)."),
    ] = None,
) -> None:
    """Show nights, shafts and sets as a page in the browser, live while midspan sort runs elsewhere.

    It reads the database and writes nothing but the wish to stop. Without --network only this computer reaches it.
    """
    from importlib.util import find_spec

    if find_spec("nicegui") is None:
        raise ConfigurationError("the page needs NiceGUI: pip install 'midspan[page]'")
    from midspan.cli import page_command

    page_command.run(store, port, look_token, command_token, network=network)
