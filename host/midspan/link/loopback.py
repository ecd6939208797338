"""A line to a simulated gauge over a loopback socket, for systems without pseudo-terminals.

The gauge calls the host at a port of this computer and says a random word that only the host that started it knows.
Any other caller is turned away, and once the gauge has called, the port is closed. The line has a name like a serial
port; while it is offered, this program opens and closes it by that name as often as it wants.
"""

from __future__ import annotations

import errno
import hmac
import secrets
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import TracebackType
from typing import Self

from midspan.base.errors import LinkError
from midspan.link.serial_port import BUSY, FAILURES, GONE, READ_S, WRITE_S

ONLY_HERE = "127.0.0.1"
PREFIX = "loopback:"  # before the number of the port, in the name of a line
WORD_BYTES = 16
CALLS_WITHIN_S = 30.0  # a slow computer compiles the device code first
LOOK_S = 0.1
HEAR_S = 1.0
MOST_BYTES = 4096


class LoopbackDoor:
    """A port of this computer at which one simulated gauge is awaited; closed when its `with` block ends.

    Attributes
    ----------
    port : int
        Number of the port.
    word : str
        What the gauge has to say first.
    """

    def __init__(self) -> None:
        self.word = secrets.token_hex(WORD_BYTES)
        self._listening = socket.create_server((ONLY_HERE, 0))
        self._listening.settimeout(LOOK_S)
        self.port: int = self._listening.getsockname()[1]

    def __enter__(self) -> Self:
        """Return this door."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port; what has called stays connected."""
        self._listening.close()

    def gauge(self, is_running: Callable[[], bool]) -> socket.socket:
        """Return the socket of the gauge once it has called and said the word.

        Parameters
        ----------
        is_running : Callable[[], bool]
            Tells if the process of the gauge still runs.

        Returns
        -------
        socket.socket
            The line; whoever takes it closes it.

        Raises
        ------
        LinkError
            The gauge has ended or does not call.
        """
        for _ in range(round(CALLS_WITHIN_S / LOOK_S)):
            with suppress(TimeoutError):
                caller, _address = self._listening.accept()
                if self._says_the_word(caller):
                    caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    return caller
                caller.close()
            if not is_running():
                break
        raise LinkError(
            f"simulated gauge on {PREFIX}{self.port}: it does not call; start it again", code="does_not_call"
        )

    def _says_the_word(self, caller: socket.socket) -> bool:
        """Return True if a caller begins with the word."""
        caller.settimeout(HEAR_S)
        heard = b""
        with suppress(OSError):
            while len(heard) < len(self.word) and (more := caller.recv(len(self.word) - len(heard))):
                heard += more
        return hmac.compare_digest(heard, self.word.encode())


class LoopbackLink:
    """An open line over a socket, for one user at a time.

    Parameters
    ----------
    name : str
        Name of the line.
    read_s : float
        How long a read waits for the first byte, s.

    Raises
    ------
    LinkError
        This program offers no line of this name, or it is open; from `read` and `write`, the gauge has gone.

    Examples
    --------
    >>> LoopbackLink("loopback:4711")
    Traceback (most recent call last):
    midspan.base.errors.LinkError: loopback:4711: no such port; list the ports with: midspan ports
    """

    def __init__(self, name: str, read_s: float = READ_S) -> None:
        self.name = name
        line = _offered.get(name)
        if line is None:
            failure = _NO_SUCH_PORT
            raise LinkError(f"{name}: {failure.words}", code=failure.code)
        if not line.in_use.acquire(blocking=False):
            raise LinkError(f"{name}: {BUSY.words}", code=BUSY.code)
        self._in_use, self._socket, self._read_s = line.in_use, line.connection, read_s
        self._forget_what_came()

    def _forget_what_came(self) -> None:
        """Throw away what came while nobody had the line open, as a serial port does."""
        self._socket.settimeout(0)
        with suppress(OSError):  # nothing more, or the gauge has gone: the first read says so
            while self._socket.recv(MOST_BYTES):
                pass

    def read(self) -> bytes:
        """Return the bytes that have come, after a wait of at most `read_s` for the first.

        Returns
        -------
        bytes
            Empty if none came in time.

        Raises
        ------
        LinkError
            The gauge has gone.
        """
        self._socket.settimeout(self._read_s)
        try:
            data = self._socket.recv(MOST_BYTES)
        except (TimeoutError, BlockingIOError):
            return b""
        except OSError as error:
            raise LinkError(f"{self.name}: {GONE.words}", code=GONE.code) from error
        if not data:
            raise LinkError(f"{self.name}: {GONE.words}", code=GONE.code)
        return data

    def write(self, data: bytes) -> None:
        """Send all the bytes.

        Parameters
        ----------
        data : bytes
            What to send.

        Raises
        ------
        LinkError
            The gauge has gone, or takes nothing.
        """
        self._socket.settimeout(WRITE_S)
        try:
            self._socket.sendall(data)
        except TimeoutError as error:
            raise LinkError(
                f"{self.name}: it does not accept data; start the simulated gauge again", code="stuck"
            ) from error
        except OSError as error:
            raise LinkError(f"{self.name}: {GONE.words}", code=GONE.code) from error

    def close(self) -> None:
        """Leave the line to the next user; the gauge notices nothing."""
        self._in_use.release()

    def __enter__(self) -> Self:
        """Return this line; it is closed when the block ends."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the line."""
        self.close()


class _OfferedLine:
    """A connected socket, and who has it open."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.in_use = threading.Lock()


_NO_SUCH_PORT = FAILURES[errno.ENOENT]
_offered: dict[str, _OfferedLine] = {}  # of this program, like the ports of a computer: anybody opens them by name


@contextmanager
def offered(connection: socket.socket, port: int) -> Iterator[str]:
    """Offer a connected socket as a line until the block ends, then close it.

    Parameters
    ----------
    connection : socket.socket
        The socket.
    port : int
        Number of the port where it was accepted.

    Yields
    ------
    str
        Name to open the line by.
    """
    name = f"{PREFIX}{port}"
    _offered[name] = _OfferedLine(connection)
    try:
        yield name
    finally:
        del _offered[name]
        connection.close()
