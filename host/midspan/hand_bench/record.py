r"""The record of readings typed at the hand bench: lines of JSON, appended and never changed.

A person made these readings, so they are kept as typed ("12.70" means that hundredths were read). Anyone can read
lines of JSON without a program, a power cut damages at most the line being written, and there are dozens of readings a
day, not millions. The gauge's archive has other needs and is in Avro.

A session begins with a line that names bench, shaft and person. Each number is on the disk before the next is asked
for: first in a line of an incomplete visit, then in a line of the complete visit. Reading a position and repeat again
adds a line, and the last complete line counts. The lines of a session are numbered, so that a lost line is noticed.

>>> import tempfile
>>> record = HandRecord(Path(tempfile.mkdtemp()) / "hand.jsonl")
>>> place = record.begin({"bench": {"id": "b"}}, HandShaft(3, "bar", "Ann"), started_ms=0)
>>> record.keep(place, Begun("0", "1", ("0.00",)))
>>> record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
>>> print(record.path.read_text().splitlines()[-1].replace(', "unloaded_again', ',\n "unloaded_again'))
{"session": 0, "line": 2, "angle_deg": "0", "repeat": "1", "unloaded": "0.00", "loaded": "12.70",
 "unloaded_again": "", "confirmed": "", "crc32": "8d0d46c6"}
"""

import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from midspan.base.files import sync_folder, writing
from midspan.hand_bench.record_lines import line_of

VERSION = 2  # lines of version 1 have neither checksum nor number
NAMES = ("unloaded", "loaded", "unloaded_again")


