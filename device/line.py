"""The serial line: USB, a second USB port or a UART, asked before each byte so that nobody ever waits for it.

A write to the USB port that finds no room waits half a second and then forgets what it could not send; a read waits
for as many bytes as it was asked for. Both are fine for one byte that the line was ready for.
"""

import select

BURST = 32  # bytes at most in one turn of the loop: about 2 ms on the chip


class Line:
    """Bytes from `source` and to `sink`, two streams that can be polled, or one that is both."""

    def __init__(self, source, sink) -> None:
        self._source = source
        self._sink = sink
        self._byte = bytearray(1)
        self._readable, self._writable = select.poll(), select.poll()
        self._readable.register(source, select.POLLIN)
        self._writable.register(sink, select.POLLOUT)

    def read_into(self, buffer) -> int:
        """Put what has come into `buffer`; return how many bytes."""
        size = 0
        while size < len(buffer) and _now(self._readable, select.POLLIN) and self._source.readinto(self._byte):
            buffer[size] = self._byte[0]
            size += 1
        return size

    def write(self, buffer, start: int, end: int) -> int:
        """Send from buffer[start:end] what the line takes now; return how many bytes."""
        at = start
        end = min(end, start + BURST)
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
