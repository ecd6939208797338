"""Decide who may see the page and who may give orders: tokens, and where a request comes from.

On this computer alone, anyone who reaches the page may give orders. What must be kept out there is a foreign site in
the same browser, which can post to any address and can give its own name this computer's address. So the page answers
only to its own names and takes orders only from its own pages. On a network everybody needs a token: one to look,
another to give orders.

>>> access = Access(8080, look="secret to look", command="secret to command")
>>> access.role_of_token("secret to look").name, access.role_of_token("guess").name
('LOOK', 'NOBODY')

Every request passes through here and is refused before any view is made.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from urllib.parse import parse_qsl, urlencode

from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from midspan.base.errors import ConfigurationError, MidspanError
from midspan.base.files import text_of
from midspan.web.template import filled

COOKIE = "midspan_page"
LEAST = 16  # letters of a token: fewer can be guessed
LARGEST_BYTES = 10_000
HERE = ("127.0.0.1", "localhost", "[::1]")
EACH = 8  # wrong secrets from an address
ALL = 60  # wrong secrets from all addresses together
WITHIN_S = 60.0


class Role(IntEnum):
    """Rights of a reader; each includes those before it."""

    NOBODY = 0
    LOOK = 1
    COMMAND = 2


@dataclass(frozen=True)
class Access:
    """The rules of a page; without tokens it is for this computer alone.

    Parameters
    ----------
    port : int
        TCP port of the page.
    look : str | None
        Token to see the page; None if it is for this computer alone.
    command : str | None
        Token to give orders; None if nobody may.
    """

    port: int
    look: str | None = None
    command: str | None = None

    @property
    def on_network(self) -> bool:
        """True if clients other than this computer are allowed."""
        return self.look is not None

    def role_of_token(self, token: str) -> Role:
        """Return the rights that a token gives; the time taken does not depend on how much of it is right.

        Parameters
        ----------
        token : str
            What was typed.

        Returns
        -------
        Role
            NOBODY for a wrong token.
        """
        return self._best(token, lambda known: known)

    def role(self, cookie: str) -> Role:
        """Return the rights that a cookie gives.

        Parameters
        ----------
        cookie : str
            What the browser sent; may be empty.

        Returns
        -------
        Role
            COMMAND for everyone if the page is for this computer alone.
        """
        return self._best(cookie, _sealed) if self.on_network else Role.COMMAND

    def cookie_for(self, token: str) -> str:
        """Return what a browser keeps in place of a token; it stays valid when the page is restarted.

        Parameters
        ----------
        token : str
            A right token.

        Returns
        -------
        str
            Value of the cookie.
        """
        return _sealed(token)

    def _best(self, given: str, form: Callable[[str], str]) -> Role:
        """Return the highest role whose token, in this form, is the one given."""
        found = Role.NOBODY
        for role, token in ((Role.LOOK, self.look), (Role.COMMAND, self.command)):
            if token is not None and hmac.compare_digest(form(token).encode(), given.encode()):
                found = role
        return found

    def refuses(self, headers: Mapping[str, str], *, changes: bool) -> str | None:
        """Return the reason why a request is not for this page, if there is one.

        Parameters
        ----------
        headers : Mapping[str, str]
            Headers of the request.
        changes : bool
            True for a request that changes something.

        Returns
        -------
        str | None
            The reason; None if the request is for this page.
        """
        host, origin = headers.get("host", ""), headers.get("origin")
        if not self.on_network and host not in {f"{name}:{self.port}" for name in HERE}:
            return "this page answers only to the address that midspan page printed"
        if origin is None:
            return "an order must come from the page itself" if changes else None
        own = f"http://{host}", f"https://{host}"
        return None if origin in own else "this page takes nothing from other sites"


def _sealed(token: str) -> str:
    """Return the cookie of a token, from which the token cannot be told."""
    return hmac.new(token.encode(), b"midspan page", hashlib.sha256).hexdigest()


def token_from(variable: str, file: Path | None) -> tuple[str, bool]:
    """Return a token from a file, from the environment, or made now.

    Parameters
    ----------
    variable : str
        Variable of the environment to look in if there is no file.
    file : Path | None
        File to read; None to look in the environment.

    Returns
    -------
    tuple[str, bool]
        The token, and True if it was made now and must be shown.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or the token is shorter than LEAST or has other letters than ASCII.
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


