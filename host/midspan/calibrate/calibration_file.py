"""Assemble the calibration file from the newest record of each kind.

The file's id is a digest of its records: the same records make the same file, byte for byte.
"""

import hashlib
import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from midspan.base.config import read_toml, validated
from midspan.base.errors import ConfigurationError, OutputError
from midspan.base.files import writing
from midspan.calibrate.record import Record, records_in
from midspan.measurement.calibration import Calibration, load_calibration

SECTIONS = ("force", "travel", "frame", "span", "rotation")
OPTIONAL = ("sinking", "filter")  # a calibration without them is whole, with bounds for what was not calibrated
PART_OF = {"sinking": "span"}  # kinds whose keys belong to the table of another
# Keys that the procedure of another kind finds as well. They go to the table named, before what is stated there.
FOR_OTHERS = {"axial_friction": "span", "u_axial_friction": "span"}
# What a person may state in a file without a record; a new file takes it over from the previous one.
STATED = {
    "calibration": ("temperature_range_c",),
    "force": ("u_per_k",),
    "travel": ("expansion_per_k", "u_expansion_per_k", "tilt_deg"),
    "frame": (),
    "span": (
        "vertical_share", "rim_mm", "u_rim_mm", "axial_friction", "u_axial_friction", "sink_mm_per_n",
        "u_sink_mm_per_n", "off_centre_mm", "expansion_per_k", "u_expansion_per_k",
    ),
    "rotation": ("steps_per_roller_turn", "u_roller_mm", "u_slip_between_depths"),
}  # fmt: skip
NO_LETTER = r"[^\w.-]"  # of an id, where it becomes part of the name of a file
WARMER_C = 3.0  # a wider range of temperatures among the records gets a remark


def newest_records(folder: Path, gauge: str | None) -> list[Record]:
    """Return the newest record of each kind for a gauge.

    Parameters
    ----------
    folder : Path
        Folder of calibration records.
    gauge : str | None
        Name of the gauge; None if the folder has records of a single gauge.

    Returns
    -------
    list[Record]
        Records in the order of SECTIONS, then of OPTIONAL where there is one.

    Raises
    ------
    ConfigurationError
        A kind of SECTIONS has no record (code "missing_kind"), the gauge is not named though there are several (code
        "several_gauges"), or a record cannot be read.
    """
    records = [record for record in records_in(folder) if record.kind in (*SECTIONS, *OPTIONAL)]
    gauges = sorted({record.gauge for record in records})
    if gauge is None and len(gauges) > 1:
        raise ConfigurationError(
            f"{folder}: has records of the gauges {', '.join(gauges)}; choose with --gauge", code="several_gauges"
        )
    wanted = gauge or (gauges[0] if gauges else "")
    found = {record.kind: record for record in records if record.gauge == wanted}
    missing = [kind for kind in SECTIONS if kind not in found]
    if missing:
        raise ConfigurationError(
            f"{folder}: has no record of {' and '.join(missing)} for gauge {wanted or 'any'}; "
            f"run midspan calibrate {missing[0]} first",
            code="missing_kind",
        )
    return [found[kind] for kind in (*SECTIONS, *OPTIONAL) if kind in found]


def tables_of(records: Sequence[Record]) -> dict[str, Any]:
    """Return the tables of a calibration file made from a record of each kind.

    The file dates from its last record and is valid until the first record expires.

    Parameters
    ----------
    records : Sequence[Record]
        Records in the order of SECTIONS.

    Returns
    -------
    dict[str, Any]
        Tables by name.
    """
    ids = [record.id for record in records]
    digest = hashlib.sha256("\n".join(sorted(ids)).encode()).hexdigest()[:12]
    room_c = round(math.fsum(record.temperature_c for record in records) / len(records), 2)
    identity = {
        "id": f"{records[0].gauge[:32]}-{digest}",
        "gauge": records[0].gauge,
        "temperature_c": room_c,
        **_shown(records, room_c),
        "made": max(record.made_on for record in records),
        "valid_until": min(record.valid_until for record in records),
        "records": ids,
    }
    tables = {"calibration": identity}
    for record in records:
        own = PART_OF.get(record.kind, record.kind)
        for key, value in record.section.items():
            tables.setdefault(FOR_OTHERS.get(key, own), {})[key] = value
    return tables


def _shown(records: Sequence[Record], room_c: float) -> dict[str, Any]:
    """Return what the gauge's thermometer shows at the room's temperature, by the records taken with the newest one."""
    looked = sorted((record for record in records if record.thermometer is not None), key=lambda record: record.made)
    off_k = [
        record.gauge_temperature_c - record.temperature_c
        for record in looked
        if record.thermometer == looked[-1].thermometer and record.gauge_temperature_c is not None
    ]
    if not off_k:
        return {}
    mean_c = round(room_c + math.fsum(off_k) / len(off_k), 2)
    return {"gauge_temperature_c": mean_c, "thermometer": looked[-1].thermometer}


def kept_over(previous: Path) -> dict[str, Any]:
    """Return what a previous calibration file states without a record, to be kept in a new one.

    Parameters
    ----------
    previous : Path
        Calibration file.

    Returns
    -------
    dict[str, Any]
        Tables by name with the keys of STATED that the file has, and its `cycle`, a table or the name of a preset.

    Raises
    ------
    ConfigurationError
        The file is not a calibration.
    """
    tables = read_toml(previous)
    validated(Calibration, tables, previous)
    kept: dict[str, Any] = {
        name: {key: tables[name][key] for key in keys if key in tables[name]} for name, keys in STATED.items()
    }
    if "cycle" in tables:
        kept["cycle"] = tables["cycle"]
    return {name: table for name, table in kept.items() if table}


