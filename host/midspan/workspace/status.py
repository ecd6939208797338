"""What is set in a workspace, what is missing or has expired, and the one command to do next.

>>> known = workspace_status(Workspace(), Surroundings(date(2026, 3, 1)))
>>> known.ready, known.following
(False, 'midspan ports')
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path

from midspan.base.errors import ConfigurationError
from midspan.calibrate.order import FILE, ORDER, command_of, gauges_in, newest_of_each, next_calibration
from midspan.calibrate.record import Record, records_in
from midspan.decision.bands import load_bands
from midspan.hand_bench.bench import load_bench
from midspan.hand_bench.masses import load_masses
from midspan.measurement.calibration import load_calibration
from midspan.store.facts import DatabaseVersion
from midspan.store.revisions import NEWEST
from midspan.workspace.settings import Workspace

BACKUP_DAYS = 30
MANIFEST = "manifest.json"  # the last file of a backup: without it the backup was interrupted
MEASURE, MEASURE_BY_HAND, MATCH = "midspan measure", "midspan hand measure", "midspan sets make"
A_SET = 12  # shafts that a person buys and shoots together, a dozen


class ItemState(StrEnum):
    """State of one thing that a workspace needs."""

    SET = "set"
    MISSING = "missing"
    EXPIRED = "expired"
    WRONG = "wrong"
    ADVISED = "advised"


@dataclass(frozen=True, slots=True)
class StatusItem:
    """One thing that a workspace needs.

    Parameters
    ----------
    id : str
        What it is, the same in every version: "gauge", "calibrate force", "bands".
    state : ItemState
        Whether it is there; advised things are not there and nothing waits for them.
    words : str
        What is known of it, for people.
    command : str
        Command that provides it; empty if a person must correct a file, and for what is there.
    """

    id: str
    state: ItemState
    words: str
    command: str = ""

    @property
    def blocks(self) -> bool:
        """True if nothing can be measured well before this is there."""
        return self.state in (ItemState.MISSING, ItemState.EXPIRED, ItemState.WRONG)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the state of a workspace depends on besides its files.

    Parameters
    ----------
    today : date
        Present day.
    simulated : str
        Name of the simulated gauge, and of the port that stands for it.
    results : int
        Measurements in the database.
    free : int
        Accepted shafts that are in no set.
    """

    today: date
    simulated: str = "rehearsal"
    results: int = 0
    free: int = 0


@dataclass(frozen=True, slots=True)
class WorkspaceStatus:
    """State of a workspace.

    Parameters
    ----------
    items : tuple of StatusItem
        Everything it needs, in the order in which it is set up.
    measuring : str
        Command that measures, for when nothing is missing.
    """

    items: tuple[StatusItem, ...]
    measuring: str = MEASURE

    @property
    def ready(self) -> bool:
        """True if shafts can be measured."""
        return not any(item.blocks for item in self.items)

    @property
    def blocking(self) -> StatusItem | None:
        """First thing that must be provided, None if nothing is missing."""
        return next((item for item in self.items if item.blocks), None)

    @property
    def following(self) -> str:
        """The command to do next; empty if a file must be corrected first."""
        return self.measuring if self.blocking is None else self.blocking.command

    @property
    def also(self) -> str:
        """Command for what has been measured, as good a next one; empty if something is missing or too little there."""
        commands = [item.command for item in self.items]
        return MATCH if self.ready and MATCH in commands else ""


def workspace_status(workspace: Workspace, around: Surroundings) -> WorkspaceStatus:
    """Return the state of a workspace.

    Parameters
    ----------
    workspace : Workspace
        What its file states.
    around : Surroundings
        Day, simulated gauge, and the number of results.

    Returns
    -------
    WorkspaceStatus
        A file that cannot be read is an item of its own, not an error.
    """
    by_hand = workspace.gauge.by_hand
    bench = _hand_bench(workspace) if by_hand else _gauge(workspace, around)
    items = (*bench, _bands(workspace), _standards(workspace, around), *_matching(around), _backup(workspace, around))
    return WorkspaceStatus(items, MEASURE_BY_HAND if by_hand else MEASURE)


