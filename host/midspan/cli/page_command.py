"""`midspan page`: makes the tokens, says where the page is, and serves it."""

from __future__ import annotations

import io
import socket
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import segno

from midspan.base.errors import ConfigurationError
from midspan.web.app import serve
from midspan.web.auth import Access, token_from
from midspan.web.follow import Follower

LOOK, COMMAND = "MIDSPAN_LOOK_TOKEN", "MIDSPAN_COMMAND_TOKEN"
EVERYWHERE, HERE = "0.0.0.0", "127.0.0.1"
FAR_AWAY = "192.0.2.1"  # an address that is nobody's (RFC 5737)


def run(store: Path, port: int, look_file: Path | None, command_file: Path | None, *, network: bool) -> None:
    """Serve until Ctrl-C; ConfigurationError when the port is taken or a token is no good."""
    if not network and (look_file or command_file):
        raise ConfigurationError("tokens are for --network: on this computer alone nobody needs one")
    access, host = Access(port), HERE
    lines = [f"The page is at http://{HERE}:{port}, on this computer alone. Ctrl-C ends it."]
    if network:
        (look, look_made), (command, command_made) = token_from(LOOK, look_file), token_from(COMMAND, command_file)
        if look == command:
            raise ConfigurationError("the token to look and the token to command must differ")
        access, host = Access(port, look, command), EVERYWHERE
        # A token that was given is a secret of whoever gave it: what is printed may stand in a log.
        lines = network_lines(
            f"http://{reachable_address()}:{port}/", look if look_made else None, command if command_made else None
        )
    _try_port(host, port)
    follower = Follower(store)
    for line in printable_lines(lines, sys.stdout.encoding):
        print(line, flush=True)
    serve(follower, access, host)


def network_lines(address: str, look: str | None, command: str | None) -> list[str]:
    """What whoever starts the page is told: where it is, once with each token that was made now, and as a QR code.

    The code opens the page on a telephone to look; the token to command goes by hand to those who may.
    """
    to_look = address if not look else f"{address}?token={look}"
    lines = ["The page is on the network. What it sends is not encrypted. Ctrl-C ends it.", f"To look: {to_look}"]
    lines += [f"To look and command: {address}?token={command}"] if command else []
    lines += [] if look and command else ["It asks for a token that was given and is not shown here."]
    code = io.StringIO()
    segno.make_qr(to_look, error="l").terminal(code, border=2, compact=True)
    return [*lines, code.getvalue()]


def reachable_address() -> str:
    """The address of this computer on its network; its name where it has no way out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((FAR_AWAY, 9))  # sends nothing: it only asks which way it would go
        except OSError:
            return socket.gethostname()
        address: str = probe.getsockname()[0]
        return address


def printable_lines(lines: Iterable[str], encoding: str | None) -> Iterator[str]:
    """The lines that a screen with this encoding can show: a QR code is left out where it cannot be drawn."""
    for line in lines:
        try:
            line.encode(encoding or "ascii")
        except UnicodeEncodeError:
            continue
        yield line


def _try_port(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise ConfigurationError(f"port {port} is taken ({error.strerror}); name another with --port") from error
