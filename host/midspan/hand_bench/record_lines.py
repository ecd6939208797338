r"""Lines of JSON with a checksum each, so that a person can read them and a single changed bit is noticed.

The checksum is the CRC-32 of zlib and PNG over the text before it in the line; it detects any damage within 32 bits.
Records are found by how they begin, not only by the ends of lines: a damaged line end costs neither neighbour.

>>> line_of({"session": 0, "line": 1})
b'{"session": 0, "line": 1, "crc32": "d9f96d91"}\n'
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
    """A record of the file with its place.

    Parameters
    ----------
    number : int
        Number of the line, from 1.
    offset : int
        Byte at which the record begins.
    content : dict or None
        Content; None if the record is damaged.
    is_whole : bool
        True if nothing of the record or of its line end is damaged.
    """

    number: int
    offset: int
    content: dict[str, Any] | None
    is_whole: bool

    @property
    def is_summed(self) -> bool:
        """True if the record has a checksum, which is right."""
        return self.content is not None and "crc32" in self.content


def line_of(content: dict[str, Any]) -> bytes:
    """Return a record as a line of the file, its checksum last.

    Parameters
    ----------
    content : dict
        Content of the record.

    Returns
    -------
    bytes
        JSON in UTF-8 with a line end.
    """
    body = json.dumps(content, ensure_ascii=False).encode()[:-1]
    return body + _MARK + b'%08x"}\n' % crc32(body)


def lines_of(data: bytes) -> Iterator[RecordLine]:
    """Yield every record of a file, damaged or not; empty lines are skipped.

    Parameters
    ----------
    data : bytes
        Content of the file.

    Yields
    ------
    RecordLine
        Each record with its place.
    """
    offset = 0
    for number, line in enumerate(data.split(b"\n"), 1):
        for record in _BEGIN.split(line):
            if record.strip():
                content = _content(record)
                # A byte after a record is the damaged end of its line.
                behind = _content(record[:-1]) if content is None else content
                yield RecordLine(number, offset, behind, content is not None)
            offset += len(record)
        offset += 1


def _content(record: bytes) -> dict[str, Any] | None:
    """Return the content of a record, None if it is damaged: not JSON, or of another checksum."""
    try:
        content = json.loads(record)
    except (ValueError, RecursionError):
        return None
    body, mark, checksum = record.strip().rpartition(_MARK)
    if not isinstance(content, dict) or (mark and checksum != b'%08x"}' % crc32(body)):
        return None
    return content