def without_workspace(problem: ConfigurationError | None) -> WorkspaceStatus:
    """Return the state where there is no workspace, or where its file has a mistake.

    Parameters
    ----------
    problem : ConfigurationError or None
        What is wrong with the file, None if there is none.

    Returns
    -------
    WorkspaceStatus
        One item: "workspace".
    """
    if problem is not None:
        return WorkspaceStatus((StatusItem("workspace", ItemState.WRONG, str(problem)),))
    words = "no midspan.toml in this folder or above it"
    return WorkspaceStatus((StatusItem("workspace", ItemState.MISSING, words, "midspan init"),))


def _hand_bench(workspace: Workspace) -> Iterator[StatusItem]:
    """Yield the hand bench: its file is made by asking, at the first measurement."""
    file = workspace.files.bench
    if not file.exists():
        words = f"{file} is made at the first measurement, which asks for its sizes"
        yield StatusItem("hand bench", ItemState.MISSING, words, MEASURE_BY_HAND)
        return
    try:
        load_bench(file)
    except ConfigurationError as error:
        yield StatusItem("hand bench", ItemState.WRONG, str(error))
    else:
        yield StatusItem("hand bench", ItemState.SET, str(file))


def _gauge(workspace: Workspace, around: Surroundings) -> Iterator[StatusItem]:
    """Yield the gauge, then its calibration."""
    port = workspace.gauge.port
    if port is None:
        words = f"{workspace.path} states no port in [gauge]; this lists the ports: write yours there"
        yield StatusItem("gauge", ItemState.MISSING, words, "midspan ports")
    else:
        simulated = port == around.simulated
        yield StatusItem("gauge", ItemState.SET, "simulated" if simulated else f"on port {port}")
        if not simulated:
            yield _masses(workspace)
        yield from _calibration(workspace, around.simulated if simulated else workspace.gauge.name, around.today)


def _calibration(workspace: Workspace, gauge: str | None, today: date) -> Iterator[StatusItem]:
    """Yield one item for a valid calibration, else one for each part and for the file."""
    file, folder = workspace.gauge.calibration, workspace.files.records
    try:
        records = list(records_in(folder)) if folder.is_dir() else []
        gauges = gauges_in(records)
        if gauge is None and len(gauges) > 1:
            named = f"{folder} has records of {', '.join(gauges)}; state in [gauge] which name is yours"
            yield StatusItem("calibration", ItemState.WRONG, named)
            return
        following = next_calibration(folder, file, gauge, today)
        until = load_calibration(file).calibration.valid_until if not following else None
    except ConfigurationError as error:
        yield StatusItem("calibration", ItemState.WRONG, str(error))
        return
    if not following:
        yield StatusItem("calibration", ItemState.SET, f"{file}, " + (f"valid until {until}" if until else "no end"))
        return
    yield from _parts(newest_of_each(records, gauge), today)
    words = f"{file} is written from these records" if not file.exists() else f"{file} is to be written again"
    state = ItemState.EXPIRED if file.exists() else ItemState.MISSING
    yield StatusItem("calibrate file", state, words, command_of(FILE))


def _parts(newest: dict[str, Record], today: date) -> Iterator[StatusItem]:
    """Yield the parts of a calibration in the order they are made."""
    for kind in ORDER:
        record = newest.get(kind)
        if record is None:
            yield StatusItem(f"calibrate {kind}", ItemState.MISSING, "no record yet", command_of(kind))
        elif record.valid_until < today:
            words = f"expired on {record.valid_until}"
            yield StatusItem(f"calibrate {kind}", ItemState.EXPIRED, words, command_of(kind))
        else:
            yield StatusItem(f"calibrate {kind}", ItemState.SET, f"valid until {record.valid_until}")


def _masses(workspace: Workspace) -> StatusItem:
    """Return the masses: advised, because a calibration can ask for them."""
    file = workspace.files.masses
    if file is None or not file.exists():
        words = "no masses file; a calibration asks for the masses at hand"
        return StatusItem("masses", ItemState.ADVISED, words, "midspan init --masses")
    try:
        return StatusItem("masses", ItemState.SET, f"{file}, {_count(len(load_masses(file)), 'mass', 'masses')}")
    except ConfigurationError as error:
        return StatusItem("masses", ItemState.WRONG, str(error))


