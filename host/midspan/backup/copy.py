"""`midspan backup`: a database with all that belongs to it, copied while a night runs and a page is open.

The database comes first, through SQLite's own way of copying one that is in use. Archives only grow, so what is copied
of them afterwards holds every run that the copied database names.
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
from midspan.store.upgrade import NEWEST

ELSEWHERE = "elsewhere"  # folder of what did not lie in the database's own


def backup(
    folder: Path, source: StorePlace, also: Sequence[Path], now_ms: Callable[[], int]
) -> tuple[Manifest, list[Path]]:
    """Copy a database and all that belongs to it into a new or empty folder, and read everything back.

    Returns the manifest, and the settings beside the database that are not Midspan's and were left out. What was made
    of a backup that cannot be finished is taken away. Raises OutputError when the folder holds something or its disk
    is full, and what reading the database and its files raises.
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
            listing.write_text(list_text({name: [targets[one] for one in files] for name, files in raw.items()}))
            sync(listing)
        entries += [_sealed(listing, "list of archives", listing), _sealed(copy.file, "database", source.file)]
        with copy.open_to_read() as copied:
            found = read_back(copied, copy.listed_readings())
        manifest = Manifest(
            midspan=metadata.version("midspan"), revision=NEWEST, made_ms=now_ms(), database=copy.file.name,
            nights=found.nights, runs=found.runs, results=found.results, lacking=found.lacking, file=tuple(entries),
        )  # fmt: skip
        write_manifest(manifest, folder)
    return manifest, belongings.strange


def _files_of(name: str, runs: set[Place], source: StorePlace) -> dict[Path, int]:
    """The files that hold runs of a name, each with the offset of a run: two where two folders had one of that name."""
    found = {}
    for path in source.readings(name):
        offset = a_run_in(path, runs) if path.is_file() else None
        if offset is not None:
            found[path.resolve()] = offset
    return found


def _all_of(source: StorePlace, also: Iterable[Path], raw: Iterable[Path]) -> Belongings:
    own = source.file.resolve()
    found = settings_of(own.parent, also)
    for path in raw:
        found.add_raw(path)
    for path in list(found.kinds):
        if path.parent == own.parent and path.name.startswith(own.name):  # the database itself and what is made of it
            del found.kinds[path]
    return found


def _targets(belongings: Belongings, source: StorePlace) -> dict[Path, str]:
    """Where each file goes in the backup: as it lay to the database, so that plans find what they name; else apart."""
    own = source.file.resolve().parent
    inside = {path: path.relative_to(own).as_posix() for path in belongings.kinds if path.is_relative_to(own)}
    numbers = (f"{ELSEWHERE}/{number}" for number in count(1))
    free = (one for one in numbers if not any(path.startswith(f"{one}/") for path in inside.values()))
    return {path: inside.get(path) or f"{next(free)}/{path.name}" for path in belongings.kinds}


def _copied(path: Path, kind: str, folder: Path, target: str, offset: int | None) -> Entry:
    length = None if offset is None else whole_bytes(path, offset)
    copied, digest = copy_file(path, folder / target, length)
    return Entry(path=target, kind=kind, bytes=copied, sha256=digest, was=str(path))


def _sealed(path: Path, kind: str, was: Path) -> Entry:
    length, digest = seal(path)
    return Entry(path=path.name, kind=kind, bytes=length, sha256=digest, was=str(was))
