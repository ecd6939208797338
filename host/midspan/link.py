"""The serial port of a gauge: bytes out, bytes in, and plain words when the port does not do its part."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import serial
from serial.tools import list_ports

from midspan.errors import LinkError

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


class SerialLink:
    """An open serial port that no other program can open meanwhile.

    Raises LinkError, naming the port, when it is missing, busy, forbidden or no serial port, and from
    `read` and `write` when it goes away.

    >>> SerialLink("no-such-port")
    Traceback (most recent call last):
    midspan.errors.LinkError: no-such-port: there is no such port; `midspan ports` lists those there are
    """

    def __init__(self, port: str, read_s: float = READ_S) -> None:
        self.name = port
        with self._in_words(NO_PORT):
            self._serial = serial.Serial(port, BAUD, timeout=read_s, write_timeout=WRITE_S, exclusive=True)

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
