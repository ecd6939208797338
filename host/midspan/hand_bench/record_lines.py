"""Lines of JSON with a checksum each, so that a person can read them and a single changed bit shows.

The checksum is the CRC-32 of zlib and PNG over what stands before it in the line; damage within 32 bits never passes
it. Records are found by how they begin, not by the ends of lines alone: a damaged end costs neither neighbour.

>>> line_of({"session": 0, "line": 1})
b'{"session": 0, "line": 1, "crc32": "d9f96d91"}\\n'
>>> [line] = lines_of(line_of({"session": 0, "line": 1}))
>>> line.number, line.content
(1, {'session': 0, 'line': 1, 'crc32': 'd9f96d91'})
>>> [line.content for line in lines_of(b'{"session": 0, "line": 3, "crc32": "d9f96d91"}')]
[None]
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from zlib import crc32

_BEGIN = re.compile(rb'(?=\{"(?:hand_readings|session)": )')
_MARK = b', "crc32": "'


@dataclass(frozen=True, slots=True)
class RecordLine:
    """A record with its place: number of the line, byte where it begins, what it says (None: nothing that holds)."""

    number: int
    offset: int
    content: dict[str, Any] | None
    is_whole: bool

    @property
    def is_summed(self) -> bool:
        """Whether a checksum vouches for it."""
        return self.content is not None and "crc32" in self.content


def line_of(content: dict[str, Any]) -> bytes:
    """A record as a line of the file, its checksum last."""
    body = json.dumps(content, ensure_ascii=False).encode()[:-1]
    return body + _MARK + b'%08x"}\n' % crc32(body)


def lines_of(data: bytes) -> Iterator[RecordLine]:
    """Every record of a file, whatever happened to it; empty lines are none."""
    offset = 0
    for number, line in enumerate(data.split(b"\n"), 1):
        for record in _BEGIN.split(line):
            if record.strip():
                content = _content(record)
                # What stands behind a record is the damaged end of its line.
                behind = _content(record[:-1]) if content is None else content
                yield RecordLine(number, offset, behind, content is not None)
            offset += len(record)
        offset += 1


def _content(record: bytes) -> dict[str, Any] | None:
    """What a record says; None when it is none, or its checksum is that of another."""
    try:
        content = json.loads(record)
    except (ValueError, RecursionError):
        return None
    body, mark, checksum = record.strip().rpartition(_MARK)
    if not isinstance(content, dict) or (mark and checksum != b'%08x"}' % crc32(body)):
        return None
    return content
