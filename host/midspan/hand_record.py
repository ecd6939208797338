"""Readings typed at the hand bench, kept for ever: lines of JSON, added to and never changed.

Why lines of JSON and not the Avro of the gauge's archive: a person made these readings, so they are kept as typed
("12.70" says that hundredths were read), anyone can read the file without a program, a power cut harms at most
the line being written, and there are dozens of them a day, not millions.

A session begins with a line that says which bench, shaft and person; each reading is a line on the disk before the
next is asked for. Reading a position and repeat again adds a line, and the last one counts.

>>> import tempfile
>>> record = HandRecord(Path(tempfile.mkdtemp()) / "hand.jsonl")
>>> place = record.begin({"bench": {"id": "b"}}, shaft=3, label="bar", operator="Ann", started_ms=0)
>>> record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
>>> [session] = sessions(record.path)
>>> session.label, session.typed[0].loaded
('bar', '12.70')
"""

import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from midspan.errors import ArchiveError
from midspan.files import reading, writing

VERSION = 1


@dataclass(frozen=True, slots=True)
class Typed:
    """One reading as it was typed: texts, empty where nothing was read."""

    angle_deg: str
    repeat: str
    unloaded: str
    loaded: str
    unloaded_again: str


@dataclass(frozen=True, slots=True)
class HandSession:
    """All readings of one shaft on one mounting, and what they were read with."""

    file: str
    byte_offset: int
    bench: dict[str, Any]
    shaft: int
    label: str
    operator: str
    started_ms: int
    typed: tuple[Typed, ...]


class HandRecord:
    """A file of typed readings that only grows. Every line is on the disk when a call returns."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def begin(self, bench: dict[str, Any], shaft: int, label: str, operator: str, started_ms: int) -> int:
        """Note a new session; its place in the file, by which its readings and its result name it.

        Raises OutputError when the file cannot be written.
        """
        head = {"hand_readings": VERSION, "shaft": shaft, "label": label, "operator": operator}
        return self._append({**head, "started_ms": started_ms, "bench": bench})

    def keep(self, session: int, typed: Typed) -> None:
        """Add one reading to a session; OutputError when the file cannot be written."""
        self._append({"session": session, **asdict(typed)})

    def _append(self, content: dict[str, Any]) -> int:
        line = json.dumps(content, ensure_ascii=False).encode()
        with writing(self.path, "check folder and disk"), self.path.open("a+b") as file:
            offset = file.seek(0, os.SEEK_END)
            if offset and _last_byte(file) != b"\n":  # a power cut tore the last line: leave it, begin a new one
                file.write(b"\n")
                offset += 1
            file.write(line + b"\n")
            file.flush()
            os.fsync(file.fileno())
        return offset


def _last_byte(file: Any) -> bytes:
    file.seek(-1, os.SEEK_END)
    last: bytes = file.read(1)
    return last


def sessions(path: Path) -> Iterator[HandSession]:
    """Every session of a file, in order; a line that is no reading is told at the end, when all whole ones are out.

    Raises ArchiveError when the file cannot be read or has such lines.
    """
    with reading(path, ArchiveError):
        content = path.read_bytes()
    heads: dict[int, dict[str, Any]] = {}
    readings: dict[int, dict[tuple[str, str], Typed]] = {}
    torn: list[int] = []
    offset = 0
    for number, line in enumerate(content.splitlines(keepends=True), 1):
        if not _noted(line, offset, heads, readings):
            torn.append(number)
        offset += len(line)
    for place, head in heads.items():
        values = {name: head[name] for name in ("bench", "shaft", "label", "operator", "started_ms")}
        yield HandSession(str(path), place, typed=tuple(readings[place].values()), **values)
    if not heads:
        raise ArchiveError(f"{path}: holds no typed readings; name the file that midspan hand measure writes")
    if torn:
        raise ArchiveError(f"{path}: line {torn[0]} is no reading ({len(torn)} such); every other line was read")


def _noted(line: bytes, offset: int, heads: dict[int, Any], readings: dict[int, Any]) -> bool:
    """Whether a line is a head or a reading of a session before it; it is noted then."""
    try:
        content = json.loads(line)
        if content.get("hand_readings") == VERSION:
            heads[offset], readings[offset] = content, {}
        else:
            typed = Typed(**{name: content[name] for name in Typed.__dataclass_fields__})
            readings[content["session"]][typed.angle_deg, typed.repeat] = typed
    except (ValueError, KeyError, TypeError, AttributeError):
        return False
    return True


def session_at(path: Path, byte_offset: int) -> HandSession:
    """The session that begins at a byte of the file; ArchiveError when none does."""
    found = None
    try:
        for session in sessions(path):
            if session.byte_offset == byte_offset:
                found = session
    except ArchiveError:
        if found is None:
            raise
    if found is None:
        raise ArchiveError(f"{path}: no session begins at byte {byte_offset}; look for the place in the stored result")
    return found
