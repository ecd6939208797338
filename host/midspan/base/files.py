"""What speaks against a file as one line of Midspan's: what is wrong, where, what to do.

Files that people or other programs wrote are read here, whole and only up to a size: a device or a pipe never ends, and
a file of zeros that takes no room on the disk fills the memory.
"""

from __future__ import annotations

import json
import math
import os
import stat
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from midspan.base.errors import MidspanError, OutputError

DEEPEST = 40  # levels of a JSON text; none of ours has ten


@contextmanager
def reading(path: Path, error: type[MidspanError]) -> Iterator[None]:
    """A block that reads a file: what the system refuses there is raised as this error, which names the file.

    >>> from midspan.base.errors import ReadingsError
    >>> with reading(Path("nowhere.csv"), ReadingsError):
    ...     Path("nowhere.csv").read_text()
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: nowhere.csv: cannot be read (No such file or directory); check the name
    """
    try:
        yield
    except OSError as refusal:
        raise error(f"{path}: cannot be read ({refusal.strerror}); check the name") from refusal


def check_ordinary(path: Path, error: type[MidspanError]) -> None:
    """Raise this error unless the path is that of a file that can be opened without waiting and has an end.

    >>> from midspan.base.errors import ReadingsError
    >>> check_ordinary(Path("/dev/zero"), ReadingsError)
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: /dev/zero: cannot be read (a folder, a device or a pipe); name an ordinary file
    """
    with reading(path, error):
        if not stat.S_ISREG(path.stat().st_mode):
            raise error(f"{path}: cannot be read (a folder, a device or a pipe); name an ordinary file")


def bytes_of(path: Path, error: type[MidspanError], most: int) -> bytes:
    """All bytes of a file; this error, naming the file, when it cannot be read or is larger than `most` bytes."""
    check_ordinary(path, error)
    with reading(path, error), path.open("rb") as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise error(f"{path}: is larger than {most // 1000} kB, which nobody wrote by hand; is it the file you meant?")
    return content


def text_of(path: Path, error: type[MidspanError], most: int) -> str:
    """The text of a file, as `bytes_of`; this error also when it is no text in UTF-8."""
    try:
        return bytes_of(path, error, most).decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise error(f"{path}: is no text in UTF-8 (byte {wrong.start}); save it as UTF-8") from wrong


def json_in(text: str | bytes, place: str, error: type[MidspanError]) -> Any:
    """The value that a JSON text says; this error, naming the place, when it is none, too deep or says no number.

    >>> from midspan.base.errors import ReadingsError
    >>> json_in('{"mass_g": 1e999}', "a.json", ReadingsError)
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: a.json: is no JSON text (1e999 is no number)
    """
    try:
        value = json.loads(text, parse_float=_number, parse_constant=_number)
        if _depth(value) > DEEPEST:
            raise ValueError(f"nested deeper than {DEEPEST}")
    except (ValueError, RecursionError) as wrong:  # a whole number of too many digits is a ValueError too
        raise error(f"{place}: is no JSON text ({wrong})") from wrong
    return value


def _number(text: str) -> float:
    if not math.isfinite(value := float(text)):
        raise ValueError(f"{text} is no number")
    return value


def _depth(value: Any) -> int:
    """How deep lists and objects are nested, counted level by level: what recurses would fail on the deepest."""
    depth, level = 0, [value]
    while level:
        level = [inner for one in level for inner in _inside(one)]
        depth += 1
    return depth


def _inside(value: Any) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()


@contextmanager
def writing(
    path: Path, advice: str = "check the name and the folder", error: type[MidspanError] = OutputError
) -> Iterator[None]:
    """A block that writes a file: what the system refuses there is raised as this error, with what to do about it.

    >>> with writing(Path("none/a.pdf")):
    ...     Path("none/a.pdf").write_bytes(b"")
    Traceback (most recent call last):
    midspan.base.errors.OutputError: none/a.pdf: cannot be written (No such file or directory); check the name \
and the folder
    """
    try:
        yield
    except OSError as refusal:
        raise error(f"{path}: cannot be written ({refusal.strerror}); {advice}") from refusal


def sync_folder(folder: Path) -> None:
    """Make a new file's name as lasting as its contents; Windows has no way to ask for it."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def unused(path: Path, ending: str) -> Path:
    """A name beside a file that nothing has yet: its own with an ending and a number.

    >>> str(unused(Path("none/night.avro"), "torn"))
    'none/night.avro.torn-1'
    """
    number = 1
    while (beside := path.with_name(f"{path.name}.{ending}-{number}")).exists():
        number += 1
    return beside
