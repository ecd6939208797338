"""The serial port of a scale."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

import serial

from midspan.errors import LinkError

READ_S = 0.05


class ScalePort:
    """An open port, 8 bits without parity, that no other program can open meanwhile.

    Raises LinkError when it cannot be opened, and from its methods when it goes away.

    >>> ScalePort("no-such-port", 9600)
    Traceback (most recent call last):
    midspan.errors.LinkError: no-such-port: no scale there (No such file or directory); check cable, name and rights
    """

    def __init__(self, port: str, baud: int, read_s: float = READ_S) -> None:
        self.name = port
        with self._in_words():
            self._serial = serial.Serial(port, baud, timeout=read_s, write_timeout=1.0, exclusive=True)

    def read(self) -> bytes:
        """Bytes that have come, waiting up to `read_s` for the first; empty when none did."""
        with self._in_words():
            first = bytes(self._serial.read(1))
            return first + bytes(self._serial.read(self._serial.in_waiting)) if first else first

    def write(self, data: bytes) -> None:
        """Send all the bytes."""
        with self._in_words():
            self._serial.write(data)

    def forget(self) -> None:
        """Drop what came before now."""
        with self._in_words():
            self._serial.reset_input_buffer()

    def __enter__(self) -> Self:
        """Itself; leaving the block closes the port."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port."""
        self._serial.close()

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:  # pyserial's own errors are OSErrors, some without a number
            why = os.strerror(error.errno) if error.errno else "it went away, or takes nothing"
            raise LinkError(f"{self.name}: no scale there ({why}); check cable, name and rights") from error
