"""Everything that reaches the page comes through here: who may not is sent away before any view is made."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import parse_qsl, urlencode

from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from midspan.errors import MidspanError
from midspan.page_access import COOKIE, Access, Role
from midspan.page_guesses import WITHIN_S, Guesses
from midspan.pages import filled

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
    return HTMLResponse(filled("page_enter.html", wrong=wrong), 401)


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            more = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*message.get("headers", []), *more]}
        await send(message)

    return sent
