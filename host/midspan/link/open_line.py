"""Opening the line of a gauge, whether or not what goes over it is traced."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from midspan.base.errors import MidspanError
from midspan.link.serial_port import READ_S, Link, SerialLink
from midspan.link.trace_file import FROM_GAUGE, TO_GAUGE, LineTrace, TraceFile

LOG = logging.getLogger(__name__)
# Set for a whole command, as the log is: whatever opens a line in it shall be seen.
_trace: ContextVar[TraceFile | None] = ContextVar("trace", default=None)


class TracedLink:
    """A line that writes down what goes over it, in both directions."""

    def __init__(self, link: Link, trace: LineTrace) -> None:
        self.name = link.name
        self._link, self._trace = link, trace

    def read(self) -> bytes:
        """Bytes that have come, as the line beneath reads them."""
        data = self._link.read()
        self._trace.passed(FROM_GAUGE, data)
        return data

    def write(self, data: bytes) -> None:
        """Send all the bytes; they count as sent when the line beneath took them."""
        self._link.write(data)
        self._trace.passed(TO_GAUGE, data)


@contextmanager
def tracing(trace: TraceFile) -> Iterator[None]:
    """Trace every line that is opened while the block lasts."""
    before = _trace.set(trace)
    try:
        yield
    finally:
        _trace.reset(before)
        trace.close()


@contextmanager
def open_line(port: str, read_s: float = READ_S) -> Iterator[Link]:
    """Open the serial port of a gauge, as SerialLink does, until the block is left."""
    trace = _trace.get()
    try:
        with SerialLink(port, read_s) as link:
            LOG.info("opened %s", port)
            line = None if trace is None else trace.opened(port)
            yield link if line is None else TracedLink(link, line)
    except MidspanError as error:
        LOG.warning("line %s: %s", port, error)
        raise
    finally:
        LOG.info("closed %s", port)
