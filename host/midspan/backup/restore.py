"""Restore a backup into a new folder, on this computer or another, and read back every run and result."""

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
    """Copy a complete backup into a new or empty folder and read everything back.

    Parameters
    ----------
    folder : Path
        Folder of the backup.
    into : Path
        New or empty folder.
    say : Say
        Called with a line for each damaged file before the error.

    Returns
    -------
    tuple[StorePlace, Manifest]
        The restored database, and the content of the backup.

    Raises
    ------
    BackupError
        The folder is not a complete backup, files are damaged and nothing was restored (code "files_damaged"), or the
        restored database has other counts (code "counts_differ") or other readings (code "readings_lost") than were
        backed up.
    ConfigurationError
        A value in the manifest is missing or wrong.
    StoreError
        The database has tables of an unknown revision.
    OutputError
        The new folder is not empty, or its disk is full.
    """
    manifest = read_manifest(folder)
    check_known(manifest.revision)
    _check([(entry, _wrong_with(entry, folder)) for entry in manifest.file], folder, say)
    # The database comes last and gets its name when all files are there: an unfinished restore has no database.
    files = sorted(manifest.file, key=lambda entry: entry.path == manifest.database)
    place = StorePlace.of(manifest.database, into)
    database = place.file
    with new_folder(into):
        _check([(entry, _copy(entry, folder, into, database)) for entry in files], into, say)
        _part(database).rename(database)
    with writing(database, ROOM):
        open_for_many(place)
    sync_folder(database.parent)
    _read_everything(place, manifest, say)
    return place, manifest


def missing_references(into: Path, manifest: Manifest) -> Iterator[str]:
    """Yield a line for each file that a restored plan names and that is not where the plan says.

    Files that lay in another folder than the database are restored at another place.

    Parameters
    ----------
    into : Path
        Folder of the restored files.
    manifest : Manifest
        Content of the backup.

    Yields
    ------
    str
        Plan, name of the file, and where the file is now if it was backed up.
    """
    restored = {Path(entry.was).name: entry.path for entry in manifest.file}
    for plan in (into / entry.path for entry in manifest.file if entry.kind == PLAN):
        for name in named_by(plan):
            if not (plan.parent / name).is_file():
                here = restored.get(Path(name).name)
                yield f"{plan}: names {name}, which is not there" + (f"; it is {into / here} now" if here else "")


def _wrong_with(entry: Entry, folder: Path) -> str:
    """Return what is wrong with a file of the backup, an empty string if it is unchanged."""
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
    """Copy a file of the backup and return what is wrong with the copy, an empty string if nothing."""
    target = into / entry.path
    if target == database:
        target = _part(target)
    same = copy_file(folder / entry.path, target) == (entry.bytes, entry.sha256)
    return "" if same else "was not read twice alike: look at the disk"


def _part(database: Path) -> Path:
    """Return the name that a database has until its folder is complete."""
    return database.with_name(f"{database.name}.part")


def _check(found: list[tuple[Entry, str]], folder: Path, say: Say) -> None:
    """Raise BackupError if anything is wrong with a file, after a line for each."""
    bad = [(entry, words) for entry, words in found if words]
    for entry, words in bad:
        say(f"{folder / entry.path}: {words}")
    if bad:
        raise BackupError(
            f"{folder}: {len(bad)} of {len(found)} files are damaged or missing, nothing was restored; "
            "use another backup",
            code="files_damaged",
        )


def _read_everything(place: StorePlace, manifest: Manifest, say: Say) -> None:
    """Raise BackupError unless the restored database holds what was backed up."""
    with place.open_to_read() as store:
        found = read_back(store, place.listed_readings())
    counted = {"nights": (found.nights, manifest.nights), "runs": (found.runs, manifest.runs),
               "results": (found.results, manifest.results)}  # fmt: skip
    for what, (read, written) in counted.items():
        if read != written:
            raise BackupError(
                f"{place}: has {read} {what}, but {written} were backed up; use another backup", code="counts_differ"
            )
    worse = {name: runs for name, runs in found.lacking.items() if runs > manifest.lacking.get(name, 0)}
    for name, runs in worse.items():
        say(f"{name}: {runs} runs are not found in it {found.trouble.get(name, '')}".rstrip())
    if worse:
        raise BackupError(
            f"{place}: readings are missing from {len(worse)} files; use another backup", code="readings_lost"
        )
