"""The archive of a night: where the readings of a shaft stand, by the journal and by what is truly there.

A step of the journal names the archive by its marker and the place in it, before the readings come. They stand there
or nowhere; where the archive was moved, cut or replaced since, what the gauge still holds is kept once in what stands
there now, and the journal says so.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from midspan.archive.raw_run import RawRun
from midspan.archive.reader import Archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError
from midspan.pipeline.steps import Kept, keep, keep_once
from midspan.store.journal import Journal
from midspan.store.transit import Step, Transit, TransitStage


class NightArchive:
    """Written between `open` and `close`; methods raise ArchiveError, and what the journal's raise."""

    def __init__(self, path: Path, journal: Journal, now_ms: Callable[[], int]) -> None:
        self.path = path
        self._journal, self._now_ms = journal, now_ms
        self._writer: ArchiveWriter | None = None
        self._recent: Kept | None = None  # the newest run

    @property
    def is_open(self) -> bool:
        """Whether it can be written."""
        return self._writer is not None

    def open(self) -> None:
        """Open it, which moves aside what a torn write left; a new one is made where there is none."""
        self.close()
        self._writer = ArchiveWriter(self.path)

    def close(self) -> None:
        """Let go of it, and of what it was known to hold; closing twice does no harm."""
        if self._writer is not None:
            self._writer.close()
        self._writer = self._recent = None

    def check_place(self) -> None:
        """Raise ArchiveGone when the file of its name is not the one that is written, as it was left."""
        self._open_writer.check_place()

    def readings(self, transit: Transit) -> Kept | None:
        """Return the readings of a shaft's newest measurement; None when they are not whole on the disk."""
        measuring = _measuring(transit)
        if measuring is None or measuring.archive_bytes is None:
            return None
        if self._recent is None or self._recent.where.byte_offset != measuring.archive_bytes:
            run = self._read(measuring.archive_bytes, measuring.words)
            self._recent = None if run is None else Kept.at(run, self.path, measuring.archive_bytes)
        return self._recent if self._recent is not None and self._recent.run.shaft == transit.shaft else None

    def _read(self, offset: int, marker: str | None) -> RawRun | None:
        """The run at a place of the archive with this marker; an older journal did not keep the marker."""
        if not self.path.is_file() or self.path.stat().st_size <= offset:
            return None
        try:
            archive = Archive.open(self.path)
            return archive.run_at(offset) if marker in (None, archive.header.marker.hex()) else None
        except ArchiveError:
            return None  # what is not whole is measured again

    def begin_measuring(self, shaft: int) -> None:
        """Note that a shaft is about to be measured, and where in which archive its readings will stand."""
        self.check_place()
        self._note_place(shaft, self._open_writer.end)

    def _note_place(self, shaft: int, offset: int) -> None:
        marker = self._open_writer.marker
        self._journal.note(shaft, Step(TransitStage.MEASURING, self._now_ms(), archive_bytes=offset, words=marker))

    def keep(self, run: RawRun) -> Kept:
        """Put readings on the disk."""
        self._recent = keep(self._open_writer, run)
        return self._recent

    def keep_once(self, run: RawRun) -> Kept:
        """Put readings on the disk unless they stand there already, by whoever put them there."""
        return keep_once(self._open_writer, run)

    def keep_held(self, transit: Transit, run: RawRun) -> None:
        """Store readings that the gauge held: where the journal says, else once in what stands there now."""
        thought, writer = _measuring(transit), self._open_writer
        if thought is None or (thought.archive_bytes, thought.words) != (writer.end, writer.marker):
            found = Archive.open(self.path).find(run)
            self._note_place(transit.shaft, writer.end if found is None else found[0])
            if found is not None:
                return
        self.keep(run)

    @property
    def _open_writer(self) -> ArchiveWriter:
        assert self._writer is not None  # a night opens it before each move that needs it
        return self._writer


def _measuring(transit: Transit) -> Step | None:
    return next(iter(transit.since_measuring), None)
