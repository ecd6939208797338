"""Copy a database with all its files, also during a sorting run and while the live page is open.

The database is copied first, by SQLite's own copying of a database in use. Archives only grow, so their copies, made
later, hold every run named in the copied database.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from importlib import metadata
from itertools import count
from pathlib import Path

from midspan.backup.belongings import Belongings, Place, a_run_in, settings_of, whole_bytes
from midspan.backup.manifest import ROOM, Entry, Manifest, copy_file, new_folder, seal, sync, write_manifest
from midspan.backup.read_back import read_back
from midspan.base.files import writing
from midspan.store.copying import copy_database, runs_by_name
from midspan.store.place import StorePlace, list_text
from midspan.store.revisions import NEWEST

ELSEWHERE = "elsewhere"  # folder for files from outside the database's folder


def backup(
    folder: Path, source: StorePlace, also: Sequence[Path], now_ms: Callable[[], int]
) -> tuple[Manifest, list[Path]]:
    """Copy a database with all its files into a new folder and read everything back.

    If the backup cannot be completed, the folder is emptied again.

    Parameters
    ----------
    folder : Path
        New or empty folder.
    source : StorePlace
        Database.
    also : Sequence[Path]
        Further files and folders to copy.
    now_ms : Callable[[], int]
        Clock, UTC in ms since 1970.

    Returns
    -------
    tuple[Manifest, list[Path]]
        Content of the backup, and settings files beside the database that were left out because they are not
        Midspan's.

    Raises
    ------
    OutputError
        The folder is not empty, or its disk is full.
    StoreError
        The database cannot be read.
    ArchiveError
        A file of readings cannot be read.
    BackupError
        A named file is missing, a file cannot be read, or the copy is damaged.
    """
    copy = source.moved_to(folder)
    with source.open_to_read() as store, new_folder(folder):
        copy_database(store, copy)
        with writing(copy.file, ROOM):
            sync(copy.file)
        with copy.open_to_read() as copied:
            named = runs_by_name(copied)
        raw = {name: _files_of(name, runs, source) for name, runs in named.items()}
        offsets = {path: offset for files in raw.values() for path, offset in files.items()}
        belongings = _all_of(source, also, offsets)
        targets = _targets(belongings, source)
        entries = [
            _copied(path, kind, folder, targets[path], offsets.get(path)) for path, kind in belongings.kinds.items()
        ]
        listing = copy.list_of_readings
        with writing(listing, ROOM):
            listing.write_text(list_text({name: [targets[path] for path in files] for name, files in raw.items()}))
            sync(listing)
        entries += [_sealed(listing, "list of archives", listing), _sealed(copy.file, "database", source.file)]
        with copy.open_to_read() as copied:
            found = read_back(copied, copy.listed_readings())
        manifest = Manifest(
            midspan=metadata.version("midspan"), revision=NEWEST, made_ms=now_ms(), database=copy.file.name,
            nights=found.nights, runs=found.runs, results=found.results, lacking=found.lacking, file=tuple(entries),
        )  # fmt: skip
        write_manifest(manifest, folder)
    return manifest, belongings.unknown


def _files_of(name: str, runs: set[Place], source: StorePlace) -> dict[Path, int]:
    """Return the files that hold runs of a name, with the offset of a run in each.

    There are two files if the same name was used in two folders.
    """
    found = {}
    for path in source.readings(name):
        offset = a_run_in(path, runs) if path.is_file() else None
        if offset is not None:
            found[path.resolve()] = offset
    return found


def _all_of(source: StorePlace, also: Iterable[Path], raw: Iterable[Path]) -> Belongings:
    """Return all files that belong to a database, without the database itself and the files SQLite keeps beside it."""
    own = source.file.resolve()
    found = settings_of(own.parent, also)
    for path in raw:
        found.add_raw(path)
    for path in list(found.kinds):
        if path.parent == own.parent and path.name.startswith(own.name):
            del found.kinds[path]
    return found


def _targets(belongings: Belongings, source: StorePlace) -> dict[Path, str]:
    """Return the path of each file in the backup.

    A file keeps its place relative to the database, so that plans find what they name; files from outside its folder
    each get a numbered folder.
    """
    own = source.file.resolve().parent
    inside = {path: path.relative_to(own).as_posix() for path in belongings.kinds if path.is_relative_to(own)}
    folders = (f"{ELSEWHERE}/{number}" for number in count(1))
    free = (folder for folder in folders if not any(path.startswith(f"{folder}/") for path in inside.values()))
    return {path: inside.get(path) or f"{next(free)}/{path.name}" for path in belongings.kinds}


def _copied(path: Path, kind: str, folder: Path, target: str, offset: int | None) -> Entry:
    """Copy a file, or only its first complete runs, and return its entry in the manifest."""
    length = None if offset is None else whole_bytes(path, offset)
    copied, digest = copy_file(path, folder / target, length)
    return Entry(path=target, kind=kind, bytes=copied, sha256=digest, was=str(path))


def _sealed(path: Path, kind: str, was: Path) -> Entry:
    """Return the manifest entry of a file that is in the backup already."""
    length, digest = seal(path)
    return Entry(path=path.name, kind=kind, bytes=length, sha256=digest, was=str(was))
