"""Limit connections to the page: a request must be complete in time, and connections are counted.

The server underneath waits for ever for the rest of a request. Some hundred unfinished requests, from a faulty
telephone or an attacker, would use up all the files that the program may have open.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_S = 10.0  # from the connection, or from the first byte of a further request on it, to the last byte
EACH = 60  # connections from an address; a browser has about seven for each tab
ALL = 240  # connections altogether: far below the files that a program may have open
UNFINISHED = (h11.IDLE, h11.SEND_BODY)


class Guests:
    """Connections that are open."""

    def __init__(self) -> None:
        self._there: list[Guest] = []

    def admits(self, guest: Guest) -> bool:
        """Count a connection and return True, or return False if it must be refused.

        A new connection may take the place of the one that has kept others waiting longest.

        Parameters
        ----------
        guest : Guest
            New connection.

        Returns
        -------
        bool
            False if its address has too many connections, or if all are being answered.
        """
        self._there = [other for other in self._there if not other.transport.is_closing()]
        if sum(other.address == guest.address for other in self._there) >= EACH:
            return False
        if len(self._there) >= ALL:
            waiting = next((other for other in self._there if other.is_waited_for), None)
            if waiting is None:
                return False
            self._there.remove(waiting)  # the first in the list has been waited for longest
            waiting.transport.abort()
        self._there.append(guest)
        return True


class Guest(H11Protocol):
    """A connection of uvicorn with a time limit.

    Parameters
    ----------
    *arguments : Any
        As H11Protocol takes them.
    **named : Any
        As H11Protocol takes them.
    """

    guests = Guests()

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._limit: asyncio.TimerHandle | None = None

    @property
    def address(self) -> str:
        """Address of the computer at the other end; empty if it is not known."""
        return self.client[0] if self.client else ""

    @property
    def is_waited_for(self) -> bool:
        """True while a request on this connection is not complete."""
        return self._limit is not None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let a new connection in, or cut it off.

        Parameters
        ----------
        transport : asyncio.Transport
            The connection.
        """
        super().connection_made(transport)
        if self.guests.admits(self):
            self._wait()
        else:
            transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take bytes, and stop waiting once the request is complete.

        Parameters
        ----------
        data : bytes
            What came.
        """
        super().data_received(data)
        if self.conn.their_state not in UNFINISHED:
            self._wait_no_more()
        elif self._limit is None and not self.transport.is_closing():
            self._wait()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Stop waiting: a request for a socket is complete, and the socket has rules of its own.

        Parameters
        ----------
        event : h11.Request
            The request.
        """
        self._wait_no_more()
        super().handle_websocket_upgrade(event)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting: the connection is closed.

        Parameters
        ----------
        exc : Exception | None
            Reason, None if it was closed in order.
        """
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        """Begin to wait for a complete request."""
        self._limit = self.loop.call_later(REQUEST_S, self.transport.abort)

    def _wait_no_more(self) -> None:
        """Stop waiting."""
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None
