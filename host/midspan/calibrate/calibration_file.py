"""Puts the calibration file together from the newest record of each kind.

The file's id is a digest of the records it was made from: the same records make the same file, byte for byte.
"""

import hashlib
import json
import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from midspan.base.config import validated
from midspan.base.errors import ConfigurationError, OutputError
from midspan.base.files import writing
from midspan.calibrate.record import Record, records_in
from midspan.measurement.calibration import Calibration

SECTIONS = ("force", "travel", "frame", "span", "rotation")
WARMER_C = 3.0  # records taken further apart in temperature than this are remarked on


def newest_records(folder: Path, gauge: str | None) -> list[Record]:
    """The newest record of each kind for a gauge; ConfigurationError when one is missing or gauges are mixed."""
    records = [record for record in records_in(folder) if record.kind in SECTIONS]
    gauges = sorted({record.gauge for record in records})
    if gauge is None and len(gauges) > 1:
        raise ConfigurationError(f"{folder}: holds records of the gauges {', '.join(gauges)}; name one with --gauge")
    wanted = gauge or (gauges[0] if gauges else "")
    found = {record.kind: record for record in records if record.gauge == wanted}
    missing = [kind for kind in SECTIONS if kind not in found]
    if missing:
        raise ConfigurationError(
            f"{folder}: has no record of {' and '.join(missing)} for gauge {wanted or 'any'}; "
            f"run midspan calibrate {missing[0]} first"
        )
    return [found[kind] for kind in SECTIONS]


def together(records: Sequence[Record]) -> dict[str, Any]:
    """The tables of a calibration file from one record of each kind.

    It was made when its last record was, and is valid until the first of them runs out.
    """
    ids = [record.id for record in records]
    digest = hashlib.sha256("\n".join(sorted(ids)).encode()).hexdigest()[:12]
    identity = {
        "id": f"{records[0].gauge[:32]}-{digest}",
        "gauge": records[0].gauge,
        "temperature_c": round(math.fsum(record.temperature_c for record in records) / len(records), 2),
        "made": max(record.made_on for record in records),
        "valid_until": min(record.valid_until for record in records),
        "records": ids,
    }
    return {"calibration": identity} | {record.kind: record.section for record in records}


def calibration_text(records: Sequence[Record]) -> str:
    """The calibration file as TOML, checked as it would be when read."""
    tables = together(records)
    validated(Calibration, tables, Path("records"))
    lines = ["# Put together by midspan calibrate file. All u_... are standard uncertainties (k = 1)."]
    for name, table in tables.items():
        lines += ["", f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A value as TOML; JSON's strings and arrays of strings are TOML's too.

    >>> _toml(math.inf), _toml(date(2026, 3, 1)), _toml(["a"]), _toml(8e-05)
    ('inf', '2026-03-01', '["a"]', '8e-05')
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return value.isoformat() if isinstance(value, date) else repr(value)


def write_calibration(folder: Path, out: Path, gauge: str | None) -> list[Record]:
    """Write the calibration file from the newest records; the records it was made from.

    Raises OutputError when `out` exists with other content, for what results name must stay what it was, or cannot be
    written.
    """
    records = newest_records(folder, gauge)
    text = calibration_text(records)
    with writing(out, "name another file with --out"):
        if out.exists() and out.read_bytes() != text.encode():
            raise OutputError(f"{out}: is another calibration; results may name it: write to another name")
        out.write_bytes(text.encode())
    return records


def remarks_on(records: Sequence[Record]) -> list[str]:
    """What a reader of the file should know, in sentences."""
    warm = [record.temperature_c for record in records]
    given = [f"{record.kind}: {remark}" for record in records for remark in record.outcome["remarks"]]
    if max(warm) - min(warm) > WARMER_C:
        given.append(f"the records were taken at {min(warm):g} to {max(warm):g} C; calibrate at the temperature of use")
    return given
