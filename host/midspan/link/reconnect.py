"""Find a gauge by its name: on the port where it was, or wherever it has gone."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager

from midspan.base.errors import LinkError, ProtocolError
from midspan.link.gauge import Gauge, begun
from midspan.link.open_line import open_line
from midspan.link.serial_port import ports
from midspan.link.session import Session


class Reconnector:
    """A way to one gauge that can be opened again after its cable was pulled.

    What was heard of the gauge is remembered from one line to the next, so that no earlier frame is taken for news.

    Parameters
    ----------
    name : str
        Name of the gauge, as its Identify has it.
    port : str
        Port where it was last; kept up to date as an attribute.
    others : Callable[[str], Iterable[str]] | None
        Returns further ports to try for a given port; None for those of the same USB device.
    clock : Callable[[], float]
        Monotonic seconds, for the gauge's time limits.
    """

    def __init__(
        self,
        name: str,
        port: str,
        others: Callable[[str], Iterable[str]] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name, self.port = name, port
        self._others = alike() if others is None else others
        self._clock = clock
        self._heard = begun()

    @contextmanager
    def opened(self) -> Iterator[Gauge]:
        """Open the line of the gauge until the block ends.

        Yields
        ------
        Gauge
            The gauge on an open line.

        Raises
        ------
        LinkError
            The gauge is on none of the ports; the message is that of the port it was on.
        ProtocolError
            What answers on the port it was on is not a gauge of this version, and the gauge is on no other port.
        """
        with ExitStack() as stack:
            yield self._find(stack)

    def _find(self, stack: ExitStack) -> Gauge:
        """Return the gauge on the first port where it answers; raise the first port's error if there is none."""
        first: LinkError | ProtocolError | None = None
        for port in dict.fromkeys((self.port, *self._others(self.port))):
            with ExitStack() as trying:
                try:
                    heard = self._heard.copy()  # for this port alone: another gauge may be behind it
                    session = Session(succession=heard)
                    gauge = Gauge(trying.enter_context(open_line(port)), clock=self._clock, session=session)
                    found = gauge.identify().gauge
                    if found != self.name:
                        raise LinkError(
                            f"{port}: the gauge on this port is {found!r}, not {self.name!r}; name the right port",
                            code="other_gauge",
                        )
                except (LinkError, ProtocolError) as error:
                    first = first or error
                    continue
                self.port, self._heard = port, heard
                stack.push(trying.pop_all())
                return gauge
        assert first is not None  # there is at least the port it was on
        raise first


def alike() -> Callable[[str], list[str]]:
    """Return a function that lists the ports of the USB device seen behind a port.

    A port may change its name; USB id and serial number of the device stay.

    Returns
    -------
    Callable[[str], list[str]]
        Takes a port; its list is empty for a port without a USB device.
    """
    known: dict[str, tuple[str, str]] = {}

    def others(port: str) -> list[str]:
        """Return the ports of the USB device that was seen behind a port."""
        now = {info.port: (info.usb_id, info.serial_number) for info in ports() if info.usb_id}
        for name, identity in now.items():
            known.setdefault(name, identity)
        return [name for name, identity in now.items() if identity == known.get(port)]

    others("")
    return others
