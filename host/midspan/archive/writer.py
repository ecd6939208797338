"""Writing of archives so that a power cut at any moment loses no stored shaft.

Files only grow. A run is on the disk when `append` returns. What a power cut left half-written is never deleted, but
moved to another file.
"""

from __future__ import annotations

import logging
import os
import shutil
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from types import TracebackType

from midspan.archive import avro_container, raw_run_codec
from midspan.archive.avro_container import MARKER_BYTES, Gap
from midspan.archive.raw_run import RawRun
from midspan.base.errors import ArchiveError, ArchiveGone
from midspan.base.file_lock import is_locked_now
from midspan.base.files import sync_folder, unused, writing
from midspan.wire.schema import raw_run_schema

LOG = logging.getLogger(__name__)

ADVICE = "put it back if you have it, then go on: readings that the gauge still holds go into the file found there"


@dataclass(frozen=True, slots=True)
class MovedTail:
    """Half-written bytes that were found at the end of an archive and moved aside.

    Parameters
    ----------
    path : Path
        File that they were moved to.
    length : int
        Number of bytes.
    """

    path: Path
    length: int

    def __str__(self) -> str:
        return f"{self.length} bytes of a half-stored shaft were moved to {self.path}"


class ArchiveWriter:
    """Writer that appends runs to an archive, which it makes if there is none.

    Use it in a `with` block, which closes the file. A lock allows one writer at a time (POSIX only). `moved` is what an
    earlier writer left half-written, now moved aside, or None.

    Parameters
    ----------
    path : Path
        The file.
    marker : bytes or None
        The 16 bytes that mark a new file's blocks; None for random ones.

    Raises
    ------
    ArchiveError
        The file is not an archive of this version's schema, is in use, or cannot be written.

    Examples
    --------
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
            raise ArchiveError(
                f"{path}: cannot be prepared for writing ({error.strerror}); check disk and folder"
            ) from error
        except ArchiveError:
            self.close()
            raise

    @property
    def marker(self) -> str:
        """Random bytes that distinguish this archive from every other, as hex."""
        return self._marker.hex()

    @property
    def end(self) -> int:
        """Offset of the next block, bytes."""
        return self._end

    def check_place(self) -> None:
        """Check that the file of this name is still the file being written, and that nothing else changed it.

        Raises
        ------
        ArchiveGone
            It was moved, deleted, replaced, cut or written to.
        """
        try:
            found, own = self.path.stat(), os.fstat(self._file.fileno())
        except OSError as error:
            raise ArchiveGone(f"{self.path}: the archive is gone ({error.strerror}); {ADVICE}") from error
        if (found.st_dev, found.st_ino) != (own.st_dev, own.st_ino):
            raise ArchiveGone(f"{self.path}: another file has taken its name; {ADVICE}")
        if own.st_size != self._end:
            raise ArchiveGone(
                f"{self.path}: it has {own.st_size} bytes, not {self._end}: another program changed it; {ADVICE}"
            )

    def append(self, run: RawRun) -> int:
        """Store a run; it is on the disk when this returns.

        Parameters
        ----------
        run : RawRun
            The run.

        Returns
        -------
        int
            Offset of its block, bytes.

        Raises
        ------
        ArchiveGone
            The file was moved or changed, as `check_place` says.
        ArchiveError
            The run does not fit the schema, and the file is unchanged; or it cannot be written, and the archive is now
            closed: opening it again moves aside what was half-written.
        """
        block = avro_container.block_bytes(raw_run_codec.encode(run), self._marker)
        try:
            self.check_place()
            offset = self._file.seek(0, os.SEEK_END)
            self._write(block)
            self._end = offset + len(block)
        except (OSError, ValueError) as error:
            self.close()
            raise ArchiveError(
                f"{self.path}: {run.name} could not be stored ({error}); open the archive again", code="not_stored"
            ) from error
        return offset

    def close(self) -> None:
        """Close the file; closing it twice does no harm."""
        self._file.close()

    def __enter__(self) -> ArchiveWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write(self, data: bytes) -> None:
        """Write bytes to the disk, or raise OSError if not all of them could be written."""
        written = self._file.write(data)
        if written != len(data):
            raise OSError(f"only {written} of {len(data)} bytes were written; is the disk full?")
        os.fsync(self._file.fileno())

    def _lock(self) -> None:
        """Raise ArchiveError if the file is already open for writing anywhere."""
        if not is_locked_now(self._file.fileno()):
            raise ArchiveError(
                f"{self.path}: another session or run is adding readings to it; end that one (q in a session), or "
                "name another file",
                code="in_use",
            )

    def _prepare(self, marker: bytes) -> bytes:
        """Return the marker of the file, after writing its header if it is new or moving a torn tail aside."""
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
        """Return True if the file is empty or was cut short within its header."""
        self._file.seek(0)
        start = self._file.read(len(header) + MARKER_BYTES)
        return len(start) < len(header) + MARKER_BYTES and (header.startswith(start) or start.startswith(header))

    def _check(self, found: str) -> None:
        """Raise ArchiveError if a schema's fingerprint is not that of this version."""
        expected = avro_container.fingerprint(raw_run_schema())
        if found != expected:
            raise ArchiveError(
                f"{self.path}: has the form of another version (schema {found}, this one's is {expected}) and stays "
                "readable as it is; name a new file for new runs",
                code="other_form",
            )

    def _move_tail(self, offset: int) -> None:
        """Move everything from an offset on to a file of its own, if there is anything."""
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
        LOG.warning("%s ended in %d bytes that are not a complete run: moved to %s", self.path, length, tail.name)
