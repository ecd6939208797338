"""Write what passes over a line in lines that people read, and read them back to the same bytes.

    midspan trace 1
        0.000 1 = opened «COM3» 2026-11-30T17:33:17.123Z
        0.412 1 > 31: 0003 020109...
              . frame 7: Greet protocol_major 1, protocol_minor 3, fingerprint 5c0d...
       12.071 1 < 24: 0b03...
              . no frame: checksum is wrong in a frame of 24 bytes

A line of bytes has the milliseconds since the trace began (monotonic), the number of the open line, > for bytes to the
gauge or < for bytes from it, their number, and all of them in hex. Below it the frames are explained for people, as in
lines with =. Text from outside is in quotes, «so».
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, TextIO

from midspan.base.errors import FrameError, OutputError, ProtocolError, TraceError
from midspan.base.files import check_ordinary, reading, writing
from midspan.base.log_file import quoted
from midspan.wire.codec import Said, said_in
from midspan.wire.framing import Deframer, Frame
from midspan.wire.records import Phase

FIRST_LINE = "midspan trace 1"
MOST_BYTES = 32_000_000  # a file, some 900 shafts; then it becomes the file before, in place of an older one
BEFORE = ".before"
MOST_VALUES = 8  # an array of more is explained by its length
TO_GAUGE, FROM_GAUGE = ">", "<"
DIRECTIONS = (TO_GAUGE, FROM_GAUGE)


@dataclass(frozen=True, slots=True)
class Passed:
    """Bytes that passed over a line in one piece.

    Parameters
    ----------
    time_ms : float
        Time since the trace began, ms.
    line : int
        Number of the open line, from 1.
    direction : str
        TO_GAUGE or FROM_GAUGE.
    data : bytes
        The bytes.
    """

    time_ms: float
    line: int
    direction: str
    data: bytes


class TraceFile:
    """A trace that grows at the end of a file, up to twice `most_bytes` with the file before it.

    Once it is begun it raises nothing: when the disk fails it complains once and writes no more.

    Parameters
    ----------
    path : Path
        File to write; a trace that is there is continued.
    count_s : Callable[[], float]
        Monotonic seconds.
    date : Callable[[], str]
        Date and time in words.
    complain : Callable[[str], None]
        Called once if the trace has to end early.
    most_bytes : int
        Size at which the file becomes the file before and a new one begins, bytes.

    Raises
    ------
    OutputError
        The file cannot be created, or is not a trace.
    """

    def __init__(
        self, path: Path, count_s: Callable[[], float], date: Callable[[], str], complain: Callable[[str], None],
        most_bytes: int = MOST_BYTES,
    ) -> None:  # fmt: skip
        self._path, self._count_s, self._date, self._complain = path, count_s, date, complain
        self._most_bytes, self._size, self._lines = most_bytes, 0, 0
        self._begun_s = count_s()
        if path.exists() and not is_trace(path):
            raise OutputError(f"{path}: exists and is not a trace; it was left unchanged. Name another file")
        self._file: TextIO | None = None
        with writing(path):
            self._begin()

    def opened(self, name: str) -> LineTrace:
        """Note that a line was opened and return its writer.

        Parameters
        ----------
        name : str
            Name of the port.

        Returns
        -------
        LineTrace
            Writer for what passes over that line.
        """
        self._lines += 1
        line = LineTrace(self, self._lines)
        line.note(f"opened {quoted(name)} {self._date()}")
        return line

    def write(self, line: int, rest: str, below: Iterator[str]) -> None:
        """Add a line with its time, and lines that explain it.

        Parameters
        ----------
        line : int
            Number of the open line.
        rest : str
            Text after the number.
        below : Iterator[str]
            Explanations, a line each.
        """
        time_ms = 1000 * (self._count_s() - self._begun_s)
        self._add("".join((f"{time_ms:12.3f} {line} {rest}\n", *(f"{'.':>14} {words}\n" for words in below))))

    def close(self) -> None:
        """End the trace."""
        file, self._file = self._file, None
        if file is not None:
            with suppress(OSError):
                file.close()

    def _begin(self) -> None:
        """Open the file and write the first line."""
        self._file = self._path.open("a", encoding="utf-8")
        self._size = os.fstat(self._file.fileno()).st_size
        self._add(f"{'' if self._size == 0 else chr(10)}{FIRST_LINE}\n")  # the last line may be torn

    def _add(self, text: str) -> None:
        """Write text; on failure close the trace and complain."""
        if self._file is None:
            return
        try:
            self._file.write(text)
            self._file.flush()
            self._size += len(text)
            if self._size > self._most_bytes:
                self._begin_anew()
        except OSError as error:
            self.close()
            self._complain(f"{self._path}: the trace ends here ({error.strerror}); everything else goes on")

    def _begin_anew(self) -> None:
        """Put the full file aside and begin another."""
        self.close()
        self._path.replace(self._path.with_name(self._path.name + BEFORE))
        self._begin()


class LineTrace:
    """Writer of one open line of a trace.

    Parameters
    ----------
    file : TraceFile
        Trace to write.
    number : int
        Number of the line, from 1.
    """

    def __init__(self, file: TraceFile, number: int) -> None:
        self._file, self._number = file, number
        self._frames = {direction: Deframer() for direction in DIRECTIONS}

    def passed(self, direction: str, data: bytes) -> None:
        """Write bytes that passed over the line, and explain the frames that they complete.

        Parameters
        ----------
        direction : str
            TO_GAUGE or FROM_GAUGE.
        data : bytes
            The bytes; nothing is written if there are none.
        """
        if data:
            frames = self._frames[direction].feed(data)
            self._file.write(self._number, f"{direction} {len(data)}: {data.hex(' ', 4)}", map(explained, frames))

    def note(self, words: str) -> None:
        """Write what happened to the line.

        Parameters
        ----------
        words : str
            What happened.
        """
        self._file.write(self._number, f"= {words}", iter(()))


def explained(item: Frame | FrameError) -> str:
    """Return what a frame says, in words.

    Parameters
    ----------
    item : Frame | FrameError
        A frame, or the reason why bytes are none.

    Returns
    -------
    str
        One line.

    Examples
    --------
    >>> explained(Frame(7, bytes.fromhex("12 06")))
    'frame 7: Acknowledge shaft 3'
    """
    if isinstance(item, FrameError):
        return f"no frame: {item}"
    return f"frame {item.sequence}: {_said(said_in(item.body))}"


def _said(said: Said) -> str:
    """Return the content of a frame in words."""
    if isinstance(said, ProtocolError):
        return f"nothing known: {quoted(str(said))}"
    if isinstance(said, tuple):
        return f"a gauge of protocol {said[0]}.{said[1]}, fingerprint {said[2].hex()}"
    words = ", ".join(_named(field.name, getattr(said, field.name)) for field in fields(said))
    return f"{type(said).__name__} {words}"


def _named(name: str, value: Any) -> str:
    """Return a field of a record with its value in words; a phase that has a name by its name."""
    known = name == "phase" and value in set(Phase)
    return f"{name} {in_words(Phase(value) if known else value)}"


def in_words(value: Any) -> str:
    """Return a value of a record in words.

    Parameters
    ----------
    value : Any
        Number, text, bytes, member of an enumeration, a record within a record, or a sequence of them.

    Returns
    -------
    str
        The value; of a sequence of more than MOST_VALUES numbers only its length, of a record within a record what is
        neither null, false nor 0.

    Examples
    --------
    >>> in_words((1, 2)), in_words(tuple(range(64))), in_words(None), in_words("attic")
    ('[1 2]', '[64 values]', 'none', '«attic»')
    """
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bytes):
        return value.hex()
    if is_dataclass(value):
        parts = ((field.name, getattr(value, field.name)) for field in fields(value))
        return f"({', '.join(_named(name, part) for name, part in parts if part or name == 'phase')})"
    if isinstance(value, tuple | list):
        whole = len(value) <= MOST_VALUES or is_dataclass(value[0])
        return f"[{' '.join(map(in_words, value))}]" if whole else f"[{len(value)} values]"
    return "none" if value is None else str(value)


def is_trace(path: Path) -> bool:
    """Return True for a file that begins as a trace does, also for an empty file.

    Parameters
    ----------
    path : Path
        File to look at.

    Returns
    -------
    bool
        False for a file of something else.

    Raises
    ------
    TraceError
        The file cannot be read.
    """
    check_ordinary(path, TraceError)
    with reading(path, TraceError), path.open("rb") as file:
        return file.read(len(FIRST_LINE) + 1) in (b"", FIRST_LINE.encode() + b"\n")


def read_trace(path: Path) -> Iterator[Passed]:
    """Yield every piece of bytes of a trace, in order; a line that was cut off is left out.

    Parameters
    ----------
    path : Path
        File to read.

    Yields
    ------
    Passed
        Time, line, direction and bytes.

    Raises
    ------
    TraceError
        The file is not a trace or was edited; the message names the line.
    """
    if not is_trace(path):
        raise TraceError(f"{path}: not a trace; name a file written by midspan --trace FILE")
    with reading(path, TraceError), path.open(encoding="utf-8", errors="replace") as lines:
        for number, line in enumerate(lines, 1):
            words = line.split(maxsplit=4)
            if len(words) == 5 and words[2] in DIRECTIONS:
                yield from _passed(words, f"{path}, line {number}")


def _passed(words: list[str], place: str) -> Iterator[Passed]:
    """Yield the piece of a line of bytes; nothing if the line was cut off."""
    time_ms, line, direction, length, digits = words
    try:
        whole = 2 * int(length.removesuffix(":"))
        if len("".join(digits.split())) >= whole:
            yield Passed(float(time_ms), int(line), direction, bytes.fromhex(digits))
    except ValueError as error:
        raise TraceError(f"{place}: not a valid line of a trace ({error}); was the file edited?") from error
