"""Calibration records: an immutable JSON file for each procedure run, named by its content.

The id is the kind and the first 16 hex digits of the SHA-256 of the record's canonical JSON (sorted keys, no blanks,
shortest numbers that read back the same). A record is never overwritten, and a record that was changed later no
longer fits its id.

>>> record = Record("span", "bench", "2026-03-01T10:00:00Z", date(2027, 3, 1), "A. Maker", 21.0, {"span_mm": [711.2]},
...     {"section": {"span_mm": 711.2, "u_span_mm": 0.1}})
>>> record.id, Record.from_dict(json.loads(record.text())) == record
('span-d9ae4ac29bce6783', True)
"""

import hashlib
import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from midspan.base.errors import ConfigurationError, OutputError
from midspan.base.files import bytes_of, json_in, writing
from midspan.calibrate.outcome import ProcedureResult

FORMAT = 1
LARGEST_BYTES = 20_000_000  # several times the largest table of readings
KINDS = ("force", "travel", "frame", "span", "sinking", "rotation", "filter", "bar")


@dataclass(frozen=True)
class Circumstances:
    """Circumstances of a procedure run.

    Parameters
    ----------
    gauge : str
        Name of the gauge.
    who : str
        Person who calibrated.
    made : datetime
        Time with its zone.
    temperature_c : float
        Temperature, deg C.
    valid_until : date
        Last day of validity.
    gauge_temperature_c : float | None
        What the gauge's own thermometer showed, deg C; None without a gauge or a thermometer.
    thermometer : str | None
        SHAFT or BOARD, the thermometer that this is from; None if nothing was shown.
    """

    gauge: str
    who: str
    made: datetime
    temperature_c: float
    valid_until: date
    gauge_temperature_c: float | None = None
    thermometer: str | None = None


@dataclass(frozen=True)
class Record:
    """Record of a procedure run, in plain values.

    Parameters
    ----------
    kind : str
        Kind of the procedure.
    gauge : str
        Name of the gauge.
    made : str
        Time, UTC, in ISO 8601.
    valid_until : date
        Last day of validity.
    who : str
        Person who calibrated.
    temperature_c : float
        Temperature, deg C.
    readings : dict[str, Any]
        Readings by column.
    outcome : dict[str, Any]
        Section, figures, budget, remarks and artefacts of the result.
    settings : dict[str, Any]
        Settings of the procedure.
    software : str
        Program and version.
    format : int
        Version of this layout.
    gauge_temperature_c : float | None
        What the gauge's own thermometer showed, deg C; None without a gauge or a thermometer.
    thermometer : str | None
        SHAFT or BOARD, the thermometer that this is from; None if nothing was shown.
    """

    kind: str
    gauge: str
    made: str
    valid_until: date
    who: str
    temperature_c: float
    readings: dict[str, Any]
    outcome: dict[str, Any]
    settings: dict[str, Any] = field(default_factory=dict)
    software: str = ""
    format: int = FORMAT
    gauge_temperature_c: float | None = None
    thermometer: str | None = None

    @property
    def id(self) -> str:
        """Kind and digest of the content."""
        digest = hashlib.sha256(_canonical(self._plain()).encode()).hexdigest()
        return f"{self.kind}-{digest[:16]}"

    @property
    def made_on(self) -> date:
        """Day on which the record was made."""
        return datetime.fromisoformat(self.made).date()

    @property
    def section(self) -> dict[str, float]:
        """Values for the table of the calibration file."""
        return dict(self.outcome["section"])

    def _plain(self) -> dict[str, Any]:
        """Return the fields as plain values for JSON; a record from before the gauge had a thermometer keeps its id."""
        plain = asdict(self) | {"valid_until": self.valid_until.isoformat()}
        if self.thermometer is None:
            del plain["gauge_temperature_c"], plain["thermometer"]
        return plain

    def text(self) -> str:
        """Return the record as JSON for a file, its id first.

        Returns
        -------
        str
            Content of the file.
        """
        return json.dumps({"id": self.id} | self._plain(), indent=1, ensure_ascii=False) + "\n"

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> "Record":
        """Return the record in decoded JSON.

        Parameters
        ----------
        values : dict[str, Any]
            Decoded JSON.

        Returns
        -------
        Record
            The record.

        Raises
        ------
        TypeError, KeyError, ValueError
            The values are not a record of this format.
        """
        plain = {key: value for key, value in values.items() if key != "id"}
        record = cls(**plain | {"valid_until": date.fromisoformat(plain["valid_until"])})
        if record.format != FORMAT or record.kind not in KINDS or not isinstance(record.outcome["section"], dict):
            raise ValueError("another format")
        if record.thermometer is not None:
            float(record.gauge_temperature_c)  # type: ignore[arg-type]  # TypeError for what is no number
        return record


