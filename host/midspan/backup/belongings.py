"""What belongs to a database of results: raw readings that its runs name, calibrations, plans and other settings.

Settings are known by their keys, so that nobody else's file gets into a backup.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from midspan.archive.avro_container import MAGIC
from midspan.archive.reader import Archive
from midspan.base.config import read_toml
from midspan.base.errors import ArchiveError, BackupError, ConfigurationError
from midspan.base.files import reading
from midspan.hand_bench.sessions import sessions
from midspan.sorting.plan import load_sort_plan

ARCHIVE, HAND, TORN = "archive", "hand readings", "half-stored shaft"
PLAN, CALIBRATION, RECORD = "plan", "calibration", "calibration record"
RECORDS = "calibration"  # folder of the records
KEYS = {
    "sort": PLAN, "calibration": CALIBRATION, "bin": "bands", "bar": "check standard", "size": "sizes",
    "mass": "masses", "bench": "hand bench", "pattern": "scale", "label_mm": "label sheet",
}  # fmt: skip
Place = tuple[int, int, int]  # offset, shaft and time of a run in its file


@dataclass
class Belongings:
    """Files by kind, in the order they were found; `strange` are settings beside the database that are not known."""

    kinds: dict[Path, str] = field(default_factory=dict)
    strange: list[Path] = field(default_factory=list)
    _seen: set[Path] = field(default_factory=set, init=False)

    def add(self, path: Path, kind: str) -> None:
        """Note a file once."""
        self.kinds.setdefault(path.resolve(), kind)

    def add_settings(self, path: Path) -> None:
        """Note a file of settings once, with all that it names; one of another program is strange."""
        if path.resolve() in self._seen:  # two plans may name each other
            return
        self._seen.add(path.resolve())
        kind = kind_of(path)
        if kind is None:
            self.strange.append(path)
            return
        self.add(path, kind)
        if kind == PLAN:
            for name in named_by(path):
                if (path.parent / name).is_file():
                    self.add_settings(path.parent / name)
        if kind == CALIBRATION:
            self.add_records(path.parent / RECORDS)

    def add_records(self, folder: Path) -> None:
        """Note the records of calibrations in a folder, and the tables of readings beside them."""
        for path in sorted((*folder.glob("*.json"), *folder.glob("*.csv"))):
            self.add(path, RECORD)

    def add_raw(self, path: Path) -> None:
        """Note a file of raw readings, and what a power cut had left at its end."""
        self.add(path, ARCHIVE if is_archive(path) else HAND)
        for torn in sorted(path.parent.glob(f"{path.name}.torn-*")):
            self.add(torn, TORN)


def settings_of(folder: Path, also: Iterable[Path]) -> Belongings:
    """All settings beside a database, and what else was named; BackupError when that is not there."""
    found = Belongings()
    for path in sorted(folder.glob("*.toml")):
        found.add_settings(path)
    found.add_records(folder / RECORDS)
    for path in also:
        if path.is_dir():
            for one in sorted(path.rglob("*")):
                if one.is_file():
                    found.add(one, "named")
        elif not path.is_file():
            raise BackupError(f"{path}: there is no such file; correct its name")
        elif kind_of(path) is None:
            found.add(path, "named")
        else:
            found.add_settings(path)
    return found


def kind_of(path: Path) -> str | None:
    """What a file of settings is for, None when it is none of Midspan's."""
    try:
        keys = read_toml(path).keys()
    except ConfigurationError:
        return None
    return next((kind for key, kind in KEYS.items() if key in keys), None)


def named_by(plan: Path) -> tuple[str, ...]:
    """The settings that a plan names, from its folder; none when it has a mistake in it."""
    try:
        loaded = load_sort_plan(plan)
    except ConfigurationError:
        return ()
    return loaded.gauge.calibration, loaded.sort.bands


def is_archive(path: Path) -> bool:
    """Whether a file of raw readings is an Avro archive; it has lines of a hand bench otherwise."""
    with reading(path, ArchiveError), path.open("rb") as file:
        return file.read(len(MAGIC)) == MAGIC


def runs_in(path: Path) -> Iterator[Place]:
    """Where every whole run of a file of raw readings is, each read to its last byte."""
    if is_archive(path):
        for offset, run in Archive.open(path).entries():
            yield offset, run.shaft, run.started_ms
        return
    found = sessions(path)
    while True:
        try:
            session = next(found)
        except (StopIteration, ArchiveError):  # which tells of lines that are no reading, after all that are
            return
        yield session.byte_offset, session.shaft, session.started_ms


def a_run_in(path: Path, runs: Collection[Place]) -> int | None:
    """The offset of one of these runs that is in a file, None when it holds none of them."""
    try:
        if not is_archive(path):
            return max((place[0] for place in runs_in(path) if place in runs), default=None)
        archive = Archive.open(path)
    except ArchiveError:
        return None
    for place in sorted(runs, reverse=True):
        with suppress(ArchiveError):
            run = archive.run_at(place[0])
            if (place[0], run.shaft, run.started_ms) == place:
                return place[0]
    return None


def whole_bytes(path: Path, offset: int) -> int:
    """How long a file of raw readings is without what is being stored at its end just now; `offset` is of a run."""
    if is_archive(path):
        return Archive.open(path).whole_bytes(offset)
    with reading(path, ArchiveError):
        return path.read_bytes().rfind(b"\n") + 1