def _bands(workspace: Workspace) -> StatusItem:
    """Return the tolerance bands."""
    file = workspace.files.bands
    if file is None or not file.exists():
        words = "no bands file" if file is None else f"{file} is not there"
        return StatusItem(
            "bands", ItemState.MISSING, f"{words}; it says which spines go together", "midspan init --bands"
        )
    try:
        bins = load_bands(file).in_order
    except ConfigurationError as error:
        return StatusItem("bands", ItemState.WRONG, str(error))
    return StatusItem("bands", ItemState.SET, f"{file}, {_count(len(bins), 'bin', 'bins')}")


def _standards(workspace: Workspace, around: Surroundings) -> StatusItem:
    """Return the check standards: advised once shafts are measured, because a gauge without them is unwatched."""
    names = ", ".join(standard.name for standard in workspace.standard)
    if names:
        return StatusItem("check standard", ItemState.SET, names)
    if not around.results:
        return StatusItem("check standard", ItemState.SET, "none; not needed to begin with")
    words = "none; a bar of known spine, measured now and then, shows when a gauge has changed"
    return StatusItem("check standard", ItemState.ADVISED, words, "midspan init --standard")


def _matching(around: Surroundings) -> Iterator[StatusItem]:
    """Yield the matched sets that could be made: advised when there are shafts enough for one."""
    if around.free >= A_SET:
        words = f"{around.free} accepted shafts are in no set"
        yield StatusItem("matched sets", ItemState.ADVISED, words, MATCH)


def _backup(workspace: Workspace, around: Surroundings) -> StatusItem:
    """Return the newest backup: advised when there are results and it is old."""
    newest = newest_backup(workspace.files.backups)
    age = None if newest is None else (around.today - backup_date(newest)).days
    if newest is not None and age is not None and age <= BACKUP_DAYS:
        return StatusItem("backup", ItemState.SET, f"{newest}, {_count(age, 'day', 'days')} old")
    if not around.results:
        return StatusItem("backup", ItemState.SET, "nothing to copy yet")
    words = "none yet" if newest is None else f"{newest} is {age} days old"
    return StatusItem("backup", ItemState.ADVISED, words, "midspan backup")


def newest_backup(folder: Path) -> Path | None:
    """Return the newest backup in a folder of backups.

    Parameters
    ----------
    folder : Path
        Folder that `midspan backup` puts dated folders into; it may be missing.

    Returns
    -------
    Path or None
        Folder of the backup, None if there is none.
    """
    dated = (path for path in folder.glob("????-??-??*") if (path / MANIFEST).is_file() and _is_date(path.name[:10]))
    return max(dated, key=lambda path: path.name, default=None)


def backup_date(backup: Path) -> date:
    """Return the day in the name of a backup.

    Parameters
    ----------
    backup : Path
        Folder from `newest_backup`.

    Returns
    -------
    date
        Day.

    Examples
    --------
    >>> backup_date(Path("backups/2026-03-01-1405")).isoformat()
    '2026-03-01'
    """
    return date.fromisoformat(backup.name[:10])


def backup_name(now: datetime) -> str:
    """Return the name of a new backup in the folder of backups.

    Parameters
    ----------
    now : datetime
        Present time.

    Returns
    -------
    str
        Name that sorts by time.

    Examples
    --------
    >>> backup_name(datetime(2026, 3, 1, 14, 5, 9))
    '2026-03-01-140509'
    """
    return f"{now:%Y-%m-%d-%H%M%S}"


def _is_date(text: str) -> bool:
    """Return True if a text is a day."""
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _count(number: int, singular: str, plural: str) -> str:
    """Return a number with its noun."""
    return f"{number} {singular if number == 1 else plural}"


def database_words(file: Path, version: DatabaseVersion | None) -> str:
    """Return what is to be said of a database: its version, and what an upgrade will do.

    Parameters
    ----------
    file : Path
        Database file.
    version : DatabaseVersion or None
        What the file says, None if there is none.

    Returns
    -------
    str
        A sentence.

    Examples
    --------
    >>> database_words(Path("results.db"), DatabaseVersion(7, 24))
    'results.db, 24 measurements, version 7; the next command that writes copies it beside itself and brings it to 9'
    """
    if version is None:
        return f"{file}, begun with the first measurement"
    words = f"{file}, {_count(version.runs, 'measurement', 'measurements')}, version {version.revision}"
    if version.revision > NEWEST:
        return f"{words}, newer than this program (up to {NEWEST}); use the version of Midspan that made it"
    if version.revision < NEWEST:
        return f"{words}; the next command that writes copies it beside itself and brings it to {NEWEST}"
    return words
