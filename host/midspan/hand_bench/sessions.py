"""Sessions read back from a record of typed readings: each complete, whatever happened to the others.

A damaged line loses its own content only. Its session is known from the numbers of the lines. The lines of a file of
version 1 have no numbers: there it is the session typed last.

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
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from midspan.base.errors import ArchiveError
from midspan.base.files import reading
from midspan.hand_bench.record import NAMES, VERSION, HandSession, ShaftAndRoom, Typed
from midspan.hand_bench.record_lines import RecordLine, lines_of

HEAD = {"bench": dict, "shaft": int, "label": str, "operator": str, "started_ms": int}
AT = tuple(each.name for each in fields(ShaftAndRoom))  # lines of older versions lack them
PLAN = {"positions": int, "repeats": int, "readings": int}


def sessions(path: Path) -> Iterator[HandSession]:
    """Yield every session of a record in order; an error for damaged lines comes after the last session.

    Parameters
    ----------
    path : Path
        The record.

    Yields
    ------
    HandSession
        Each session, as far as its lines are sound.

    Raises
    ------
    ArchiveError
        The file cannot be read, has no session (code "no_sessions"), or has damaged lines ("damaged").
    """
    with reading(path, ArchiveError):
        content = path.read_bytes()
    found = _Found()
    for line in lines_of(content):
        found.take(line)
    for place, noted in found.sessions.items():
        yield noted.session(str(path), place)
    if not found.sessions:
        raise ArchiveError(
            f"{path}: contains no typed readings; name the file that midspan hand measure writes", code="no_sessions"
        )
    if found.damaged:
        first, number = found.damaged[0], len(found.damaged)
        orphans = f"; {found.orphans} of a session whose first line is damaged" if found.orphans else ""
        raise ArchiveError(
            f"{path}, line {first}: damaged, or not a reading ({number} in all{orphans}); all other lines were read",
            code="damaged",
        )


@dataclass
class _Noted:
    """A session while its lines are read."""

    head: dict[str, Any]
    typed: dict[tuple[str, str], Typed] = field(default_factory=dict)
    lines: int = 0
    has_ended: bool = False
    has_lost_lines: bool = False

    @property
    def is_numbered(self) -> bool:
        """True if the lines of the session have numbers: version 2."""
        return bool(self.head["hand_readings"] == VERSION)

    def add(self, line: RecordLine, content: dict[str, Any]) -> bool:
        """Add a line to the session; return False if it is not a sound line of this session."""
        if self.is_numbered != ("line" in content) or (self.is_numbered and not line.is_summed):
            return False
        if not content.get("ended"):
            cells = {name: content[name] for name in ("angle_deg", "repeat", *NAMES, "confirmed") if name in content}
            if not all(isinstance(text, str) for text in cells.values()) or not {"angle_deg", "repeat"} <= cells.keys():
                return False
            if cells.keys() >= set(NAMES):
                self.typed[cells["angle_deg"], cells["repeat"]] = Typed(**cells)
            elif not self.is_numbered:
                return False
        self.has_ended |= bool(content.get("ended"))
        if self.is_numbered:
            self.has_lost_lines |= content["line"] != self.lines + 1
            self.lines = content["line"]
        return True

    def session(self, file: str, place: int) -> HandSession:
        """Return the session, as far as its lines were found."""
        values = {name: self.head[name] for name in (*HEAD, *(PLAN if self.is_numbered else ()))}
        return HandSession(
            file, place, typed=tuple(self.typed.values()), lines=self.lines, has_lost_lines=self.has_lost_lines,
            has_ended=self.has_ended or not self.is_numbered,
            at=ShaftAndRoom(*(self.head.get(name) for name in AT)), **values,
        )  # fmt: skip


class _Found:
    """Sessions by their first byte, and the numbers of damaged lines, while a file is read."""

    def __init__(self) -> None:
        self.sessions: dict[int, _Noted] = {}
        self.damaged: list[int] = []
        self.orphans = 0
        self._last: _Noted | None = None

    def take(self, line: RecordLine) -> None:
        """Take in a line of the file."""
        content = line.content
        if content is not None and _is_head(line, content):
            self._last = self.sessions[line.offset] = _Noted(content)
        elif content is None or not self._is_added(line, content):
            self.damaged.append(line.number)
            if self._last is not None and not self._last.is_numbered:  # nothing else shows whose line it was
                self._last.has_lost_lines = True
            return
        if not line.is_whole:
            self.damaged.append(line.number)

    def _is_added(self, line: RecordLine, content: dict[str, Any]) -> bool:
        """Add a line to its session; return False if it has none."""
        place = content.get("session")
        noted = self.sessions.get(place) if isinstance(place, int) else None
        if noted is None:
            self.orphans += isinstance(place, int)
            return False
        self._last = noted
        return noted.add(line, content)


def _is_head(line: RecordLine, content: dict[str, Any]) -> bool:
    """Return True if a session begins with this line."""
    version = content.get("hand_readings")
    kinds = HEAD | (PLAN if version == VERSION else {})
    sound = all(isinstance(content.get(name), kind) for name, kind in kinds.items())
    sound &= all(content.get(name) is None or isinstance(content[name], float) for name in AT)
    return sound and (version == 1 or (version == VERSION and line.is_summed))


def session_at(path: Path, byte_offset: int) -> HandSession:
    """Return the session that begins at a byte of the record.

    Parameters
    ----------
    path : Path
        The record.
    byte_offset : int
        Byte at which the session begins.

    Returns
    -------
    HandSession
        The session.

    Raises
    ------
    ArchiveError
        The file cannot be read, or no session begins there (code "no_session_here").
    """
    found = None
    try:
        for session in sessions(path):
            if session.byte_offset == byte_offset:
                found = session
    except ArchiveError:
        if found is None:
            raise
    if found is None:
        raise ArchiveError(
            f"{path}: no session begins at byte {byte_offset}; the stored result has the right place",
            code="no_session_here",
        )
    return found
