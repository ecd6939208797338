"""Serve the page: a view for each address, with changes pushed to every open browser."""

from __future__ import annotations

import time
from collections.abc import Callable
from html import escape
from typing import Annotated

from nicegui import app, ui
from pydantic import Field
from starlette.responses import PlainTextResponse, Response

from midspan.base.clock import now_ms
from midspan.base.errors import MidspanError, StoreError
from midspan.store.lookup import HIGHEST_SHAFT
from midspan.web.auth import Access, Door, Role, role_in
from midspan.web.connection_limits import Guest
from midspan.web.follow import Clock, Follower
from midspan.web.template import filled
from midspan.web.view_night import is_running
from midspan.web.views import Views

EVERY_S = 0.1
HISTORY = 20  # messages kept for a browser that was away a moment; each may be some tens of kB for each browser
Number = Annotated[int, Field(ge=0, le=HIGHEST_SHAFT)]  # of a night, shaft or set; SQLite fails on far larger numbers
PLACES = (("/", "Now"), ("/nights", "Runs"), ("/sets", "Sets"))
ICON = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><path d="M2 22Q16 6 30 22" fill="none" stroke="#5a6f63" stroke-width="4"/></svg>'  # noqa: E501


def serve(follower: Follower, access: Access, host: str) -> None:
    """Serve the page of a store until the program is ended.

    Parameters
    ----------
    follower : Follower
        Store to show.
    access : Access
        Who may see the page and who may give orders.
    host : str
        Address of this computer to listen on.

    Raises
    ------
    StoreError
        A person asked for the end of a night that has ended; the page answers with the message.
    """
    views = Views(follower, Clock(now_ms))

    def stop(night: int) -> None:
        """Ask for the end of a night that is still running."""
        if not is_running(views.night(night)):
            raise StoreError(f"run {night} has already ended")
        follower.ask_for_an_end(night, views.now.now_ms())

    app.add_middleware(Door, access=access, stop=stop, now_s=time.monotonic)
    _add_views(views)
    ui.run(
        host=host, port=access.port, title="Midspan", favicon=ICON, dark=None, reload=False, show=False,
        show_welcome_message=False, tailwind=False, binding_refresh_interval=None, reconnect_timeout=10.0,
        message_history_length=HISTORY, http=Guest,
        proxy_headers=False,  # with them a guesser could claim another address each time
    )  # fmt: skip


def _add_views(views: Views) -> None:
    """Register the view of each address."""
    ui.page("/")(lambda: _live(views, None))

    @ui.page("/night/{number}")
    def night(number: Number) -> None:
        """Show a night by its number."""
        _live(views, number)

    @ui.page("/night/{number}/shafts")
    def shafts(number: Number, from_: int = 0) -> None:
        """List the shafts of a night."""
        _still(lambda: views.shafts(number, from_))

    @ui.page("/nights")
    def nights() -> None:
        """List all nights."""
        _still(views.nights, "/nights")

    @ui.page("/shaft/{number}")
    def shaft(number: Number) -> None:
        """Show a shaft."""
        _still(lambda: views.shaft(number))

    @ui.page("/find")
    def find(which: str = "") -> None:
        """Show the shaft that a search means."""
        _found(views, which[:200].strip())

    @ui.page("/sets")
    def sets() -> None:
        """List all matched sets."""
        _still(views.sets, "/sets")

    @ui.page("/set/{number}")
    def matched_set(number: Number) -> None:
        """Show a matched set."""
        _still(lambda: views.set(number))

    @app.get("/shaft/{number}/readings.csv")
    def readings(number: Number) -> Response:
        """Return the raw readings of a shaft as a CSV file."""
        text = views.csv(number)
        if text is None:
            return PlainTextResponse("no raw readings of this shaft are here\n", 404)
        name = f"shaft-{number}-readings.csv"
        return Response(text, media_type="text/csv", headers={"content-disposition": f'attachment; filename="{name}"'})


def _frame(here: str) -> None:
    """Add style, script and navigation to a page."""
    ui.add_head_html(f"<style>{filled('page.css')}</style><script>{filled('page.js')}</script>")
    links = "".join(f'<a href="{to}"{" aria-current=page" if to == here else ""}>{words}</a>' for to, words in PLACES)
    search = (
        '<form action="/find" role="search"><label for="which">Shaft</label>'
        '<input id="which" name="which" autocomplete="off"><button>Show</button></form>'
        '<button id="theme" type="button">Dark mode</button>'
    )
    ui.html(f'<a class="skip" href="#main">Skip to content</a>{links}{search}', sanitize=False, tag="nav")


def _still(make: Callable[[], str], here: str = "") -> None:
    """Add a page that does not change."""
    _frame(here)
    ui.html(_made(make), sanitize=False, tag="main").classes("view").props("id=main")


def _made(make: Callable[[], str]) -> str:
    """Return the HTML of a view, or its error as HTML."""
    try:
        return make()
    except MidspanError as error:
        return f'<p class="warn">{escape(str(error))}</p>'


def _found(views: Views, which: str) -> None:
    """Show the shaft that is meant, or the list of shafts that may be."""
    number, html = views.which(which)
    if number is not None:
        ui.navigate.to(f"/shaft/{number}")
    _still(lambda: html)


def _live(views: Views, number: int | None) -> None:
    """Add a page that follows a night; the newest for None."""
    _frame("/" if number is None else "")
    role = role_in(ui.context.client.request.scope)
    with ui.element("main").classes("view").props("id=main"):
        stop = ui.html("", sanitize=False).classes("stop")
        doing = ui.html("", sanitize=False).classes("grid")
        rest = ui.html("", sanitize=False).classes("flow")

    def refresh() -> None:
        """Show what has changed since the last call."""
        try:
            record = views.night(number)
            now, night = views.live(record)
            button = _stop_form(record.night.id) if role is Role.COMMAND and is_running(record) else ""
        except MidspanError as error:
            now, night, button = f'<p class="warn">{escape(str(error))}</p>', rest.content, ""
        for element, html in ((stop, button), (doing, now), (rest, night)):
            if element.content != html:
                element.set_content(html)

    refresh()
    ui.timer(EVERY_S, refresh)


def _stop_form(night: int) -> str:
    """Return the button that ends a night."""
    return (
        f'<form method="post" action="/stop"><input type="hidden" name="night" value="{night}">'
        '<button id="stop">Stop after this shaft</button></form>'
    )
