"""Manifest of a backup: every file with its length and SHA-256, and the counts of the database.

It is written last; a backup without a manifest was interrupted.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from midspan.base.config import ARRAY, Section, validated
from midspan.base.errors import BackupError, OutputError
from midspan.base.files import reading, sync_folder, writing

MANIFEST = "manifest.json"
PIECE_BYTES = 1 << 20
ROOM = "make room there, or choose another folder"
Count = Annotated[int, Field(ge=0)]


def _within(path: str) -> str:
    """Return a path that stays inside its folder; raises ValueError for others: anyone may have written a manifest."""
    parts = PurePosixPath(path).parts
    if not parts or PurePosixPath(path).is_absolute() or ".." in parts or "\\" in path or ":" in parts[0]:
        raise ValueError(f"file {path!r} is outside the backup; use another backup")
    return path


class Entry(Section):
    """File of a backup.

    Parameters
    ----------
    path : str
        Path relative to the backup's folder.
    kind : str
        Kind of the file.
    bytes : int
        Length, bytes.
    sha256 : str
        SHA-256 of its content, 64 hexadecimal digits.
    was : str
        Path from which it was copied.
    """

    path: Annotated[str, AfterValidator(_within)]
    kind: str
    bytes: Count
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    was: str


class Manifest(Section):
    """Content of a backup.

    Parameters
    ----------
    midspan_backup : int
        Version of the manifest.
    midspan : str
        Version of Midspan that made the backup.
    revision : int
        Revision of the database's tables.
    made_ms : int
        When the backup was made, UTC in ms since 1970.
    database : str
        File name of the database.
    nights : int
        Number of sorting runs.
    runs : int
        Number of measurements.
    results : int
        Number of results.
    lacking : dict[str, int]
        Number of measurements whose readings were missing when the backup was made, by the name of their file.
    file : tuple[Entry, ...]
        All files.
    """

    midspan_backup: Literal[1] = 1
    midspan: str
    revision: int
    made_ms: int
    database: Annotated[str, AfterValidator(_within)]
    nights: Count
    runs: Count
    results: Count
    lacking: dict[str, int]
    file: Annotated[tuple[Entry, ...], ARRAY]


@contextmanager
def new_folder(folder: Path) -> Iterator[None]:
    """Make a new or empty folder for a block to fill, and empty it again if the block fails.

    Parameters
    ----------
    folder : Path
        The folder.

    Yields
    ------
    None
        The folder is there and empty.

    Raises
    ------
    OutputError
        The folder is not empty (code "not_empty"), or cannot be made.
    """
    with writing(folder, "choose another folder"):
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise OutputError(
                f"{folder}: is not empty; choose a new folder, existing files are never overwritten", code="not_empty"
            )
    whole = False
    try:
        yield
        whole = True
    finally:
        if not whole:
            for path in folder.iterdir():
                shutil.rmtree(path) if path.is_dir() else path.unlink()


def write_manifest(manifest: Manifest, folder: Path) -> None:
    """Write the manifest, which completes the backup.

    Parameters
    ----------
    manifest : Manifest
        Content of the backup.
    folder : Path
        Folder of the backup.

    Raises
    ------
    OutputError
        The disk is full or failing.
    """
    path = folder / MANIFEST
    part = path.with_name(f"{MANIFEST}.part")
    with writing(path, ROOM):
        part.write_text(json.dumps(manifest.model_dump(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        sync(part)
        part.rename(path)
        sync_folder(folder)


def read_manifest(folder: Path) -> Manifest:
    """Return the manifest of a backup.

    Parameters
    ----------
    folder : Path
        Folder of the backup.

    Returns
    -------
    Manifest
        Content of the backup.

    Raises
    ------
    BackupError
        The folder does not exist, has no manifest (code "incomplete"), or the manifest is damaged (code
        "manifest_damaged").
    ConfigurationError
        A value in the manifest is missing or wrong.
    """
    path = folder / MANIFEST
    if not folder.is_dir():
        raise BackupError(f"{folder}: no such folder; give the folder of a backup")
    if not path.is_file():
        raise BackupError(
            f"{folder}: has no {MANIFEST}: not a backup, or an interrupted one; choose another",
            code="incomplete",
        )
    with reading(path, BackupError):
        content = path.read_bytes()
    try:
        values = json.loads(content)
    except ValueError as error:
        raise BackupError(f"{path}: is damaged ({error}); use another backup", code="manifest_damaged") from error
    if not isinstance(values, dict):
        raise BackupError(f"{path}: is not a manifest; use another backup", code="manifest_damaged")
    return validated(Manifest, values, path)


def copy_file(source: Path, target: Path, length: int | None = None) -> tuple[int, str]:
    """Copy a file, or its first bytes, and wait until the copy is on the disk.

    Parameters
    ----------
    source : Path
        File to copy.
    target : Path
        File to make, which must not exist.
    length : int | None
        Number of bytes to copy, None for the whole file.

    Returns
    -------
    tuple[int, str]
        Number of bytes copied and their SHA-256.

    Raises
    ------
    BackupError
        The source cannot be read.
    OutputError
        The target cannot be written.
    """
    digest, copied = hashlib.sha256(), 0
    with reading(source, BackupError), source.open("rb") as file, writing(target, ROOM):
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as copy:
            while piece := file.read(PIECE_BYTES if length is None else min(PIECE_BYTES, length - copied)):
                copy.write(piece)
                digest.update(piece)
                copied += len(piece)
            copy.flush()
            os.fsync(copy.fileno())
        sync_folder(target.parent)
    return copied, digest.hexdigest()


def seal(path: Path) -> tuple[int, str]:
    """Return length and SHA-256 of a file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    tuple[int, str]
        Length in bytes, and SHA-256 in hexadecimal digits.

    Raises
    ------
    BackupError
        The file cannot be read.
    """
    with reading(path, BackupError), path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256")
        return file.tell(), digest.hexdigest()


def sync(path: Path) -> None:
    """Wait until a file written by other code is on the disk.

    Parameters
    ----------
    path : Path
        The file.
    """
    with path.open("rb") as file:
        os.fsync(file.fileno())
