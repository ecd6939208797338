"""Reaching a gauge by its name: on the port where it was, or wherever it has gone."""

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
    """A way to one gauge, which is opened anew after a cable was pulled; `port` is where it was found last.

    What was heard of the gauge is remembered from one line to the next, so that no frame of before is taken for news.
    `others` gives further ports to look at, `clock` is the gauge's.
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
        """The gauge on an open line. Raises LinkError, that of the port it was on, when it is nowhere."""
        with ExitStack() as stack:
            yield self._find(stack)

    def _find(self, stack: ExitStack) -> Gauge:
        first: LinkError | ProtocolError | None = None
        for port in dict.fromkeys((self.port, *self._others(self.port))):
            with ExitStack() as trying:
                try:
                    heard = self._heard.copy()  # of its own for each port: another gauge may be behind it
                    session = Session(succession=heard)
                    gauge = Gauge(trying.enter_context(open_line(port)), clock=self._clock, session=session)
                    found = gauge.identify().gauge
                    if found != self.name:
                        raise LinkError(f"{port}: the gauge there is {found!r}, not {self.name!r}; name its port")
                except (LinkError, ProtocolError) as error:
                    first = first or error
                    continue
                self.port, self._heard = port, heard
                stack.push(trying.pop_all())
                return gauge
        assert first is not None  # there is at least the port it was on
        raise first


def alike() -> Callable[[str], list[str]]:
    """Ports where a gauge may be that has left its own: those of the same USB device, as they are seen from now on.

    A port may change its name, the USB id and serial number of what is behind it stay; what is not on USB keeps its
    port.
    """
    known: dict[str, tuple[str, str]] = {}

    def others(port: str) -> list[str]:
        now = {one.port: (one.usb_id, one.serial_number) for one in ports() if one.usb_id}
        for name, identity in now.items():
            known.setdefault(name, identity)
        return [name for name, identity in now.items() if identity == known.get(port)]

    others("")
    return others
