"""Find shafts of a night with verdicts whose raw readings are not where they were stored.

Archives only grow. An archive that is as long as it was and begins with the same marker is whole; in any other archive
every run is looked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from midspan.archive.reader import Archive
from midspan.base.errors import ArchiveError
from midspan.store.evaluation import RunReference
from midspan.store.transit import Transit
from midspan.wire.records import HostFault

READINGS_GONE = HostFault.READINGS_GONE.value
Run = tuple[int, int, int]  # offset of its block, number of its shaft, when it began in ms


def readings_gone(judged: Mapping[int, RunReference], transits: Sequence[Transit], archive: Path) -> list[int]:
    """Return the finished shafts of a night that were judged, at least once, by readings that are gone.

    Parameters
    ----------
    judged : Mapping[int, RunReference]
        Runs of the night by number of the result.
    transits : Sequence[Transit]
        Shafts of the night.
    archive : Path
        Archive that is written now.

    Returns
    -------
    list[int]
        Numbers of the shafts, ascending.
    """
    ended = (transit for transit in transits if not transit.is_open)
    judged_by = {step.result for transit in ended for step in transit.steps if step.result is not None}
    runs: dict[Path, set[Run]] = {}
    for run in (run for number, run in judged.items() if number in judged_by):
        # The same file may have been named relative to another folder at that time.
        path = archive if Path(run.archive).name == archive.name else Path(run.archive)
        runs.setdefault(path, set()).add((run.byte_offset, run.shaft, run.started_ms))
    marker = newest_marker(transits)
    return sorted({run[1] for path, some in runs.items() for run in _missing(path, some, marker)})


def newest_marker(transits: Iterable[Transit]) -> str | None:
    """Return the marker of the archive that a night wrote last.

    Parameters
    ----------
    transits : Iterable[Transit]
        Shafts of the night.

    Returns
    -------
    str | None
        The marker; None if the night wrote no archive, or its journal has no markers.
    """
    steps = [step for transit in transits for step in transit.steps if step.archive_bytes is not None]
    return steps[-1].words if steps else None


def _missing(path: Path, wanted: set[Run], marker: str | None) -> set[Run]:
    """Return the runs that are not in an archive, all of them if it cannot be read."""
    try:
        archive = Archive.open(path)
        if marker in (None, archive.header.marker.hex()) and path.stat().st_size > max(wanted)[0]:
            return set()
        return wanted - {(offset, run.shaft, run.started_ms) for offset, run in archive.entries()}
    except (ArchiveError, OSError):
        return wanted
