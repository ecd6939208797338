"""Calibration records: one immutable JSON file for each procedure run, named by what it holds.

The id is the kind and the first 16 hex digits of the SHA-256 of the record's canonical JSON (keys sorted, no
blanks, shortest numbers that read back the same). A record is never written over, and one that was changed after it
was made no longer fits its id.

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
LARGEST_BYTES = 20_000_000  # some times the largest table of readings
KINDS = ("force", "travel", "frame", "span", "rotation", "bar")


@dataclass(frozen=True)
class Circumstances:
    """Of which gauge, by whom, when (UTC), how warm, and how long it shall count."""

    gauge: str
    who: str
    made: datetime
    temperature_c: float
    valid_until: date


@dataclass(frozen=True)
class Record:
    """One procedure run: circumstances, readings by column, and what came of them; plain values throughout."""

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

    @property
    def id(self) -> str:
        """Kind and digest of the content."""
        digest = hashlib.sha256(_canonical(self._plain()).encode()).hexdigest()
        return f"{self.kind}-{digest[:16]}"

    @property
    def made_on(self) -> date:
        """The day it was made."""
        return datetime.fromisoformat(self.made).date()

    @property
    def section(self) -> dict[str, float]:
        """Its table of the calibration file."""
        return dict(self.outcome["section"])

    def _plain(self) -> dict[str, Any]:
        return asdict(self) | {"valid_until": self.valid_until.isoformat()}

    def text(self) -> str:
        """The record as JSON for a file, its id first."""
        return json.dumps({"id": self.id} | self._plain(), indent=1, ensure_ascii=False) + "\n"

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> "Record":
        """The record again from its JSON; TypeError, KeyError or ValueError when it is none."""
        plain = {key: value for key, value in values.items() if key != "id"}
        record = cls(**plain | {"valid_until": date.fromisoformat(plain["valid_until"])})
        if record.format != FORMAT or record.kind not in KINDS or not isinstance(record.outcome["section"], dict):
            raise ValueError("another format")
        return record


def _canonical(values: Any) -> str:
    return json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def record_of(
    finding: ProcedureResult, readings: dict[str, Any], settings: dict[str, Any], circumstances: Circumstances
) -> Record:
    """The record of a procedure run."""
    # JSON has no word for infinite degrees of freedom: without an entry they are just that.
    outcome = {
        "section": {key: value for key, value in finding.section.items() if not math.isinf(value)},
        "figures": finding.figures,
        "budget": {cause: [u, None if math.isinf(dof) else dof] for cause, (u, dof) in finding.budget.items()},
        "remarks": list(finding.remarks),
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
    )


def save_record(record: Record, folder: Path) -> Path:
    """Write a record to `folder`; its path. OutputError when a file of that name exists or nothing can be written."""
    path = folder / f"{record.id}.json"
    if path.exists():
        raise OutputError(f"{path}: is there already; records are never written over")
    with writing(path, "name another folder with --records"):
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(record.text())
    return path


def load_record(path: Path) -> Record:
    """Read a record and check that it is as it was made; ConfigurationError when it is not."""
    values = json_in(bytes_of(path, ConfigurationError, LARGEST_BYTES), str(path), ConfigurationError)
    try:
        record = Record.from_dict(values)
        stated = values["id"]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ConfigurationError(f"{path}: is no calibration record; take it out of the folder") from error
    if stated != record.id or path.stem != record.id:
        raise ConfigurationError(
            f"{path}: was changed after it was made (its content is {record.id}); take back the original, or calibrate "
            "again"
        )
    return record


def records_in(folder: Path) -> Iterator[Record]:
    """All records of a folder, in the order they were made; ConfigurationError when there is no folder or a bad one."""
    if not folder.is_dir():
        raise ConfigurationError(f"{folder}: is no folder of calibration records; make some with midspan calibrate")
    yield from sorted(map(load_record, folder.glob("*.json")), key=lambda record: (record.made, record.id))


def newest(folder: Path, kind: str, gauge: str) -> Record | None:
    """The newest record of a kind for a gauge, or None."""
    if not folder.is_dir():
        return None
    found = [record for record in records_in(folder) if (record.kind, record.gauge) == (kind, gauge)]
    return found[-1] if found else None
