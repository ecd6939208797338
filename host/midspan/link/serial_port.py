"""The serial port of a gauge: bytes out, bytes in, and plain words when the port does not do its part."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import serial
from serial.tools import list_ports

from midspan.base.errors import LinkError

BAUD = 115200  # a USB serial line ignores it
READ_S = 0.05
WRITE_S = 2.0
ADVICE = {
    errno.ENOENT: "there is no such port; `midspan ports` lists those there are",
    errno.EACCES: "no permission; on Linux add yourself to the group that owns it (often dialout), log in again",
    errno.EPERM: "no permission; on Linux add yourself to the group that owns it (often dialout), log in again",
    errno.EBUSY: "another program has it open; close that program",
    errno.EAGAIN: "another program has it open; close that program",
}
NO_PORT = "this is no serial port; `midspan ports` lists those there are"
GONE = "the gauge is gone; check cable and supply, then start again"


class Link(Protocol):
    """What a gauge needs of a line; `name` is how messages call it."""

    name: str

    def read(self) -> bytes:
        """Bytes that have come, waiting a short time for the first; empty when none did."""

    def write(self, data: bytes) -> None:
        """Send all the bytes."""


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port of this machine; `usb_id` is vendor:product in hex, empty when it is not on USB."""

    port: str
    usb_id: str
    serial_number: str
    description: str


def ports() -> list[PortInfo]:
    """The serial ports of this machine, by name. A port may change its name, its USB id and number stay."""
    return [
        PortInfo(
            port=found.device,
            usb_id="" if found.vid is None else f"{found.vid:04x}:{found.pid:04x}",
            serial_number=found.serial_number or "",
            description="" if found.description in (None, "n/a") else found.description,
        )
        for found in sorted(list_ports.comports(), key=lambda port: str(port.device))
    ]


USB = "usb:"  # before a USB id, a serial number, or the beginning of either


def find_port(name: str, present: Callable[[], list[PortInfo]] = ports) -> str:
    """The port that is meant by a name: itself, or for usb:... the one there now with that USB id or serial number.

    A port that comes back after a reset or a night may have another name; its serial number stays. Raises LinkError
    when none fits, or several do.

    >>> board = PortInfo("/dev/ttyACM1", "2e8a:0005", "e6614c775b", "")
    >>> find_port("usb:E6614", lambda: [board]), find_port("usb:2e8a:0005", lambda: [board]), find_port("COM3")
    ('/dev/ttyACM1', '/dev/ttyACM1', 'COM3')
    """
    if not name.startswith(USB):
        return name
    wanted = name.removeprefix(USB).lower()
    fitting = [
        port.port
        for port in present()
        if f"{port.usb_id}:{port.serial_number}".lower().startswith(wanted)
        or port.serial_number.lower().startswith(wanted)
    ]
    if len(fitting) != 1 or not wanted:
        why = (
            f"fits {len(fitting)} ports ({', '.join(fitting)}); give more of it" if fitting else "no such port is there"
        )
        raise LinkError(f"{name}: {why}; `midspan ports` lists USB ids and serial numbers")
    return fitting[0]


class SerialLink:
    """An open serial port that no other program can open meanwhile; `port` as `find_port` takes it.

    Raises LinkError, naming the port, when it is missing, busy, forbidden or no serial port, and from
    `read` and `write` when it goes away.

    >>> SerialLink("no-such-port")
    Traceback (most recent call last):
    midspan.base.errors.LinkError: no-such-port: there is no such port; `midspan ports` lists those there are
    """

    def __init__(self, port: str, read_s: float = READ_S) -> None:
        self.name = port
        with self._in_words(NO_PORT):
            self._serial = serial.Serial(find_port(port), BAUD, timeout=read_s, write_timeout=WRITE_S, exclusive=True)

    def read(self) -> bytes:
        """Bytes that have come, waiting up to `read_s` for the first; empty when none did."""
        with self._in_words(GONE):
            first = bytes(self._serial.read(1))
            return first + bytes(self._serial.read(self._serial.in_waiting)) if first else first

    def write(self, data: bytes) -> None:
        """Send all the bytes."""
        with self._in_words(GONE):
            self._serial.write(data)

    def close(self) -> None:
        """Give the port back."""
        self._serial.close()

    def __enter__(self) -> Self:
        """Itself; leaving the block closes the port."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port."""
        self.close()

    @contextmanager
    def _in_words(self, otherwise: str) -> Iterator[None]:
        try:
            yield
        except serial.SerialTimeoutException as error:
            raise LinkError(f"{self.name}: it takes no more bytes; reset the device behind it") from error
        except OSError as error:  # pyserial's own errors are OSErrors, some without a number
            raise LinkError(f"{self.name}: {ADVICE.get(error.errno or 0, otherwise)}") from error