def with_kept(tables: dict[str, Any], kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables of a calibration file with what is stated besides the records; its id changes with that.

    Parameters
    ----------
    tables : dict[str, Any]
        Tables by name, made from records.
    kept : Mapping[str, Any]
        Tables by name as of `kept_over`; a key that a record has found goes before it.

    Returns
    -------
    dict[str, Any]
        Tables by name.
    """
    added = _not_found(tables, kept)
    if not added:
        return tables
    whole = {name: dict(added.get(name, {})) | table for name, table in tables.items()}
    for name, value in added.items():
        whole.setdefault(name, value)
    digest = hashlib.sha256(json.dumps([tables["calibration"]["id"], added], sort_keys=True, default=str).encode())
    gauge = whole["calibration"]["gauge"]
    return whole | {"calibration": whole["calibration"] | {"id": f"{gauge[:32]}-{digest.hexdigest()[:12]}"}}


def _not_found(tables: Mapping[str, Any], kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return what of the stated tables no record has found; what a record has found would not change the file."""
    left: dict[str, Any] = {}
    for name, table in kept.items():
        if name not in tables:
            left[name] = table
        elif rest := {key: value for key, value in table.items() if key not in tables[name]}:
            left[name] = rest
    return left


def calibration_text(records: Sequence[Record], kept: Mapping[str, Any] = MappingProxyType({})) -> str:
    """Return the calibration file as TOML, after checking it as a reader would.

    Parameters
    ----------
    records : Sequence[Record]
        Records in the order of SECTIONS.
    kept : Mapping[str, Any]
        What is stated besides them, as of `kept_over`.

    Returns
    -------
    str
        Content of the file.

    Raises
    ------
    ConfigurationError
        A value is outside the range that a calibration may have.
    """
    tables = with_kept(tables_of(records), kept)
    validated(Calibration, tables, Path("records"))
    lines = ["# Put together by midspan calibrate file. All u_... are standard uncertainties (k = 1)."]
    preset = tables.pop("cycle", None)
    if isinstance(preset, str):  # a name stands before the first table
        lines += ["", f"cycle = {_toml(preset)}"]
    elif preset is not None:
        tables["cycle"] = preset
    for name, table in tables.items():
        lines += ["", f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """Return a value as TOML; strings and arrays of strings are the same as in JSON.

    >>> _toml(math.inf), _toml(date(2026, 3, 1)), _toml(["a"]), _toml(8e-05)
    ('inf', '2026-03-01', '["a"]', '8e-05')
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return value.isoformat() if isinstance(value, date) else repr(value)


def write_calibration(
    folder: Path, out: Path, gauge: str | None, kept: Mapping[str, Any] = MappingProxyType({})
) -> list[Record]:
    """Write the calibration file from the newest records; an earlier one is kept under a name with its id.

    Parameters
    ----------
    folder : Path
        Folder of calibration records.
    out : Path
        File to write.
    gauge : str | None
        Name of the gauge; None if the folder has records of a single gauge.
    kept : Mapping[str, Any]
        What is stated besides the records, as of `kept_over`.

    Returns
    -------
    list[Record]
        Records behind the file.

    Raises
    ------
    ConfigurationError
        Records are missing, ambiguous or damaged.
    OutputError
        The file exists and is no calibration, or another file has the name under which to keep it (code
        "other_content"); or it cannot be written.
    """
    records = newest_records(folder, gauge)
    text = calibration_text(records, kept)
    with writing(out, "choose another file with --out"):
        if out.exists() and out.read_bytes() != text.encode():
            _keep_aside(out)
        out.write_bytes(text.encode())
    return records


def _keep_aside(file: Path) -> None:
    """Rename a calibration file after its id, for results name it; raise OutputError if it is something else."""
    try:
        identity = load_calibration(file).calibration.id
    except ConfigurationError as error:
        raise OutputError(
            f"{file}: holds something else than a calibration; choose another file with --out", code="other_content"
        ) from error
    aside = file.with_name(f"{file.stem}-{re.sub(NO_LETTER, '-', identity)}{file.suffix}")
    if aside.exists() and aside.read_bytes() != file.read_bytes():
        raise OutputError(f"{aside}: holds another calibration; move it, or choose another --out", code="other_content")
    file.replace(aside)


def remarks_on(records: Sequence[Record]) -> list[str]:
    """Return what a user of the calibration file should know besides what each procedure told.

    Parameters
    ----------
    records : Sequence[Record]
        Records behind the file.

    Returns
    -------
    list[str]
        Warnings if the filter was not calibrated or the records were taken at different temperatures.
    """
    warm = [record.temperature_c for record in records]
    given = []
    if "filter" not in {record.kind for record in records}:
        given.append(
            "the converter's filter was not calibrated: sides and spreads are stated with its wide bounds; run midspan "
            "calibrate filter"
        )
    if max(warm) - min(warm) > WARMER_C:
        given.append(f"the records were taken at {min(warm):g} to {max(warm):g} C; calibrate at the temperature of use")
    return given
