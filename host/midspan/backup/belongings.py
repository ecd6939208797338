"""Find the files that belong to a database: raw readings named by its runs, calibrations, plans and other settings.

Settings files are recognised by their keys, so that no other program's file gets into a backup.
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
PLAN, CALIBRATION, RECORD, WORKSPACE = "plan", "calibration", "calibration record", "workspace"
WORKSPACE_FILE = "midspan.toml"  # recognised by its name: each of its sections may be missing
RECORDS = "calibration"  # folder of the records
KEYS = {
    "sort": PLAN, "calibration": CALIBRATION, "bin": "bands", "bar": "check standard", "size": "sizes",
    "mass": "masses", "bench": "hand bench", "pattern": "scale", "label_mm": "label sheet",
}  # fmt: skip
Place = tuple[int, int, int]  # byte offset of a run in its file, number of its shaft, start in ms since 1970


@dataclass
class Belongings:
    """Files that belong to a database, in the order they were found.

    Parameters
    ----------
    kinds : dict[Path, str]
        Kind of each file.
    unknown : list[Path]
        Files beside the database that look like settings but are not Midspan's.
    """

    kinds: dict[Path, str] = field(default_factory=dict)
    unknown: list[Path] = field(default_factory=list)
    _seen: set[Path] = field(default_factory=set, init=False)

    def add(self, path: Path, kind: str) -> None:
        """Add a file, unless it is known already.

        Parameters
        ----------
        path : Path
            The file.
        kind : str
            Its kind.
        """
        self.kinds.setdefault(path.resolve(), kind)

    def add_settings(self, path: Path) -> None:
        """Add a settings file with all files it names; a file of another program goes to `unknown`.

        Parameters
        ----------
        path : Path
            The file.
        """
        if path.resolve() in self._seen:  # a plan may name itself, or two plans each other
            return
        self._seen.add(path.resolve())
        kind = kind_of(path)
        if kind is None:
            self.unknown.append(path)
            return
        self.add(path, kind)
        if kind == WORKSPACE:
            self.add_records(path.parent / text_at(path, "files", "records"))
        if kind in (PLAN, WORKSPACE):
            for name in named_by(path) if kind == PLAN else named_by_workspace(path):
                if (path.parent / name).is_file():
                    self.add_settings(path.parent / name)
        if kind == CALIBRATION:
            self.add_records(path.parent / RECORDS)

    def add_records(self, folder: Path) -> None:
        """Add the calibration records in a folder and their tables of readings.

        Parameters
        ----------
        folder : Path
            The folder, which need not exist.
        """
        for path in sorted((*folder.glob("*.json"), *folder.glob("*.csv"))):
            self.add(path, RECORD)

    def add_raw(self, path: Path) -> None:
        """Add a file of raw readings, and the incomplete shafts that a power cut left at its end.

        Parameters
        ----------
        path : Path
            The file.
        """
        self.add(path, ARCHIVE if is_archive(path) else HAND)
        for torn in sorted(path.parent.glob(f"{path.name}.torn-*")):
            self.add(torn, TORN)


def settings_of(folder: Path, also: Iterable[Path]) -> Belongings:
    """Return the settings beside a database and the files that a person named.

    Parameters
    ----------
    folder : Path
        Folder of the database.
    also : Iterable[Path]
        Further files and folders.

    Returns
    -------
    Belongings
        The files found.

    Raises
    ------
    BackupError
        A named file is missing (code "missing").
    """
    found = Belongings()
    for path in sorted(folder.glob("*.toml")):
        found.add_settings(path)
    found.add_records(folder / RECORDS)
    for path in also:
        if path.is_dir():
            for inner in sorted(path.rglob("*")):
                if inner.is_file():
                    found.add(inner, "named")
        elif not path.is_file():
            raise BackupError(f"{path}: no such file; correct the name", code="missing")
        elif kind_of(path) is None:
            found.add(path, "named")
        else:
            found.add_settings(path)
    return found


def kind_of(path: Path) -> str | None:
    """Return the purpose of a settings file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str | None
        Its kind, None if it is not Midspan's.
    """
    if path.name == WORKSPACE_FILE:
        return WORKSPACE
    try:
        keys = read_toml(path).keys()
    except ConfigurationError:
        return None
    return next((kind for key, kind in KEYS.items() if key in keys), None)


def named_by(plan: Path) -> tuple[str, ...]:
    """Return the settings files that a plan names.

    Parameters
    ----------
    plan : Path
        Plan of a sorting run.

    Returns
    -------
    tuple[str, ...]
        Calibration and bands, relative to the plan's folder; empty if the plan has a mistake.
    """
    try:
        loaded = load_sort_plan(plan)
    except ConfigurationError:
        return ()
    return loaded.gauge.calibration, loaded.sort.bands


def named_by_workspace(path: Path) -> tuple[str, ...]:
    """Return the settings files that a workspace file names.

    Parameters
    ----------
    path : Path
        Workspace file, which may have mistakes.

    Returns
    -------
    tuple[str, ...]
        Names relative to its folder; those that it leaves out have names that are found anyway.
    """
    keys = [
        ("gauge", "calibration"),
        *(("files", key) for key in ("bands", "masses", "bench", "plan", "sizes", "scale")),
    ]
    return tuple(name for section, key in keys if (name := text_at(path, section, key)))


def text_at(path: Path, section: str, key: str) -> str:
    """Return a text in a settings file.

    Parameters
    ----------
    path : Path
        The file.
    section, key : str
        Where the text stands.

    Returns
    -------
    str
        The text; the usual folder of records or an empty text if there is none.
    """
    usual = RECORDS if key == "records" else ""
    try:
        table = read_toml(path).get(section)
    except ConfigurationError:
        return usual
    value = table.get(key) if isinstance(table, dict) else None
    return value if isinstance(value, str) else usual


def is_archive(path: Path) -> bool:
    """Return True if a file of raw readings is an Avro archive.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool
        False for the lines of a hand bench.

    Raises
    ------
    ArchiveError
        The file cannot be read.
    """
    with reading(path, ArchiveError), path.open("rb") as file:
        return file.read(len(MAGIC)) == MAGIC


def runs_in(path: Path) -> Iterator[Place]:
    """Yield every complete run in a file of raw readings, after reading it to its last byte.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    Place
        Byte offset, number of the shaft and start in ms since 1970.

    Raises
    ------
    ArchiveError
        The archive is damaged; damaged lines of a hand bench are skipped instead.
    """
    if is_archive(path):
        for offset, run in Archive.open(path).entries():
            yield offset, run.shaft, run.started_ms
        return
    found = sessions(path)
    while True:
        try:
            session = next(found)
        except (StopIteration, ArchiveError):  # raised for damaged lines after all good sessions were given
            return
        yield session.byte_offset, session.shaft, session.started_ms


def a_run_in(path: Path, runs: Collection[Place]) -> int | None:
    """Return where one of several runs is in a file.

    Parameters
    ----------
    path : Path
        File of raw readings.
    runs : Collection[Place]
        Runs to look for.

    Returns
    -------
    int | None
        Byte offset of a run found, None if the file holds none of them.
    """
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
    """Return the length of a file of raw readings without a run that is being written at its end.

    Parameters
    ----------
    path : Path
        The file.
    offset : int
        Byte offset of any complete run in it.

    Returns
    -------
    int
        Length, bytes.

    Raises
    ------
    ArchiveError
        The file cannot be read.
    """
    if is_archive(path):
        return Archive.open(path).whole_bytes(offset)
    with reading(path, ArchiveError):
        return path.read_bytes().rfind(b"\n") + 1
