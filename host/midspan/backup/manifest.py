"""The manifest of a backup: every file in it with its length and SHA-256, and what the database held.

It is written last, so that a backup without one was broken off.
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
ROOM = "make room there, or name another folder"
Count = Annotated[int, Field(ge=0)]


def _within(path: str) -> str:
    """A path that stays in its folder: a manifest may have been written by anybody."""
    parts = PurePosixPath(path).parts
    if not parts or PurePosixPath(path).is_absolute() or ".." in parts or "\\" in path or ":" in parts[0]:
        raise ValueError(f"file {path!r} does not lie in the backup; make another backup")
    return path


class Entry(Section):
    """A file of the backup, named from its folder; `was` is where it was copied from."""

    path: Annotated[str, AfterValidator(_within)]
    kind: str
    bytes: Count
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    was: str


class Manifest(Section):
    """What a backup holds. `revision` is that of the database's tables.

    `lacking` says of how many runs the readings were not found when it was made, by the name of their file.
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
    """A new or empty folder that a block fills; when the block fails, nothing of it is left there.

    Raises OutputError when the folder holds something or cannot be made.
    """
    with writing(folder, "name another folder"):
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise OutputError(f"{folder}: is not empty; name a new folder, nothing is ever written over")
    whole = False
    try:
        yield
        whole = True
    finally:
        if not whole:
            for path in folder.iterdir():
                shutil.rmtree(path) if path.is_dir() else path.unlink()


def write_manifest(manifest: Manifest, folder: Path) -> None:
    """Make a backup whole; OutputError when its disk does not take it."""
    path = folder / MANIFEST
    part = path.with_name(f"{MANIFEST}.part")
    with writing(path, ROOM):
        part.write_text(json.dumps(manifest.model_dump(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        sync(part)
        part.rename(path)
        sync_folder(folder)


def read_manifest(folder: Path) -> Manifest:
    """What a backup says of itself; BackupError when it is none, or was broken off."""
    path = folder / MANIFEST
    if not folder.is_dir():
        raise BackupError(f"{folder}: there is no such folder; name that of a backup")
    if not path.is_file():
        raise BackupError(f"{folder}: holds no {MANIFEST}: it is no backup, or one that was broken off; name another")
    with reading(path, BackupError):
        content = path.read_bytes()
    try:
        values = json.loads(content)
    except ValueError as error:
        raise BackupError(f"{path}: is damaged ({error}); take another backup") from error
    if not isinstance(values, dict):
        raise BackupError(f"{path}: is no manifest; take another backup")
    return validated(Manifest, values, path)


def copy_file(source: Path, target: Path, length: int | None = None) -> tuple[int, str]:
    """Copy a file, or its first bytes, to a disk that has them when this returns; their number and SHA-256."""
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
    """Length and SHA-256 of a file; BackupError when it cannot be read."""
    with reading(path, BackupError), path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256")
        return file.tell(), digest.hexdigest()


def sync(path: Path) -> None:
    """Wait until a file that something else wrote is on the disk."""
    with path.open("rb") as file:
        os.fsync(file.fileno())
