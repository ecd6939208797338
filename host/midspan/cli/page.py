"""`midspan page`: make the tokens, print where the page is, and serve it."""

import socket
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import ConfigurationError
from midspan.cli.options import STORE, StoreOfPlan

if TYPE_CHECKING:
    from midspan.web.auth import Access

LOOK, COMMAND = "MIDSPAN_LOOK_TOKEN", "MIDSPAN_COMMAND_TOKEN"
EVERYWHERE, HERE = "0.0.0.0", "127.0.0.1"
FAR_AWAY = "192.0.2.1"  # an address for documentation, never in use (RFC 5737)


def page(
    store: StoreOfPlan = STORE,
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Port of the page.")] = 8437,
    network: Annotated[
        bool, typer.Option("--network", help="Let other computers open it too; each needs a token.")
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
    """Show sorting runs, shafts and sets as a page in the browser, live while midspan sort runs.

    It only reads the database and can ask a run to stop. Without --network only this computer can open it.
    """
    from importlib.util import find_spec

    if find_spec("nicegui") is None:
        raise ConfigurationError("the page needs NiceGUI: pip install 'midspan[page]'")
    if not network and (look_token or command_token):
        raise ConfigurationError("tokens need --network; leave them out to serve this computer only")
    from midspan.web.app import serve
    from midspan.web.follow import Follower

    access, lines = _for_the_network(port, look_token, command_token) if network else _for_here(port)
    host = EVERYWHERE if network else HERE
    _try_port(host, port)
    follower = Follower(store)
    for line in printable_lines(lines, sys.stdout.encoding):
        print(line, flush=True)
    serve(follower, access, host)


def _for_here(port: int) -> "tuple[Access, list[str]]":
    """Return the access rules for this computer alone, and the lines to print."""
    from midspan.web.auth import Access

    return Access(port), [f"The page is at http://{HERE}:{port}, on this computer alone. Ctrl-C ends it."]


def _for_the_network(port: int, look_file: Path | None, command_file: Path | None) -> "tuple[Access, list[str]]":
    """Return the access rules for the network, and the lines to print; a ConfigurationError refuses a bad token."""
    from midspan.web.auth import Access, token_from

    (look, look_made), (command, command_made) = token_from(LOOK, look_file), token_from(COMMAND, command_file)
    if look == command:
        raise ConfigurationError("the token for reading and the token for commands must differ")
    address = f"http://{reachable_address()}:{port}/"
    # A token from a file is its owner's secret; it is not printed, because output may end up in a log.
    return Access(port, look, command), network_lines(
        address, look if look_made else None, command if command_made else None
    )


def network_lines(address: str, look: str | None, command: str | None) -> list[str]:
    """Return the lines to print at the start: address, tokens made now, and a QR code of the address.

    The code opens the page on a telephone to look; the token to command is handed to those who may command.
    """
    from midspan.report.qr_code import code_for_screen

    to_look = address if not look else f"{address}?token={look}"
    lines = ["The page is on the network. What it sends is not encrypted. Ctrl-C ends it.", f"To look: {to_look}"]
    lines += [f"To look and command: {address}?token={command}"] if command else []
    lines += [] if look and command else ["It asks for a token that was given and is not shown here."]
    return [*lines, code_for_screen(to_look)]


def reachable_address() -> str:
    """Return the address of this computer on its network, or its name without a network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((FAR_AWAY, 9))  # sends nothing: it only makes the system choose a route
        except OSError:
            return socket.gethostname()
        address: str = probe.getsockname()[0]
        return address


def printable_lines(lines: Iterable[str], encoding: str | None) -> Iterator[str]:
    """Yield the lines that a screen with this encoding can show; a QR code it cannot draw is left out."""
    for line in lines:
        try:
            line.encode(encoding or "ascii")
        except UnicodeEncodeError:
            continue
        yield line


def _try_port(host: str, port: int) -> None:
    """Refuse a port that is taken."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise ConfigurationError(f"port {port} is taken ({error.strerror}); name another with --port") from error
