"""Who may see the page and who may command: tokens, and requests that come from where they should not.

On this computer alone whoever reaches the page sits at it, and may command. What must be kept out there is a foreign
site in the same browser, which can post to any address and can give its own name this computer's address: so the page
answers only to its own names, and takes orders only from its own pages. On a network everybody needs a token: one to
look, another one to command.

>>> access = Access(8080, look="secret to look", command="secret to command")
>>> access.role_of_token("secret to look").name, access.role_of_token("guess").name
('LOOK', 'NOBODY')
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

from midspan.errors import ConfigurationError
from midspan.files import text_of

COOKIE = "midspan_page"
LEAST = 16  # signs of a token: fewer can be guessed
LARGEST_BYTES = 10_000
HERE = ("127.0.0.1", "localhost", "[::1]")


class Role(IntEnum):
    """What somebody may do; more includes less."""

    NOBODY = 0
    LOOK = 1
    COMMAND = 2


@dataclass(frozen=True)
class Access:
    """The rules of one page; without tokens it is for this computer alone."""

    port: int
    look: str | None = None
    command: str | None = None

    @property
    def on_network(self) -> bool:
        """Whether others than this computer may come."""
        return self.look is not None

    def role_of_token(self, token: str) -> Role:
        """What a token allows, compared in a time that says nothing of how much of it was right."""
        return self._best(token, lambda known: known)

    def role(self, cookie: str) -> Role:
        """What the bearer of a cookie may do."""
        return self._best(cookie, _sealed) if self.on_network else Role.COMMAND

    def cookie_for(self, token: str) -> str:
        """What a browser keeps in place of a token; it stays good when the page is started again."""
        return _sealed(token)

    def _best(self, given: str, form: Callable[[str], str]) -> Role:
        found = Role.NOBODY
        for role, token in ((Role.LOOK, self.look), (Role.COMMAND, self.command)):
            if token is not None and hmac.compare_digest(form(token).encode(), given.encode()):
                found = role
        return found

    def refuses(self, headers: Mapping[str, str], *, changes: bool) -> str | None:
        """Why a request is not for this page, None when it is; `changes` for one that changes something."""
        host, origin = headers.get("host", ""), headers.get("origin")
        if not self.on_network and host not in {f"{name}:{self.port}" for name in HERE}:
            return "this page answers only to the address that midspan page printed"
        if origin is None:
            return "an order must come from the page itself" if changes else None
        own = f"http://{host}", f"https://{host}"
        return None if origin in own else "this page takes nothing from other sites"


def _sealed(token: str) -> str:
    return hmac.new(token.encode(), b"midspan page", hashlib.sha256).hexdigest()


def token_from(variable: str, file: Path | None) -> tuple[str, bool]:
    """A token from a file, from the environment, or made now; and whether it was made, so that it must be shown once.

    Raises ConfigurationError when it is shorter than LEAST.
    """
    if file is not None:
        given = text_of(file, ConfigurationError, LARGEST_BYTES).strip()
    else:
        given = os.environ.get(variable, "").strip()
        if not given:
            return secrets.token_urlsafe(24), True
    if len(given) < LEAST or not given.isascii():
        raise ConfigurationError(f"{file or variable}: a token needs at least {LEAST} plain letters or digits")
    return given, False
