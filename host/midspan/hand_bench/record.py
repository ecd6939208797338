"""Readings typed at the hand bench, kept for ever: lines of JSON, added to and never changed.

Why lines of JSON and not the Avro of the gauge's archive: a person made these readings, so they are kept as typed
("12.70" says that hundredths were read), anyone can read the file without a program, a power cut harms at most
the line being written, and there are dozens of them a day, not millions.

A session begins with a line that says which bench, shaft and person; each number is on the disk before the next is
asked for, first as a line of a visit begun, then as a line of a whole visit. Reading a position and repeat again adds a
line, and the last whole one counts. Lines of a session are numbered, so that a session knows when one of them is lost.

>>> import tempfile
>>> record = HandRecord(Path(tempfile.mkdtemp()) / "hand.jsonl")
>>> place = record.begin({"bench": {"id": "b"}}, HandShaft(3, "bar", "Ann"), started_ms=0)
>>> record.keep(place, Begun("0", "1", ("0.00",)))
>>> record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
>>> record.path.read_text().splitlines()[-1]
'{"session": 0, "line": 2, "angle_deg": "0", "repeat": "1", "unloaded": "0.00", "loaded": "12.70", \
"unloaded_again": "", "confirmed": "", "crc32": "8d0d46c6"}'
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
    """What was typed of a reading that is not whole yet: as many of NAMES as there are."""

    angle_deg: str
    repeat: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Typed:
    """One reading as it was typed: texts, empty where nothing was read; `confirmed` what of it was looked at again."""

    angle_deg: str
    repeat: str
    unloaded: str
    loaded: str
    unloaded_again: str
    confirmed: str = ""

    @property
    def cells(self) -> tuple[str, str, str]:
        """What was typed under each of NAMES."""
        return self.unloaded, self.loaded, self.unloaded_again


@dataclass(frozen=True, slots=True)
class HandSession:
    """All readings of one shaft on one mounting, and what they were read with.

    `positions` and `repeats` are what a person was led through, 0 for a table; `readings` how many there were to be, 0
    where that is not known. `lines` stand in the file; `has_ended` once a result was made or refused.
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


@dataclass(frozen=True, slots=True)
class HandShaft:
    """Which shaft is read, and by whom."""

    shaft: int
    label: str
    operator: str


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """Through how many positions, how often, a person is led; `readings` in all. 0 where that is not known."""

    positions: int = 0
    repeats: int = 0
    readings: int = 0


UNPLANNED = ReadingPlan()


class HandRecord:
    """A file of typed readings that only grows. Every line is on the disk when a call returns."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lines: dict[int, int] = {}

    def begin(self, bench: dict[str, Any], whose: HandShaft, started_ms: int, plan: ReadingPlan = UNPLANNED) -> int:
        """Note a new session; its place in the file, by which its readings and its result name it.

        Raises OutputError when the file cannot be written.
        """
        head = {"hand_readings": VERSION, **asdict(whose), "started_ms": started_ms, **asdict(plan)}
        place = self._append({**head, "bench": bench})
        self._lines[place] = 0
        return place

    def resume(self, session: HandSession) -> int:
        """Add to a session that stands in the file already; its place."""
        self._lines[session.byte_offset] = session.lines
        return session.byte_offset

    def keep(self, session: int, typed: Typed | Begun) -> None:
        """Add one reading to a session; OutputError when the file cannot be written."""
        if isinstance(typed, Begun):
            cells = dict(zip(NAMES, typed.cells, strict=False))
            self._add(session, {"angle_deg": typed.angle_deg, "repeat": typed.repeat, **cells})
        else:
            self._add(session, asdict(typed))

    def end(self, session: int) -> None:
        """Note that a result was made of a session, or refused."""
        self._add(session, {"ended": True})

    def _add(self, session: int, content: dict[str, Any]) -> None:
        number = self._lines[session] + 1
        self._append({"session": session, "line": number, **content})
        self._lines[session] = number

    def _append(self, content: dict[str, Any]) -> int:
        is_new = not self.path.exists()
        with writing(self.path, "check folder and disk"), self.path.open("a+b") as file:
            offset = file.seek(0, os.SEEK_END)
            if offset and _last_byte(file) != b"\n":  # a power cut tore the last line: leave it, begin a new one
                file.write(b"\n")
                offset += 1
            file.write(line_of(content))
            file.flush()
            os.fsync(file.fileno())
        if is_new:
            sync_folder(self.path.absolute().parent)
        return offset


def _last_byte(file: Any) -> bytes:
    file.seek(-1, os.SEEK_END)
    last: bytes = file.read(1)
    return last
