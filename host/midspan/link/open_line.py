"""Open the line of a gauge, traced or not."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from midspan.base.errors import MidspanError
from midspan.link.loopback import PREFIX, LoopbackLink
from midspan.link.serial_port import READ_S, Link, SerialLink
from midspan.link.trace_file import FROM_GAUGE, TO_GAUGE, LineTrace, TraceFile

LOG = logging.getLogger(__name__)
# Set for a whole command, like the log, so that every line that it opens is traced.
_trace: ContextVar[TraceFile | None] = ContextVar("trace", default=None)


class TracedLink:
    """A line that writes what passes over it, in both directions, to a trace.

    Parameters
    ----------
    link : Link
        Line beneath.
    trace : LineTrace
        Where to write.
    """

    def __init__(self, link: Link, trace: LineTrace) -> None:
        self.name = link.name
        self._link, self._trace = link, trace

    def read(self) -> bytes:
        """Return the bytes that have come, as the line beneath reads them.

        Returns
        -------
        bytes
            Empty if none came in time.
        """
        data = self._link.read()
        self._trace.passed(FROM_GAUGE, data)
        return data

    def write(self, data: bytes) -> None:
        """Send all the bytes; they are traced once the line beneath has taken them.

        Parameters
        ----------
        data : bytes
            What to send.
        """
        self._link.write(data)
        self._trace.passed(TO_GAUGE, data)


@contextmanager
def tracing(trace: TraceFile) -> Iterator[None]:
    """Trace every line that is opened while the block lasts, then close the trace.

    Parameters
    ----------
    trace : TraceFile
        Trace to write.

    Yields
    ------
    None
        Nothing.
    """
    before = _trace.set(trace)
    try:
        yield
    finally:
        _trace.reset(before)
        trace.close()


@contextmanager
def open_line(port: str, read_s: float = READ_S) -> Iterator[Link]:
    """Open the serial port of a gauge until the block ends.

    Parameters
    ----------
    port : str
        Name of the port, or usb:... as `find_port` takes it; of a simulated gauge also loopback:...
    read_s : float
        How long a read waits for the first byte, s.

    Yields
    ------
    Link
        The open line, for `Gauge`.

    Raises
    ------
    LinkError
        The port is missing, busy, forbidden or not a serial port.
    """
    trace = _trace.get()
    try:
        with LoopbackLink(port, read_s) if port.startswith(PREFIX) else SerialLink(port, read_s) as link:
            LOG.info("opened %s", port)
            line = None if trace is None else trace.opened(port)
            yield link if line is None else TracedLink(link, line)
    except MidspanError as error:
        LOG.warning("line %s: %s", port, error)
        raise
    finally:
        LOG.info("closed %s", port)
