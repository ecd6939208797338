"""The order of the procedures, and which of them comes next.

>>> next_procedure({}, date(2026, 3, 1))
'force'
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from pathlib import Path

from midspan.calibrate.record import Record, records_in
from midspan.measurement.calibration import load_calibration

ORDER = ("force", "travel", "frame", "span", "sinking", "rotation", "filter")  # each may need those before it
FILE = "file"


def newest_of_each(records: Iterable[Record], gauge: str | None = None) -> dict[str, Record]:
    """Return the newest record of each kind of ORDER.

    Parameters
    ----------
    records : iterable of Record
        Records in the order they were made.
    gauge : str or None
        Only those of this gauge; None for all.

    Returns
    -------
    dict
        Records by kind.
    """
    return {record.kind: record for record in records if record.kind in ORDER and gauge in (None, record.gauge)}


def next_procedure(newest: Mapping[str, Record], today: date, used: Collection[str] = ()) -> str:
    """Return the procedure that comes next.

    Parameters
    ----------
    newest : mapping
        Newest record of each kind, from `newest_of_each`.
    today : date
        Day that the records must be valid on.
    used : collection of str
        Ids of the records behind the calibration file in use; empty without a file.

    Returns
    -------
    str
        The first kind of ORDER whose record is missing or has expired; "file" if all are there and the file was made
        from others; empty if nothing is to be done.
    """
    for kind in ORDER:
        if kind not in newest or newest[kind].valid_until < today:
            return kind
    return "" if {record.id for record in newest.values()} <= set(used) else FILE


def gauges_in(records: Iterable[Record]) -> list[str]:
    """Return the names of the gauges that records are of, sorted.

    Parameters
    ----------
    records : iterable of Record
        Records.

    Returns
    -------
    list of str
        Names.
    """
    return sorted({record.gauge for record in records})


def next_calibration(folder: Path, file: Path | None, gauge: str | None, today: date) -> str:
    """Return the procedure of calibration that comes next for a gauge, by its records and its calibration file.

    A file in use that is valid and that no newer record contradicts needs nothing, even without records.

    Parameters
    ----------
    folder : Path
        Folder of calibration records; it may be missing.
    file : Path or None
        Calibration file in use; None or missing for none.
    gauge : str or None
        Name of the gauge, None if the folder has records of one gauge only.
    today : date
        Present day.

    Returns
    -------
    str
        A kind of ORDER, "file", or empty if the gauge is calibrated.

    Raises
    ------
    ConfigurationError
        A record or the calibration file cannot be read.
    """
    newest = newest_of_each(records_in(folder) if folder.is_dir() else (), gauge)
    if file is None or not file.exists():
        return next_procedure(newest, today)
    stated = load_calibration(file).calibration
    if not (stated.valid_until and stated.valid_until < today):
        made = stated.made or date.min
        if all(record.id in stated.records or record.made_on < made for record in newest.values()):
            return ""
    return next_procedure(newest, today, stated.records)


def command_of(procedure: str) -> str:
    """Return the command that carries a procedure out.

    Parameters
    ----------
    procedure : str
        What `next_procedure` returned, not empty.

    Returns
    -------
    str
        Command.

    Examples
    --------
    >>> command_of("force")
    'midspan calibrate force'
    """
    return f"midspan calibrate {procedure}"