def _canonical(values: Any) -> str:
    """Return values as the JSON text of which the digest is taken."""
    return json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def record_of(
    finding: ProcedureResult, readings: dict[str, Any], settings: dict[str, Any], circumstances: Circumstances
) -> Record:
    """Return the record of a procedure run.

    Parameters
    ----------
    finding : ProcedureResult
        Result.
    readings : dict[str, Any]
        Readings by column.
    settings : dict[str, Any]
        Settings of the procedure.
    circumstances : Circumstances
        Who, when, which gauge.

    Returns
    -------
    Record
        The record.
    """
    # JSON has no infinity: infinite degrees of freedom are left out, and a missing entry is read as infinite.
    outcome = {
        "section": {key: value for key, value in finding.section.items() if not math.isinf(value)},
        "figures": finding.figures,
        "budget": {cause: [u, None if math.isinf(dof) else dof] for cause, (u, dof) in finding.budget.items()},
        "remarks": [remark.words for remark in finding.remarks],
        "artefacts": list(finding.artefacts),
    }
    return Record(
        finding.kind,
        circumstances.gauge,
        circumstances.made.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        circumstances.valid_until,
        circumstances.who,
        circumstances.temperature_c,
        readings,
        outcome,
        settings,
        f"midspan {metadata.version('midspan')}",
        gauge_temperature_c=circumstances.gauge_temperature_c,
        thermometer=circumstances.thermometer,
    )


def save_record(record: Record, folder: Path) -> Path:
    """Write a record into a folder.

    Parameters
    ----------
    record : Record
        The record.
    folder : Path
        Folder of calibration records, made if missing.

    Returns
    -------
    Path
        File of the record.

    Raises
    ------
    OutputError
        The file exists (code "exists"), or cannot be written.
    """
    path = folder / f"{record.id}.json"
    if path.exists():
        raise OutputError(
            f"{path}: exists already and is never overwritten; choose another folder with --records", code="exists"
        )
    with writing(path, "choose another folder with --records"):
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(record.text())
    return path


def load_record(path: Path) -> Record:
    """Read a record and check that it is unchanged.

    Parameters
    ----------
    path : Path
        File of the record.

    Returns
    -------
    Record
        The record.

    Raises
    ------
    ConfigurationError
        The file is not a record (code "no_record"), or was changed or renamed after it was made (code "changed").
    """
    values = json_in(bytes_of(path, ConfigurationError, LARGEST_BYTES), str(path), ConfigurationError)
    try:
        record = Record.from_dict(values)
        stated = values["id"]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ConfigurationError(
            f"{path}: is not a calibration record; move it out of the folder", code="no_record"
        ) from error
    if stated != record.id or path.stem != record.id:
        raise ConfigurationError(
            f"{path}: was changed after it was made (its content is {record.id}); restore the original, or calibrate "
            "again",
            code="changed",
        )
    return record


def records_in(folder: Path) -> Iterator[Record]:
    """Yield all records of a folder in the order they were made.

    Parameters
    ----------
    folder : Path
        Folder of calibration records.

    Yields
    ------
    Record
        A record.

    Raises
    ------
    ConfigurationError
        The folder does not exist (code "no_folder"), or a record in it cannot be read.
    """
    if not folder.is_dir():
        raise ConfigurationError(
            f"{folder}: not a folder of calibration records; make records with midspan calibrate", code="no_folder"
        )
    yield from sorted(map(load_record, folder.glob("*.json")), key=lambda record: (record.made, record.id))


def newest(folder: Path, kind: str, gauge: str) -> Record | None:
    """Return the newest record of a kind for a gauge.

    Parameters
    ----------
    folder : Path
        Folder of calibration records.
    kind : str
        Kind of the procedure.
    gauge : str
        Name of the gauge.

    Returns
    -------
    Record | None
        The record, None if there is none.

    Raises
    ------
    ConfigurationError
        A record in the folder cannot be read.
    """
    if not folder.is_dir():
        return None
    found = [record for record in records_in(folder) if (record.kind, record.gauge) == (kind, gauge)]
    return found[-1] if found else None
