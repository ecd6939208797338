"""`midspan page`: makes the tokens, says where the page is, and serves it."""

from __future__ import annotations

import socket
from pathlib import Path

from midspan.errors import ConfigurationError
from midspan.page import serve
from midspan.page_access import Access, token_from
from midspan.page_follow import Follower

LOOK, COMMAND = "MIDSPAN_LOOK_TOKEN", "MIDSPAN_COMMAND_TOKEN"
EVERYWHERE, HERE = "0.0.0.0", "127.0.0.1"


def run(store: Path, port: int, look_file: Path | None, command_file: Path | None, *, network: bool) -> None:
    """Serve until Ctrl-C; ConfigurationError when the port is taken or a token is no good."""
    if not network and (look_file or command_file):
        raise ConfigurationError("tokens are for --network: on this computer alone nobody needs one")
    access = Access(port)
    host, lines = HERE, [f"The page is at http://{HERE}:{port}, on this computer alone. Ctrl-C ends it."]
    if network:
        (look, look_made), (command, command_made) = token_from(LOOK, look_file), token_from(COMMAND, command_file)
        if look == command:
            raise ConfigurationError("the token to look and the token to command must differ")
        access, host = Access(port, look, command), EVERYWHERE
        lines = [f"The page is on the network, port {port} of this computer. What it sends is not encrypted."]
        lines += [f"To look: /?token={look}"] if look_made else []
        lines += [f"To look and command: /?token={command}"] if command_made else []
    _try_port(host, port)
    follower = Follower(store)
    for line in lines:
        print(line, flush=True)
    serve(follower, access, host)


def _try_port(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise ConfigurationError(f"port {port} is taken ({error.strerror}); name another with --port") from error
