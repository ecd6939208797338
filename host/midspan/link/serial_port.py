"""The serial port of a gauge: bytes in, bytes out, and plain words when the port fails."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple, Protocol, Self

import serial
from serial.tools import list_ports

from midspan.base.errors import LinkError

BAUD = 115200  # a USB serial line ignores it
READ_S = 0.05
WRITE_S = 2.0
USB = "usb:"  # before a USB id, a serial number, or the beginning of either


class PortFailure(NamedTuple):
    """A way in which a port fails, as a LinkError.

    Parameters
    ----------
    code : str
        Code of the error.
    words : str
        Message after the name of the port.
    """

    code: str
    words: str


BUSY = PortFailure("busy", "another program has it open; close that program")
NO_PERMISSION = PortFailure(
    "no_permission", "no permission; on Linux add yourself to the group that owns it (often dialout), log in again"
)
NOT_SERIAL = PortFailure("not_serial", "not a serial port; list the ports with: midspan ports")
GONE = PortFailure("gone", "the gauge is gone; check cable and supply, then start again")
FAILURES = {
    errno.ENOENT: PortFailure("no_such_port", "no such port; list the ports with: midspan ports"),
    errno.EACCES: NO_PERMISSION,
    errno.EPERM: NO_PERMISSION,
    errno.EBUSY: BUSY,
    errno.EAGAIN: BUSY,
}


class Link(Protocol):
    """An open line to a gauge, whatever carries the bytes."""

    @property
    def name(self) -> str:
        """Name of the line in messages."""

    def read(self) -> bytes:
        """Return the bytes that have come, after a short wait for the first; empty if none came.

        Returns
        -------
        bytes
            At most what has come.
        """

    def write(self, data: bytes) -> None:
        """Send all the bytes.

        Parameters
        ----------
        data : bytes
            What to send.
        """


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port of this machine.

    Parameters
    ----------
    port : str
        Its name, to open it by.
    usb_id : str
        Vendor and product as hex, vendor:product; empty if it is not on USB.
    serial_number : str
        Serial number of the USB device; empty if it has none.
    description : str
        What the system calls it; empty if it says nothing.
    """

    port: str
    usb_id: str
    serial_number: str
    description: str


def ports() -> list[PortInfo]:
    """Return the serial ports of this machine, sorted by name.

    A port may change its name; its USB id and serial number stay.

    Returns
    -------
    list[PortInfo]
        All ports; empty if there are none.
    """
    return [
        PortInfo(
            port=found.device,
            usb_id="" if found.vid is None else f"{found.vid:04x}:{found.pid:04x}",
            serial_number=found.serial_number or "",
            description="" if found.description in (None, "n/a") else found.description,
        )
        for found in sorted(list_ports.comports(), key=lambda port: str(port.device))
    ]


def find_port(name: str, present: Callable[[], list[PortInfo]] = ports) -> str:
    """Return the name of the port that is meant.

    A port that comes back after a reset may have another name; its serial number stays.

    Parameters
    ----------
    name : str
        Name of a port, or usb: and a USB id, a serial number, or the beginning of either.
    present : Callable[[], list[PortInfo]]
        Lists the ports there are.

    Returns
    -------
    str
        Name of the port; a name without usb: is returned unchanged.

    Raises
    ------
    LinkError
        No port fits, or more than one does.

    Examples
    --------
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
        why = f"fits {len(fitting)} ports ({', '.join(fitting)}); give more of it" if fitting else "no such port"
        raise LinkError(
            f"{name}: {why}; list USB ids and serial numbers with: midspan ports",
            code="ambiguous_port" if fitting else "no_such_port",
        )
    return fitting[0]


class SerialLink:
    """An open serial port that no other program can open meanwhile.

    Parameters
    ----------
    port : str
        Name of the port, as `find_port` takes it.
    read_s : float
        How long a read waits for the first byte, s.

    Raises
    ------
    LinkError
        The port is missing, busy, forbidden or not a serial port; from `read` and `write`, it has gone.

    Examples
    --------
    >>> SerialLink("no-such-port")
    Traceback (most recent call last):
    midspan.base.errors.LinkError: no-such-port: no such port; list the ports with: midspan ports
    """

    def __init__(self, port: str, read_s: float = READ_S) -> None:
        self.name = port
        with self._in_words(NOT_SERIAL):
            self._serial = serial.Serial(find_port(port), BAUD, timeout=read_s, write_timeout=WRITE_S, exclusive=True)

    def read(self) -> bytes:
        """Return the bytes that have come, after a wait of at most `read_s` for the first.

        Returns
        -------
        bytes
            Empty if none came in time.
        """
        with self._in_words(GONE):
            first = bytes(self._serial.read(1))
            return first + bytes(self._serial.read(self._serial.in_waiting)) if first else first

    def write(self, data: bytes) -> None:
        """Send all the bytes.

        Parameters
        ----------
        data : bytes
            What to send.
        """
        with self._in_words(GONE):
            self._serial.write(data)

    def close(self) -> None:
        """Give the port back."""
        self._serial.close()

    def __enter__(self) -> Self:
        """Return this port; it is closed when the block ends."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port."""
        self.close()

    @contextmanager
    def _in_words(self, otherwise: PortFailure) -> Iterator[None]:
        """Turn errors of the system into a one-line LinkError that names the port."""
        try:
            yield
        except serial.SerialTimeoutException as error:
            raise LinkError(f"{self.name}: it does not accept data; reset the device on it", code="stuck") from error
        except OSError as error:  # pyserial's own errors are OSErrors, some without a number
            failure = FAILURES.get(error.errno or 0, otherwise)
            raise LinkError(f"{self.name}: {failure.words}", code=failure.code) from error