class Guesses:
    """Wrong secrets of the last minute: after too many no more are looked at for a while.

    A repeated wrong secret is no new guess: a browser with an old token asks again and again. An address that brought a
    right secret before is kept out only by guesses from the same address.

    Parameters
    ----------
    now_s : Callable[[], float]
        Clock that never goes back, s.

    Examples
    --------
    >>> guesses = Guesses(lambda: 0.0)
    >>> for number in range(EACH):
    ...     guesses.wrong("10.0.0.7", f"guess {number}")
    >>> guesses.may_try("10.0.0.7"), guesses.may_try("10.0.0.8")
    (False, True)
    """

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._wrong: deque[tuple[float, str, bytes]] = deque()  # time, address and hash; at most ALL + EACH entries
        self._trusted: set[str] = set()

    def may_try(self, address: str) -> bool:
        """Return True if a secret from an address is looked at now.

        Parameters
        ----------
        address : str
            Address of the browser.

        Returns
        -------
        bool
            False after too many guesses.
        """
        while self._wrong and self._now_s() - self._wrong[0][0] >= WITHIN_S:
            self._wrong.popleft()
        own = sum(1 for _, who, _ in self._wrong if who == address)
        return own < EACH and (address in self._trusted or len(self._wrong) < ALL)

    def wrong(self, address: str, secret: str) -> None:
        """Note that a secret was looked at and was wrong.

        Parameters
        ----------
        address : str
            Address of the browser.
        secret : str
            Token or cookie.
        """
        seal = hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()
        if not any((who, known) == (address, seal) for _, who, known in self._wrong):
            self._wrong.append((self._now_s(), address, seal))

    def right(self, address: str) -> None:
        """Note that a secret was right.

        Parameters
        ----------
        address : str
            Address of the browser.
        """
        self._trusted.add(address)


LONGEST_FORM = 4096  # bytes
# Nothing may be fetched from elsewhere or sent elsewhere, and the page may not be shown inside another site.
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; font-src 'self' data:; frame-ancestors 'none'; form-action 'self'; base-uri 'self'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
}
STATE = "role"  # key of the reader's rights in the state of a request


def role_in(scope: Scope) -> Role:
    """Return the rights of the reader whose request was let in.

    Parameters
    ----------
    scope : Scope
        ASGI scope of the request.

    Returns
    -------
    Role
        At least LOOK on a network.
    """
    role: Role = scope["state"][STATE]
    return role


