"""A socket to a host on the same computer as the rehearsal's serial line, for systems without pseudo-terminals."""

import select
import socket
import sys
import time

HOST = "127.0.0.1"
CHUNK = 256
TCP, NO_DELAY = 6, 1  # the same on every system; MicroPython has no names for them
MICROPYTHON = sys.implementation.name == "micropython"


class Loopback:
    """The device's end of a socket, polled before it is used, so that neither end ever blocks.

    It calls the host, which waits at `port`, and says the word by which the host knows it from any other caller.
    """

    def __init__(self, port: int, word: str) -> None:
        self.closed = False
        self._socket = socket.socket()
        self._socket.connect(socket.getaddrinfo(HOST, port)[0][-1])
        self._socket.setsockopt(TCP, NO_DELAY, 1)
        self._socket.send(word.encode())
        self._socket.setblocking(False)
        if MICROPYTHON:
            self._input, self._output = select.poll(), select.poll()
            self._input.register(self._socket, select.POLLIN)
            self._output.register(self._socket, select.POLLOUT)

    def wait(self, us: int) -> int:
        """Wait a number of microseconds, or until bytes come; return the time that passed, at most `us`."""
        begun_ns = time.time_ns()
        self._comes((us + 999) // 1000)
        return min(us, (time.time_ns() - begun_ns) // 1000)

    def read_into(self, buffer) -> int:
        """Put the bytes that have arrived into `buffer`; return their number."""
        if self.closed or not self._comes(0):
            return 0
        try:
            found = self._socket.recv(len(buffer))
        except OSError:
            found = b""
        self.closed = not found
        buffer[: len(found)] = found
        return len(found)

    def write(self, buffer, start: int, end: int) -> int:
        """Send a piece of buffer[start:end]; return the number of bytes, 0 if the line is full."""
        if self.closed or not self._takes():
            return 0
        try:
            return self._socket.send(memoryview(buffer)[start : min(end, start + CHUNK)])
        except OSError:  # the host has gone
            self.closed = True
            return 0

    def _comes(self, ms: int) -> bool:
        """Wait for bytes, at most a number of milliseconds; return True if there are some, or the line is closed."""
        if MICROPYTHON:
            return bool(self._input.poll(ms))
        return bool(select.select([self._socket], [], [], ms / 1000)[0])  # type: ignore[arg-type]  # CPython takes parts

    def _takes(self) -> bool:
        """Return True if the line takes bytes."""
        if MICROPYTHON:
            return bool(self._output.poll(0))
        return bool(select.select([], [self._socket], [], 0)[1])
