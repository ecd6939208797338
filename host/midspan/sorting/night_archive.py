"""The archive of a night: where the readings of each shaft are, by the journal and by what is on the disk.

Before the readings come, a step of the journal names the archive by its marker, and the place in it. The readings are
there or nowhere. If the archive was moved, cut or replaced since, what the gauge still holds is kept once in the
archive that is there now, and the journal says so.
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
from midspan.store.transit import Transit, TransitStage, WayStep


class NightArchive:
    """The archive of a night, writable between `open` and `close`.

    Parameters
    ----------
    path : Path
        The file.
    journal : Journal
        Journal of the night.
    now_ms : Callable[[], int]
        Returns the time, ms since 1970 UTC.
    """

    def __init__(self, path: Path, journal: Journal, now_ms: Callable[[], int]) -> None:
        self.path = path
        self._journal, self._now_ms = journal, now_ms
        self._writer: ArchiveWriter | None = None
        self._recent: Kept | None = None  # the newest run

    @property
    def is_open(self) -> bool:
        """True if it can be written."""
        return self._writer is not None

    def open(self) -> None:
        """Open the archive or make a new one; the remains of a torn write are moved aside.

        Raises
        ------
        ArchiveError
            The file cannot be opened, or is not an archive.
        """
        self.close()
        self._writer = ArchiveWriter(self.path)

    def close(self) -> None:
        """Close the archive; closing twice does no harm."""
        if self._writer is not None:
            self._writer.close()
        self._writer = self._recent = None

    def check_place(self) -> None:
        """Check that the file of its name is still the file that is written.

        Raises
        ------
        ArchiveGone
            The file was moved, cut, replaced or deleted.
        """
        self._open_writer.check_place()

    def readings(self, transit: Transit) -> Kept | None:
        """Return the readings of a shaft's newest measurement.

        Parameters
        ----------
        transit : Transit
            The shaft's way.

        Returns
        -------
        Kept | None
            The readings; None if they are not whole on the disk.
        """
        measuring = _measuring(transit)
        if measuring is None or measuring.archive_bytes is None:
            return None
        if self._recent is None or self._recent.where.byte_offset != measuring.archive_bytes:
            run = self._read(measuring.archive_bytes, measuring.words)
            self._recent = None if run is None else Kept.at(run, self.path, measuring.archive_bytes)
        return self._recent if self._recent is not None and self._recent.run.shaft == transit.shaft else None

    def _read(self, offset: int, marker: str | None) -> RawRun | None:
        """Return the run at a place of the archive, None if it is not there.

        A journal of an older version has no marker.
        """
        if not self.path.is_file() or self.path.stat().st_size <= offset:
            return None
        try:
            archive = Archive.open(self.path)
            return archive.run_at(offset) if marker in (None, archive.header.marker.hex()) else None
        except ArchiveError:
            return None  # a shaft without whole readings is measured again

    def begin_measuring(self, shaft: int) -> None:
        """Note that a shaft is about to be measured, and where its readings will be.

        Parameters
        ----------
        shaft : int
            Its number.

        Raises
        ------
        ArchiveGone
            The file is not the one that is written.
        StoreError
            The journal cannot be written.
        """
        self.check_place()
        self._note_place(shaft, self._open_writer.end)

    def _note_place(self, shaft: int, offset: int) -> None:
        """Note the archive and the place in it for a shaft's readings."""
        marker = self._open_writer.marker
        self._journal.note(shaft, WayStep(TransitStage.MEASURING, self._now_ms(), archive_bytes=offset, words=marker))

    def keep(self, run: RawRun) -> Kept:
        """Put readings on the disk.

        Parameters
        ----------
        run : RawRun
            The readings.

        Returns
        -------
        Kept
            The readings and their place.

        Raises
        ------
        ArchiveError
            The disk cannot be written.
        """
        self._recent = keep(self._open_writer, run)
        return self._recent

    def keep_once(self, run: RawRun) -> Kept:
        """Put readings on the disk unless they are there already.

        Parameters
        ----------
        run : RawRun
            The readings.

        Returns
        -------
        Kept
            The readings and their place.

        Raises
        ------
        ArchiveError
            The disk cannot be read or written.
        """
        return keep_once(self._open_writer, run)

    def keep_held(self, transit: Transit, run: RawRun) -> None:
        """Keep readings that the gauge held: at the place in the journal, or once in the archive that is there now.

        Parameters
        ----------
        transit : Transit
            The shaft's way.
        run : RawRun
            The readings.

        Raises
        ------
        ArchiveError
            The disk cannot be read or written.
        StoreError
            The journal cannot be written.
        """
        thought, writer = _measuring(transit), self._open_writer
        if thought is None or (thought.archive_bytes, thought.words) != (writer.end, writer.marker):
            found = Archive.open(self.path).find(run)
            self._note_place(transit.shaft, writer.end if found is None else found[0])
            if found is not None:
                return
        self.keep(run)

    @property
    def _open_writer(self) -> ArchiveWriter:
        """The open writer."""
        assert self._writer is not None  # the night opens it before each action that needs it
        return self._writer


def _measuring(transit: Transit) -> WayStep | None:
    """Return the step that begins the newest measurement, None if there is none."""
    return next(iter(transit.since_measuring), None)
