"""What the operating system says against a file as one line of Midspan's: what is wrong, where, what to do."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from midspan.errors import MidspanError, OutputError


@contextmanager
def reading(path: Path, error: type[MidspanError]) -> Iterator[None]:
    """A block that reads a file: what the system refuses there is raised as this error, which names the file.

    >>> from midspan.errors import ReadingsError
    >>> with reading(Path("nowhere.csv"), ReadingsError):
    ...     Path("nowhere.csv").read_text()
    Traceback (most recent call last):
    midspan.errors.ReadingsError: nowhere.csv: cannot be read (No such file or directory); check the name
    """
    try:
        yield
    except OSError as refusal:
        raise error(f"{path}: cannot be read ({refusal.strerror}); check the name") from refusal


@contextmanager
def writing(
    path: Path, advice: str = "check the name and the folder", error: type[MidspanError] = OutputError
) -> Iterator[None]:
    """A block that writes a file: what the system refuses there is raised as this error, with what to do about it.

    >>> with writing(Path("none/labels.pdf")):
    ...     Path("none/labels.pdf").write_bytes(b"")
    Traceback (most recent call last):
    midspan.errors.OutputError: none/labels.pdf: cannot be written (No such file or directory); check the name and \
the folder
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
