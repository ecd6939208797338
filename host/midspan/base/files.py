"""Reading and writing files, with what the system refuses turned into Midspan's own errors: one line, with advice.

Files that people or other programs wrote are read whole and only up to a size. A device or a pipe never ends, and a
sparse file of zeros takes no room on the disk but would fill the memory.
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

DEEPEST = 40  # levels of nesting in JSON; Midspan's own files have fewer than ten


@contextmanager
def reading(path: Path, error: type[MidspanError]) -> Iterator[None]:
    """Translate what the system refuses while a block reads a file.

    Parameters
    ----------
    path : Path
        File that the block reads, for the message.
    error : type[MidspanError]
        Class of the error to raise.

    Yields
    ------
    None
        Nothing; the block runs here.

    Raises
    ------
    MidspanError
        An `error` that names the file, in place of an OSError.

    Examples
    --------
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
    """Refuse a path that is not an ordinary file, because it might block when opened or never end.

    Parameters
    ----------
    path : Path
        Path to look at; a link is followed.
    error : type[MidspanError]
        Class of the error to raise.

    Raises
    ------
    MidspanError
        An `error`: there is nothing at the path, or it is a folder, a device or a pipe.

    Examples
    --------
    >>> from midspan.base.errors import ReadingsError
    >>> check_ordinary(Path("/dev/zero"), ReadingsError)
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: /dev/zero: cannot be read (a folder, a device or a pipe); name an ordinary file
    """
    with reading(path, error):
        if not stat.S_ISREG(path.stat().st_mode):
            raise error(f"{path}: cannot be read (a folder, a device or a pipe); name an ordinary file")


def bytes_of(path: Path, error: type[MidspanError], most: int) -> bytes:
    """Return all bytes of a file.

    Parameters
    ----------
    path : Path
        An ordinary file.
    error : type[MidspanError]
        Class of the error to raise.
    most : int
        Largest size accepted, bytes.

    Returns
    -------
    bytes
        The contents.

    Raises
    ------
    MidspanError
        An `error`: the file cannot be read or is larger than `most`.
    """
    check_ordinary(path, error)
    with reading(path, error), path.open("rb") as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise error(f"{path}: is larger than {most // 1000} kB, too large for this kind of file; is it the right one?")
    return content


def text_of(path: Path, error: type[MidspanError], most: int) -> str:
    """Return the text of a file in UTF-8, without a byte order mark.

    Parameters
    ----------
    path : Path
        An ordinary file.
    error : type[MidspanError]
        Class of the error to raise.
    most : int
        Largest size accepted, bytes.

    Returns
    -------
    str
        The contents.

    Raises
    ------
    MidspanError
        An `error`: the file cannot be read, is larger than `most`, or is not UTF-8.
    """
    try:
        return bytes_of(path, error, most).decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise error(f"{path}: is not UTF-8 text (byte {wrong.start}); save it as UTF-8") from wrong


def json_in(text: str | bytes, place: str, error: type[MidspanError]) -> Any:
    """Return the value of a JSON text.

    Parameters
    ----------
    text : str or bytes
        The text.
    place : str
        Where it comes from; the message begins with it.
    error : type[MidspanError]
        Class of the error to raise.

    Returns
    -------
    Any
        The value; every number in it is finite.

    Raises
    ------
    MidspanError
        An `error`: the text is not JSON, is nested too deeply, or has a number that is not finite.

    Examples
    --------
    >>> from midspan.base.errors import ReadingsError
    >>> json_in('{"mass_g": 1e999}', "a.json", ReadingsError)
    Traceback (most recent call last):
    midspan.base.errors.ReadingsError: a.json: is not valid JSON (1e999 is not a finite number)
    """
    try:
        value = json.loads(text, parse_float=_number, parse_constant=_number)
        if _depth(value) > DEEPEST:
            raise ValueError(f"nested deeper than {DEEPEST}")
    except (ValueError, RecursionError) as wrong:  # a whole number with too many digits is a ValueError too
        raise error(f"{place}: is not valid JSON ({wrong})") from wrong
    return value


def _number(text: str) -> float:
    """Return the value of a number in a JSON text, or raise ValueError if it is not finite."""
    if not math.isfinite(value := float(text)):
        raise ValueError(f"{text} is not a finite number")
    return value


def _depth(value: Any) -> int:
    """Return how many levels deep lists and objects are nested, without recursion, which deep nesting would exhaust."""
    depth, level = 0, [value]
    while level:
        level = [inner for outer in level for inner in _inside(outer)]
        depth += 1
    return depth


def _inside(value: Any) -> Iterable[Any]:
    """Return the items of a list or the values of an object, nothing for any other value."""
    return value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()


@contextmanager
def writing(
    path: Path, advice: str = "check the name and the folder", error: type[MidspanError] = OutputError
) -> Iterator[None]:
    """Translate what the system refuses while a block writes a file.

    Parameters
    ----------
    path : Path
        File that the block writes, for the message.
    advice : str
        What the user can do; the end of the message.
    error : type[MidspanError]
        Class of the error to raise.

    Yields
    ------
    None
        Nothing; the block runs here.

    Raises
    ------
    MidspanError
        An `error` that names the file, in place of an OSError.

    Examples
    --------
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
    """Flush the names in a folder to the disk, so that a new file survives a power cut.

    Windows offers no way to do this; there it does nothing.

    Parameters
    ----------
    folder : Path
        Folder in which a file was made or renamed.
    """
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def unused(path: Path, ending: str) -> Path:
    """Return a path beside a file that does not exist yet.

    Parameters
    ----------
    path : Path
        The file.
    ending : str
        Word that says what the new file holds.

    Returns
    -------
    Path
        The name of the file with the ending and the first free number.

    Examples
    --------
    >>> str(unused(Path("none/night.avro"), "torn"))
    'none/night.avro.torn-1'
    """
    number = 1
    while (beside := path.with_name(f"{path.name}.{ending}-{number}")).exists():
        number += 1
    return beside
