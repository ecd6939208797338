"""A connection to the page that has to come to the point: a request must be whole in time, and connections are counted.

What serves the page waits for ever for the rest of a request. Some hundred of such halves, from one telephone gone mad
or from somebody who means harm, would use up all the files that the program may have open.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_S = 10.0  # from a connection, or from the first byte of another request on it, to the last byte
EACH = 60  # connections of one address; a browser has about seven for each tab
ALL = 240  # of all together: far below the files that a program may have open
UNFINISHED = (h11.IDLE, h11.SEND_BODY)


class Guests:
    """The connections there are."""

    def __init__(self) -> None:
        self._there: list[Guest] = []

    def admits(self, guest: Guest) -> bool:
        """Note a connection and return true, or false when its address has too many, or nobody can make room."""
        self._there = [one for one in self._there if not one.transport.is_closing()]
        if sum(one.address == guest.address for one in self._there) >= EACH:
            return False
        if len(self._there) >= ALL:
            waiting = next((one for one in self._there if one.is_waited_for), None)
            if waiting is None:
                return False
            self._there.remove(waiting)  # the one that has let others wait the longest
            waiting.transport.abort()
        self._there.append(guest)
        return True


class Guest(H11Protocol):
    """uvicorn's connection with a time limit; `is_waited_for` while a request on it is not whole."""

    guests = Guests()

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._limit: asyncio.TimerHandle | None = None

    @property
    def address(self) -> str:
        """Of the computer at the other end."""
        return self.client[0] if self.client else ""

    @property
    def is_waited_for(self) -> bool:
        """Whether the other end has still to say something."""
        return self._limit is not None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A connection: let it in, or cut it off."""
        super().connection_made(transport)
        if self.guests.admits(self):
            self._wait()
        else:
            transport.abort()

    def data_received(self, data: bytes) -> None:
        """Something was said: is it all?"""
        super().data_received(data)
        if self.conn.their_state not in UNFINISHED:
            self._wait_no_more()
        elif self._limit is None and not self.transport.is_closing():
            self._wait()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """A request for a socket is whole; what comes over it has rules of its own."""
        self._wait_no_more()
        super().handle_websocket_upgrade(event)

    def connection_lost(self, exc: Exception | None) -> None:
        """It is over."""
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._limit = self.loop.call_later(REQUEST_S, self.transport.abort)

    def _wait_no_more(self) -> None:
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None
