"""Who may see the page and who may command: tokens, and requests that come from where they should not.

On this computer alone whoever reaches the page sits at it, and may command. What must be kept out there is a foreign
site in the same browser, which can post to any address and can give its own name this computer's address: so the page
answers only to its own names, and takes orders only from its own pages. On a network everybody needs a token: one to
look, another one to command.

>>> access = Access(8080, look="secret to look", command="secret to command")
>>> access.role_of_token("secret to look").name, access.role_of_token("guess").name
('LOOK', 'NOBODY')

Everything that reaches the page comes through here: who may not is sent away before any view is made.
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
LEAST = 16  # signs of a token: fewer can be guessed
LARGEST_BYTES = 10_000
HERE = ("127.0.0.1", "localhost", "[::1]")
EACH = 8  # wrong secrets of one address
ALL = 60  # and of all together
WITHIN_S = 60.0


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


class Guesses:
    """The wrong secrets of the last minute: after too many no more are looked at for a while.

    The same wrong secret again is no new guess: a browser that still has the token of yesterday asks on and on. Whoever
    brought a right one before is not kept out by what many others guess, only by what is guessed at the same address.
    `now_s` is a clock that never goes back.

    >>> guesses = Guesses(lambda: 0.0)
    >>> for number in range(EACH):
    ...     guesses.wrong("10.0.0.7", f"guess {number}")
    >>> guesses.may_try("10.0.0.7"), guesses.may_try("10.0.0.8")
    (False, True)
    """

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._wrong: deque[tuple[float, str, bytes]] = deque()  # never longer than ALL and EACH together
        self._trusted: set[str] = set()

    def may_try(self, address: str) -> bool:
        """Return whether a secret from an address is looked at now."""
        while self._wrong and self._now_s() - self._wrong[0][0] >= WITHIN_S:
            self._wrong.popleft()
        own = sum(1 for _, who, _ in self._wrong if who == address)
        return own < EACH and (address in self._trusted or len(self._wrong) < ALL)

    def wrong(self, address: str, secret: str) -> None:
        """Note that a secret was looked at and was none of the page's."""
        seal = hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()
        if not any((who, known) == (address, seal) for _, who, known in self._wrong):
            self._wrong.append((self._now_s(), address, seal))

    def right(self, address: str) -> None:
        """Note that a secret was one of the page's."""
        self._trusted.add(address)


LONGEST_FORM = 4096  # bytes
# Nothing may be fetched from elsewhere, sent elsewhere, or shown inside another site.
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; font-src 'self' data:; frame-ancestors 'none'; form-action 'self'; base-uri 'self'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
}
STATE = "role"  # under this name a view finds what its reader may do


def role_in(scope: Scope) -> Role:
    """What the reader of a request that the door let in may do."""
    role: Role = scope["state"][STATE]
    return role


class Door:
    """ASGI middleware. `stop` is called with the number of a night that somebody who may asked to end; `now_s` is a
    clock that never goes back."""

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
        """What a token or a cookie allows; None when so many were wrong that this one is not even looked at."""
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
        """The answers that are given at the door: entering with a token, and the one order there is."""
        if self._access.on_network:
            token = request.query_params.get("token")
            if token is not None:
                rest = [one for one in parse_qsl(request.url.query) if one[0] != "token"]
                return self._entered(request, token, f"{request.url.path}?{urlencode(rest)}".rstrip("?"))
            if request.url.path == "/enter" and request.method == "POST":
                return self._entered(request, (await _form(request)).get("token", ""), "/")
            if role is Role.NOBODY:
                return _enter(wrong=False)
        if request.url.path == "/stop":
            return await self._ordered(request, role)
        return None

    def _entered(self, request: Request, token: str, to: str) -> Response:
        role = self._role(request, token, self._access.role_of_token)
        if role is None:
            return _later()
        if role is Role.NOBODY:
            return _enter(wrong=True)
        answer = RedirectResponse(f"/{to.lstrip('/')}", 303)
        answer.set_cookie(COOKIE, self._access.cookie_for(token), httponly=True, samesite="strict")
        return answer

    async def _ordered(self, request: Request, role: Role) -> Response:
        if request.method != "POST":
            return PlainTextResponse("an order is posted\n", 405)
        if role is not Role.COMMAND:
            return PlainTextResponse("you may look, not command\n", 403)
        night = (await _form(request)).get("night", "")
        if not (night.isascii() and night.isdigit() and len(night) < 10):
            return PlainTextResponse("night must be a number\n", 400)
        try:
            self._stop(int(night))
        except MidspanError as error:
            return PlainTextResponse(f"{error}\n", 409)
        return RedirectResponse(f"/night/{int(night)}", 303)


async def _form(request: Request) -> dict[str, str]:
    body = b""
    try:
        async for part in request.stream():
            body += part
            if len(body) > LONGEST_FORM:
                return {}
    except ClientDisconnect:  # half an order is none
        return {}
    return dict(parse_qsl(body.decode("utf-8", "replace")))


def _later() -> Response:
    words = "too many wrong tokens came in; wait a minute\n"
    return PlainTextResponse(words, 429, headers={"retry-after": str(round(WITHIN_S))})


def _enter(*, wrong: bool) -> Response:
    return HTMLResponse(filled("enter.html", wrong=wrong), 401)


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            more = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", []), *more]}
        await send(message)

    return sent
