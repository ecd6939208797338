"""Appending raw runs to an archive so that a power cut at any moment loses no stored shaft."""

from __future__ import annotations

import logging
import os
import shutil
import sys
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from types import TracebackType

from midspan.archive import avro_container, raw_run_codec
from midspan.archive.avro_container import MARKER_BYTES, Gap
from midspan.archive.raw_run import RawRun
from midspan.base.errors import ArchiveError, ArchiveGone
from midspan.base.files import sync_folder, unused, writing
from midspan.wire.schema import raw_run_schema

LOG = logging.getLogger(__name__)

ADVICE = "put it back if you have it, then go on: what the gauge still holds is kept in what stands there"


@dataclass(frozen=True, slots=True)
class MovedTail:
    """What a torn write had left at the end of an archive, and the file it was moved to."""

    path: Path
    length: int

    def __str__(self) -> str:
        return f"{self.length} bytes of a half-stored shaft were moved to {self.path}"


class ArchiveWriter:
    """Appends runs to an archive, which it makes when there is none; one writer at a time (POSIX only).

    `moved` tells what was moved aside of a torn write (None when nothing was). A new file needs 16 random bytes
    as its marker; they come from the operating system unless given.

    Raises ArchiveError when the file is no archive of this version's schema, is in use, or cannot be written.

    >>> import tempfile
    >>> from midspan.archive.reader import read_archive
    >>> path = Path(tempfile.mkdtemp()) / "batch.avro"
    >>> with ArchiveWriter(path) as writer:
    ...     print(writer.moved)
    None
    >>> list(read_archive(path))
    []
    """

    def __init__(self, path: Path, marker: bytes | None = None) -> None:
        self.path = path
        self.moved: MovedTail | None = None
        with writing(path, "check the folder", ArchiveError):
            self._file = FileIO(path, "a+")
        try:
            self._lock()
            self._marker = self._prepare(marker or os.urandom(MARKER_BYTES))
            self._end = self._file.seek(0, os.SEEK_END)
        except OSError as error:
            self.close()
            raise ArchiveError(f"{path}: cannot be made ready ({error.strerror})") from error
        except ArchiveError:
            self.close()
            raise

    @property
    def marker(self) -> str:
        """The random bytes by which this archive is told from every other, as hex."""
        return self._marker.hex()

    @property
    def end(self) -> int:
        """Where the next block will stand."""
        return self._end

    def check_place(self) -> None:
        """Raise ArchiveGone when the file of this name is not the one that is written here, as it was left."""
        try:
            found, own = self.path.stat(), os.fstat(self._file.fileno())
        except OSError as error:
            raise ArchiveGone(f"{self.path}: the archive is not there any more ({error.strerror}); {ADVICE}") from error
        if (found.st_dev, found.st_ino) != (own.st_dev, own.st_ino):
            raise ArchiveGone(f"{self.path}: another file took the place of the archive; {ADVICE}")
        if own.st_size != self._end:
            raise ArchiveGone(
                f"{self.path}: it has {own.st_size} bytes, not {self._end}: another program cut or wrote it; {ADVICE}"
            )

    def append(self, run: RawRun) -> int:
        """Store a run and return the offset of its block; the run is on the disk when this returns.

        Raises ArchiveGone as `check_place` does, and ArchiveError when the run does not fit the schema (the file is
        unchanged), or when it cannot be written: the archive is closed then, and opening it again moves away what was
        half-written.
        """
        block = avro_container.block_bytes(raw_run_codec.encode(run), self._marker)
        try:
            self.check_place()
            offset = self._file.seek(0, os.SEEK_END)
            self._write(block)
            self._end = offset + len(block)
        except (OSError, ValueError) as error:
            self.close()
            raise ArchiveError(f"{self.path}: {run.name} could not be stored ({error}); open it again") from error
        return offset

    def close(self) -> None:
        """Let go of the file; closing twice does no harm."""
        self._file.close()

    def __enter__(self) -> ArchiveWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write(self, data: bytes) -> None:
        written = self._file.write(data)
        if written != len(data):
            raise OSError(f"only {written} of {len(data)} bytes were written; is the disk full?")
        os.fsync(self._file.fileno())

    def _lock(self) -> None:
        if sys.platform == "win32":
            return
        import fcntl

        try:
            fcntl.flock(self._file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise ArchiveError(f"{self.path}: another program is storing to it; wait, or name another") from error

    def _prepare(self, marker: bytes) -> bytes:
        new = avro_container.header_bytes(raw_run_schema(), marker)
        if self._starts_like(new[:-MARKER_BYTES]):
            self._move_tail(0)
            self._write(new)
            sync_folder(self.path.parent)
            return marker
        header = avro_container.read_header(self._file, str(self.path))
        self._check(header.fingerprint)
        for part in avro_container.walk(self._file, header, raw_run_codec.is_guarded):
            if isinstance(part, Gap) and part.torn:
                self._move_tail(part.offset)
        return header.marker

    def _starts_like(self, header: bytes) -> bool:
        """True for an empty file and for one whose very header was cut short."""
        self._file.seek(0)
        start = self._file.read(len(header) + MARKER_BYTES)
        return len(start) < len(header) + MARKER_BYTES and (header.startswith(start) or start.startswith(header))

    def _check(self, found: str) -> None:
        expected = avro_container.fingerprint(raw_run_schema())
        if found != expected:
            raise ArchiveError(f"{self.path}: its schema is {found}, this version's {expected}; start a new file")

    def _move_tail(self, offset: int) -> None:
        length = self._file.seek(0, os.SEEK_END) - offset
        if not length:
            return
        self._file.seek(offset)
        with unused(self.path, "torn").open("xb") as tail:
            shutil.copyfileobj(self._file, tail)
            tail.flush()
            os.fsync(tail.fileno())
        sync_folder(self.path.parent)
        self._file.truncate(offset)
        os.fsync(self._file.fileno())
        self.moved = MovedTail(Path(tail.name), length)
        LOG.warning("%s ended in %d bytes that are no whole run: moved to %s", self.path, length, tail.name)
