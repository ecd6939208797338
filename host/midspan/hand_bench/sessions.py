"""Sessions read back from a file of typed readings: each whole, whatever happened to the others.

A damaged line costs what it said. The session it belonged to knows by the numbers of its lines; in a file of version 1,
whose lines have none, it is the session that was typed last.

>>> import tempfile
>>> from midspan.hand_bench.record import HandRecord, HandShaft
>>> record = HandRecord(Path(tempfile.mkdtemp()) / "hand.jsonl")
>>> place = record.begin({"bench": {"id": "b"}}, HandShaft(3, "bar", "Ann"), started_ms=0)
>>> record.keep(place, Typed("0", "1", "0.00", "12.70", ""))
>>> [session] = sessions(record.path)
>>> session.label, session.typed[0].loaded
('bar', '12.70')
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from midspan.base.errors import ArchiveError
from midspan.base.files import reading
from midspan.hand_bench.record import NAMES, VERSION, HandSession, Typed
from midspan.hand_bench.record_lines import RecordLine, lines_of

HEAD = {"bench": dict, "shaft": int, "label": str, "operator": str, "started_ms": int}
PLAN = {"positions": int, "repeats": int, "readings": int}


def sessions(path: Path) -> Iterator[HandSession]:
    """Every session of a file, in order; lines that are damaged are told at the end, when all whole ones are out.

    Raises ArchiveError when the file cannot be read or has such lines.
    """
    with reading(path, ArchiveError):
        content = path.read_bytes()
    found = _Found()
    for line in lines_of(content):
        found.take(line)
    for place, noted in found.sessions.items():
        yield noted.session(str(path), place)
    if not found.sessions:
        raise ArchiveError(f"{path}: holds no typed readings; name the file that midspan hand measure writes")
    if found.damaged:
        first, number = found.damaged[0], len(found.damaged)
        homeless = f"; {found.homeless} belong to a session whose first line is damaged" if found.homeless else ""
        raise ArchiveError(
            f"{path}, line {first}: is damaged or no reading ({number} such{homeless}); every other line was read"
        )


@dataclass
class _Noted:
    """A session as its lines are found."""

    head: dict[str, Any]
    typed: dict[tuple[str, str], Typed] = field(default_factory=dict)
    lines: int = 0
    has_ended: bool = False
    has_lost_lines: bool = False

    @property
    def is_numbered(self) -> bool:
        return bool(self.head["hand_readings"] == VERSION)

    def add(self, line: RecordLine, content: dict[str, Any]) -> bool:
        """Whether a line is one of this session's; it is noted then."""
        if self.is_numbered != ("line" in content) or (self.is_numbered and not line.is_summed):
            return False
        if not content.get("ended"):
            fields = {name: content[name] for name in ("angle_deg", "repeat", *NAMES, "confirmed") if name in content}
            if (
                not all(isinstance(text, str) for text in fields.values())
                or not {"angle_deg", "repeat"} <= fields.keys()
            ):
                return False
            if fields.keys() >= set(NAMES):
                self.typed[fields["angle_deg"], fields["repeat"]] = Typed(**fields)
            elif not self.is_numbered:
                return False
        self.has_ended |= bool(content.get("ended"))
        if self.is_numbered:
            self.has_lost_lines |= content["line"] != self.lines + 1
            self.lines = content["line"]
        return True

    def session(self, file: str, place: int) -> HandSession:
        """The session, as far as its lines were found."""
        values = {name: self.head[name] for name in (*HEAD, *(PLAN if self.is_numbered else ()))}
        return HandSession(
            file, place, typed=tuple(self.typed.values()), lines=self.lines, has_lost_lines=self.has_lost_lines,
            has_ended=self.has_ended or not self.is_numbered, **values,
        )  # fmt: skip


class _Found:
    """Sessions by their place, and the numbers of the lines that are damaged, as a file is read."""

    def __init__(self) -> None:
        self.sessions: dict[int, _Noted] = {}
        self.damaged: list[int] = []
        self.homeless = 0
        self._last: _Noted | None = None

    def take(self, line: RecordLine) -> None:
        """Note a line of the file."""
        content = line.content
        if content is not None and _is_head(line, content):
            self._last = self.sessions[line.offset] = _Noted(content)
        elif content is None or not self._is_added(line, content):
            self.damaged.append(line.number)
            if self._last is not None and not self._last.is_numbered:  # nothing else tells whose line it was
                self._last.has_lost_lines = True
            return
        if not line.is_whole:
            self.damaged.append(line.number)

    def _is_added(self, line: RecordLine, content: dict[str, Any]) -> bool:
        place = content.get("session")
        noted = self.sessions.get(place) if isinstance(place, int) else None
        if noted is None:
            self.homeless += isinstance(place, int)
            return False
        self._last = noted
        return noted.add(line, content)


def _is_head(line: RecordLine, content: dict[str, Any]) -> bool:
    """Whether a session begins with this line."""
    version = content.get("hand_readings")
    kinds = HEAD | (PLAN if version == VERSION else {})
    sound = all(isinstance(content.get(name), kind) for name, kind in kinds.items())
    return sound and (version == 1 or (version == VERSION and line.is_summed))


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
