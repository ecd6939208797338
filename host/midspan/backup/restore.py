"""`midspan restore`: a backup into a new folder, on this computer or another, read back to the last run and result."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from midspan.backup.belongings import PLAN, named_by
from midspan.backup.manifest import ROOM, Entry, Manifest, copy_file, new_folder, read_manifest, seal
from midspan.backup.read_back import read_back
from midspan.base.errors import BackupError, MidspanError
from midspan.base.files import sync_folder, writing
from midspan.store.copying import open_for_many
from midspan.store.place import StorePlace
from midspan.store.upgrade import check_known

Say = Callable[[str], None]


def restore(folder: Path, into: Path, say: Say) -> tuple[StorePlace, Manifest]:
    """Copy a whole backup into a new or empty folder and read everything back; the database there, and what it holds.

    Raises BackupError when a file is damaged (each is named through `say` first, and nothing is written), or when what
    was written does not hold what the backup says; OutputError when the folder holds something or is full.
    """
    manifest = read_manifest(folder)
    check_known(manifest.revision)
    _check([(one, _wrong_with(one, folder)) for one in manifest.file], folder, say)
    # The database last, and under its name only when it is whole: a folder without one is not taken for restored.
    files = sorted(manifest.file, key=lambda one: one.path == manifest.database)
    place = StorePlace.of(manifest.database, into)
    database = place.file
    with new_folder(into):
        _check([(one, _copy(one, folder, into, database)) for one in files], into, say)
        _part(database).rename(database)
    with writing(database, ROOM):
        open_for_many(place)
    sync_folder(database.parent)
    _read_everything(place, manifest, say)
    return place, manifest


def astray(into: Path, manifest: Manifest) -> Iterator[str]:
    """What restored plans name that is not where they say, as of files that lay in another folder; a line each."""
    apart = {Path(one.was).name: one.path for one in manifest.file}
    for plan in (into / one.path for one in manifest.file if one.kind == PLAN):
        for name in named_by(plan):
            if not (plan.parent / name).is_file():
                here = apart.get(Path(name).name)
                yield f"{plan}: names {name}, which is not there" + (f"; it is {into / here} now" if here else "")


def _wrong_with(entry: Entry, folder: Path) -> str:
    """What is wrong with a file of the backup; nothing when it is as it was written."""
    path = folder / entry.path
    if not path.is_file():
        return "is missing"
    try:
        length, digest = seal(path)
    except MidspanError as error:
        return str(error)
    if length != entry.bytes:
        return f"has {length} bytes where {entry.bytes} were written"
    return "" if digest == entry.sha256 else "is damaged: its SHA-256 is not the one it was written with"


def _copy(entry: Entry, folder: Path, into: Path, database: Path) -> str:
    target = into / entry.path
    if target == database:
        target = _part(target)
    same = copy_file(folder / entry.path, target) == (entry.bytes, entry.sha256)
    return "" if same else "was not read twice alike: look at the disk"


def _part(database: Path) -> Path:
    return database.with_name(f"{database.name}.part")


def _check(found: list[tuple[Entry, str]], folder: Path, say: Say) -> None:
    bad = [(one, words) for one, words in found if words]
    for one, words in bad:
        say(f"{folder / one.path}: {words}")
    if bad:
        so = "are not as they were backed up; nothing was restored"
        raise BackupError(f"{folder}: {len(bad)} of {len(found)} files {so}")


def _read_everything(place: StorePlace, manifest: Manifest, say: Say) -> None:
    with place.open_to_read() as store:
        found = read_back(store, place.listed_readings())
    counted = {"nights": (found.nights, manifest.nights), "runs": (found.runs, manifest.runs),
               "results": (found.results, manifest.results)}  # fmt: skip
    for what, (read, written) in counted.items():
        if read != written:
            raise BackupError(f"{place}: holds {read} {what} where {written} were backed up; take another backup")
    worse = {name: runs for name, runs in found.lacking.items() if runs > manifest.lacking.get(name, 0)}
    for name, runs in worse.items():
        say(f"{name}: {runs} runs are not found in it {found.trouble.get(name, '')}".rstrip())
    if worse:
        raise BackupError(f"{place}: readings of {len(worse)} files are not whole; take another backup")
