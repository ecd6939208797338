"""Standard input and output as the rehearsal's serial line."""

import os
import select
import sys
import time

CHUNK = 256
MICROPYTHON = sys.implementation.name == "micropython"


class Pipe:
    """Standard input and output as a serial line that is polled before it is used, so that neither end ever blocks.

    A terminal or pipe that is ready takes CHUNK bytes unless tens of kilobytes in it are unread, which a device that
    falls silent without a host does not send.
    """

    def __init__(self) -> None:
        self.closed = False
        self._input, self._output = select.poll(), select.poll()
        self._input.register(sys.stdin, select.POLLIN)
        self._output.register(sys.stdout, select.POLLOUT)

    def wait(self, us: int) -> int:
        """Wait a number of microseconds, or until bytes come; return the time that passed, at most `us`."""
        begun_ns = time.time_ns()
        self._input.poll((us + 999) // 1000)
        return min(us, (time.time_ns() - begun_ns) // 1000)

    def read_into(self, buffer) -> int:
        """Put the bytes that have arrived into `buffer`; return their number."""
        size = 0
        while size < len(buffer) and not self.closed and self._input.poll(0):
            byte = self._read_byte()
            if byte:
                buffer[size] = byte[0]
                size += 1
            else:
                self.closed = True
        return size

    def write(self, buffer, start: int, end: int) -> int:
        """Send a piece of buffer[start:end]; return the number of bytes, 0 if the line is full."""
        if self.closed or not self._output.poll(0):
            return 0
        piece = memoryview(buffer)[start : min(end, start + CHUNK)]
        try:
            return sys.stdout.buffer.write(piece) if MICROPYTHON else os.write(1, piece)
        except OSError:  # the other end of a pty was closed
            self.closed = True
            return 0

    def _read_byte(self) -> bytes:
        try:  # MicroPython reads as many bytes as asked for, however long that takes: so only one
            return sys.stdin.buffer.read(1) if MICROPYTHON else os.read(0, 1)
        except OSError:
            return b""
