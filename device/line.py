"""The serial line: USB, a second USB port or a UART, polled before each byte so that the loop never waits for it.

A write to a USB port without room waits half a second and then drops what it could not send; a read waits for as many
bytes as were asked for. Neither happens with a single byte that the line is ready for.

    line = Line(sys.stdin.buffer, sys.stdout.buffer)
    size = line.read_into(buffer)
    sent = line.write(buffer, 0, size)  # may be less
"""

import select

from micropython import const

BURST = const(32)  # bytes at most in one turn of the loop: about 2 ms on the chip


class Line:
    """Serial line from `source` and to `sink`, streams that can be polled; both may be the same."""

    def __init__(self, source, sink) -> None:
        self._source, self._sink = source, sink
        self._byte = bytearray(1)
        self._readable, self._writable = select.poll(), select.poll()
        self._readable.register(source, select.POLLIN)
        self._writable.register(sink, select.POLLOUT)

    def read_into(self, buffer) -> int:
        """Put the bytes that have arrived into `buffer`; return their number."""
        size = 0
        while size < len(buffer) and _now(self._readable, select.POLLIN) and self._source.readinto(self._byte):
            buffer[size] = self._byte[0]
            size += 1
        return size

    def write(self, buffer, start: int, end: int) -> int:
        """Send as much of buffer[start:end] as the line takes now; return the number of bytes."""
        at, end = start, min(end, start + BURST)
        while at < end and _now(self._writable, select.POLLOUT):
            self._byte[0] = buffer[at]
            if not self._sink.write(self._byte):
                break
            at += 1
        return at - start


def _now(poll, wanted: int) -> bool:
    for _, events in poll.ipoll(0):  # allocates nothing, unlike poll()
        return bool(events & wanted)
    return False