class Door:
    """ASGI middleware that lets requests in or answers them itself.

    Parameters
    ----------
    app : ASGIApp
        The page behind it.
    access : Access
        Who may see the page and who may give orders.
    stop : Callable[[int], None]
        Called with the number of a night that is to end.
    now_s : Callable[[], float]
        Clock that never goes back, s.
    """

    def __init__(self, app: ASGIApp, access: Access, stop: Callable[[int], None], now_s: Callable[[], float]) -> None:
        self._app, self._access, self._stop, self._guesses = app, access, stop, Guesses(now_s)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request or a socket in, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        cookie = asked.cookies.get(COOKIE, "")
        role = self._role(asked, cookie, self._access.role)
        answer = self._refusal(asked, role)
        if answer is None and scope["type"] == "http":
            answer = await self._own(Request(scope, receive), role or Role.NOBODY)
        if answer is not None and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        elif answer is not None:
            await answer(scope, receive, _with_headers(send))
        else:
            scope.setdefault("state", {})[STATE] = role
            await self._app(scope, receive, _with_headers(send))

    def _role(self, asked: HTTPConnection, secret: str, role_of: Callable[[str], Role]) -> Role | None:
        """Return the rights that a token or cookie gives; None if it is not looked at after too many wrong ones."""
        if not self._access.on_network or not secret:
            return role_of(secret)
        address = asked.client.host if asked.client else ""
        if not self._guesses.may_try(address):
            return None
        role = role_of(secret)
        if role is Role.NOBODY:
            self._guesses.wrong(address, secret)
        else:
            self._guesses.right(address)
        return role

    def _refusal(self, asked: HTTPConnection, role: Role | None) -> Response | None:
        """Return the answer to a request that is refused, or None."""
        is_socket = asked.scope["type"] == "websocket"
        changes = is_socket or asked.scope["method"] not in ("GET", "HEAD")
        why = self._access.refuses(asked.headers, changes=changes)
        if why is not None:
            return PlainTextResponse(f"{why}\n", 403)
        if role is None:
            return _later()
        if role is Role.NOBODY and is_socket:
            return PlainTextResponse("", 403)
        return None

    async def _own(self, request: Request, role: Role) -> Response | None:
        """Return an answer given here: to a token, or to the order to end a night; None for all other requests."""
        if self._access.on_network:
            token = request.query_params.get("token")
            if token is not None:
                rest = [(name, value) for name, value in parse_qsl(request.url.query) if name != "token"]
                return self._entered(request, token, f"{request.url.path}?{urlencode(rest)}".rstrip("?"))
            if request.url.path == "/enter" and request.method == "POST":
                return self._entered(request, (await _form(request)).get("token", ""), "/")
            if role is Role.NOBODY:
                return _enter(wrong=False)
        if request.url.path == "/stop":
            return await self._ordered(request, role)
        return None

    def _entered(self, request: Request, token: str, to: str) -> Response:
        """Return the answer to a token."""
        role = self._role(request, token, self._access.role_of_token)
        if role is None:
            return _later()
        if role is Role.NOBODY:
            return _enter(wrong=True)
        answer = RedirectResponse(f"/{to.lstrip('/')}", 303)
        answer.set_cookie(COOKIE, self._access.cookie_for(token), httponly=True, samesite="strict")
        return answer

    async def _ordered(self, request: Request, role: Role) -> Response:
        """Return the answer to the order to end a night."""
        if request.method != "POST":
            return PlainTextResponse("orders must be sent with POST\n", 405)
        if role is not Role.COMMAND:
            return PlainTextResponse("you may look, not command\n", 403)
        night = (await _form(request)).get("night", "")
        if not (night.isascii() and night.isdigit() and len(night) < 10):
            return PlainTextResponse("the run must be a number\n", 400)
        try:
            self._stop(int(night))
        except MidspanError as error:
            return PlainTextResponse(f"{error}\n", 409)
        return RedirectResponse(f"/night/{int(night)}", 303)


async def _form(request: Request) -> dict[str, str]:
    """Return the fields of a posted form; empty if it is too long or was cut off."""
    body = b""
    try:
        async for part in request.stream():
            body += part
            if len(body) > LONGEST_FORM:
                return {}
    except ClientDisconnect:  # half an order does not count
        return {}
    return dict(parse_qsl(body.decode("utf-8", "replace")))


def _later() -> Response:
    """Return the answer after too many wrong tokens."""
    words = "too many wrong tokens came in; wait a minute\n"
    return PlainTextResponse(words, 429, headers={"retry-after": str(round(WITHIN_S))})


def _enter(*, wrong: bool) -> Response:
    """Return the page that asks for a token."""
    return HTMLResponse(filled("enter.html", wrong=wrong), 401)


def _with_headers(send: Send) -> Send:
    """Return a function that sends messages with HEADERS added."""

    async def sent(message: Message) -> None:
        """Send a message, with HEADERS added to the start of an answer."""
        if message["type"] == "http.response.start":
            more = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", []), *more]}
        await send(message)

    return sent