@dataclass(frozen=True, slots=True)
class Begun:
    """An incomplete reading as typed.

    Parameters
    ----------
    angle_deg : str
        Clock position, degrees.
    repeat : str
        Round.
    cells : tuple of str
        The first values of NAMES.
    """

    angle_deg: str
    repeat: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading as typed.

    Parameters
    ----------
    angle_deg : str
        Clock position, degrees.
    repeat : str
        Round.
    unloaded : str
        Dial without the weight.
    loaded : str
        Dial with the weight.
    unloaded_again : str
        Dial after the weight came off; empty if it was not read.
    confirmed : str
        Names of the values that were looked at again, or any word; empty if none was.
    """

    angle_deg: str
    repeat: str
    unloaded: str
    loaded: str
    unloaded_again: str
    confirmed: str = ""

    @property
    def cells(self) -> tuple[str, str, str]:
        """Values of NAMES as typed."""
        return self.unloaded, self.loaded, self.unloaded_again


@dataclass(frozen=True, slots=True)
class ShaftAndRoom:
    """What a session says of shaft and room; None where it is not known.

    Parameters
    ----------
    diameter_mm : float or None
        Diameter of the shaft where it lies on the edges, mm.
    temperature_c : float or None
        Temperature of bench and shaft, degrees Celsius.
    """

    diameter_mm: float | None = None
    temperature_c: float | None = None


UNKNOWN = ShaftAndRoom()


@dataclass(frozen=True, slots=True)
class HandSession:
    """All readings of one shaft on one mounting, with the bench they were taken on.

    Parameters
    ----------
    file : str
        Name of the record.
    byte_offset : int
        Byte of the record at which the session begins.
    bench : dict
        Content of the bench file.
    shaft : int
        Number of the shaft.
    label : str
        Its label; empty if it has none.
    operator : str
        Person who read the dial; empty if not given.
    started_ms : int
        Begin of the session, ms since 1970 (UTC).
    typed : tuple of Typed
        Readings; of each position and repeat the last.
    positions, repeats : int
        Clock positions and rounds of a guided session, 0 for a table.
    readings : int
        Number of readings planned, 0 if unknown.
    lines : int
        Number of lines of the session.
    has_ended : bool
        True if a result was made or refused.
    has_lost_lines : bool
        True if a line of the session is damaged or missing.
    at : ShaftAndRoom
        Diameter of the shaft, and temperature.
    """

    file: str
    byte_offset: int
    bench: dict[str, Any]
    shaft: int
    label: str
    operator: str
    started_ms: int
    typed: tuple[Typed, ...]
    positions: int = 0
    repeats: int = 0
    readings: int = 0
    lines: int = 0
    has_ended: bool = True
    has_lost_lines: bool = False
    at: ShaftAndRoom = UNKNOWN


@dataclass(frozen=True, slots=True)
class HandShaft:
    """The shaft of a session, its operator and circumstances.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Its label; empty if it has none.
    operator : str
        Person who reads the dial; empty if not given.
    at : ShaftAndRoom
        Its diameter, and the temperature.
    """

    shaft: int
    label: str
    operator: str
    at: ShaftAndRoom = UNKNOWN


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """Plan of a session; 0 where it is not known.

    Parameters
    ----------
    positions : int
        Number of clock positions.
    repeats : int
        Number of rounds.
    readings : int
        Number of readings.
    """

    positions: int = 0
    repeats: int = 0
    readings: int = 0


UNPLANNED = ReadingPlan()


class HandRecord:
    """A file of typed readings that only grows; every line is on the disk when a call returns.

    Parameters
    ----------
    path : Path
        The file; it need not exist yet.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lines: dict[int, int] = {}

    def begin(self, bench: dict[str, Any], whose: HandShaft, started_ms: int, plan: ReadingPlan = UNPLANNED) -> int:
        """Add a new session.

        Parameters
        ----------
        bench : dict
            Content of the bench file.
        whose : HandShaft
            Shaft and operator.
        started_ms : int
            Begin of the session, ms since 1970 (UTC).
        plan : ReadingPlan
            Plan of the session.

        Returns
        -------
        int
            Byte at which the session begins: its name in later calls and in its result.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        who = asdict(whose)
        at = who.pop("at")
        head = {"hand_readings": VERSION, **who, **at, "started_ms": started_ms, **asdict(plan)}
        place = self._append({**head, "bench": bench})
        self._lines[place] = 0
        return place

    def resume(self, session: HandSession) -> int:
        """Continue a session of the file.

        Parameters
        ----------
        session : HandSession
            The session.

        Returns
        -------
        int
            Byte at which the session begins.
        """
        self._lines[session.byte_offset] = session.lines
        return session.byte_offset

    def keep(self, session: int, typed: Typed | Begun) -> None:
        """Add a reading to a session.

        Parameters
        ----------
        session : int
            Byte at which the session begins.
        typed : Typed or Begun
            The reading, complete or not.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        if isinstance(typed, Begun):
            cells = dict(zip(NAMES, typed.cells, strict=False))
            self._add(session, {"angle_deg": typed.angle_deg, "repeat": typed.repeat, **cells})
        else:
            self._add(session, asdict(typed))

    def end(self, session: int) -> None:
        """Note that a result of a session was made or refused.

        Parameters
        ----------
        session : int
            Byte at which the session begins.

        Raises
        ------
        OutputError
            The file cannot be written.
        """
        self._add(session, {"ended": True})

    def _add(self, session: int, content: dict[str, Any]) -> None:
        """Append a line to a session, with the next number."""
        number = self._lines[session] + 1
        self._append({"session": session, "line": number, **content})
        self._lines[session] = number

    def _append(self, content: dict[str, Any]) -> int:
        """Append a line to the file and return the byte at which it begins."""
        is_new = not self.path.exists()
        with writing(self.path, "check folder and disk"), self.path.open("a+b") as file:
            offset = file.seek(0, os.SEEK_END)
            if offset and _last_byte(file) != b"\n":  # a power cut tore the last line: leave it and begin a new line
                file.write(b"\n")
                offset += 1
            file.write(line_of(content))
            file.flush()
            os.fsync(file.fileno())
        if is_new:
            sync_folder(self.path.absolute().parent)
        return offset


def _last_byte(file: Any) -> bytes:
    """Return the last byte of a file that is not empty."""
    file.seek(-1, os.SEEK_END)
    last: bytes = file.read(1)
    return last
