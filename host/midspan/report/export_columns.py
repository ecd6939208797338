"""Columns of exported tables: name, kind, unit, meaning, and what an empty cell means.

Exports and the dictionary beside each of them are both made from here.

>>> [column.name for column in RESULTS][:3]
['result', 'batch', 'shaft']
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "whole", "number", "time"]
NO_RESULT = "the run gave no result"
NOT_BY_HAND = "no result, or one of the hand bench, which does not give it"
K1 = "standard uncertainty, k = 1"


@dataclass(frozen=True, slots=True)
class ExportColumn:
    """A column; `empty` says when its cells are empty, "never" if they cannot be.

    Parameters
    ----------
    name : str
        Heading.
    kind : Kind
        Type of the values.
    unit : str
        Unit, may be empty.
    meaning : str
        Description for the dictionary.
    empty : str
        Meaning of an empty cell.
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    empty: str = "never"


def _measured(name: str, unit: str, meaning: str, empty: str = NO_RESULT) -> tuple[ExportColumn, ExportColumn]:
    """Return the columns of a quantity and of its standard uncertainty."""
    return (
        ExportColumn(name, "number", unit, meaning, empty),
        ExportColumn(f"u_{name}", "number", unit, f"of {name}: {K1}", empty),
    )


RESULTS = (
    ExportColumn("result", "whole", "", "number of this evaluation in the database"),
    ExportColumn("batch", "whole", "", "batch or sorting run that the measurement belongs to"),
    ExportColumn("shaft", "whole", "", "number of the shaft"),
    ExportColumn("label", "text", "", "its name", "it has none"),
    ExportColumn("started", "time", "UTC", "when its measurement began"),
    ExportColumn("made", "time", "UTC", "when this evaluation was made"),
    ExportColumn("archive", "text", "", "file with its raw readings"),
    ExportColumn("byte_offset", "whole", "bytes", "byte offset of the readings in that file"),
    ExportColumn("origin", "text", "",
                 "measured, or imported: it came from an archive and knew of nothing in the database"),
    ExportColumn("superseded_by", "whole", "", "number of the newest evaluation of the measurement that took its place",
                 "none did"),
    ExportColumn("void", "text", "", "yes: a person said that its measurement does not count", "it counts"),
    ExportColumn("outcome", "text", "", "verdict: accepted, rejected, doubtful or instrument fault"),
    ExportColumn("bin", "text", "", "bin of the bands that it was accepted into", "not accepted"),
    ExportColumn("reasons", "text", "", "why, separated by semicolons", "no reason to give"),
    ExportColumn("gauge", "text", "", "name of the gauge, or the hand bench", NO_RESULT),
    ExportColumn("calibration", "text", "", "id of the calibration that it was made under", NO_RESULT),
    ExportColumn("evaluation", "text", "", "version of the evaluation", NO_RESULT),
    ExportColumn("definition", "text", "", "condition that its spine is stated for; do not mix two of them", NO_RESULT),
    ExportColumn("temperature_c", "number", "degC", "temperature of measuring", "no result, or not measured"),
    *_measured("spine_thou", "thou", "static spine: mean deflection under 880 g on 28 in; 1 thou = 0.0254 mm"),
    *_measured("spread_thou", "thou", "largest minus smallest deflection around the shaft, full turn"),
    ExportColumn("spread_floor_thou", "number", "thou", "smallest spread that the run could detect (95 %)",
                 NO_RESULT),
    *_measured("four_reading_thou", "thou", "largest minus smallest deflection of four, 90 degrees apart (ASTM F2031)"),
    *_measured("stiff_side_deg", "deg", "one of two opposite stiff sides, from the mark or the first reading",
               "no result, or no stiff side can be told from noise"),
    *_measured("runout_mm", "mm", "total indicator reading of the surface at midspan", "no result, or not measured"),
    *_measured("hysteresis_pct", "%", "force missing at the light load on the way back", "no result, or not measured"),
    *_measured("older_lb", "lb", "the older number: 26 over the deflection in inches on 26 in under 2 lb"),
    *_measured("slip_pct", "%", "slip of the rollers", NOT_BY_HAND),
    ExportColumn("readings", "whole", "", "readings that the result rests on", NO_RESULT),
    ExportColumn("doubts", "text", "", "what speaks against trusting it, separated by semicolons", "nothing does"),
)  # fmt: skip

SETS = (
    ExportColumn("set", "text", "", "name of the set"),
    ExportColumn("made", "time", "UTC", "when the set was made"),
    ExportColumn("shaft", "whole", "", "number of the shaft"),
    ExportColumn("label", "text", "", "its name", "it has none"),
    ExportColumn("joined", "time", "UTC", "when the shaft came into the set"),
    ExportColumn("left", "text", "", "why it is no longer in the set", "it is in it"),
    ExportColumn(
        "spine_thou", "number", "thou", "static spine by its newest result, for normal reactions", "it has no result"
    ),
    ExportColumn("u_spine_thou", "number", "thou", f"of spine_thou: {K1}", "it has no result"),
    ExportColumn("spread_thou", "number", "thou", "spread around the shaft", "not measured"),
    ExportColumn("runout_thou", "number", "thou", "total indicator reading at midspan", "not measured"),
    ExportColumn("weight_gr", "number", "gr", "weight; 1 gr = 0.06479891 g", "not weighed"),
)
TABLES: Mapping[str, tuple[ExportColumn, ...]] = {"results": RESULTS, "sets": SETS}
HEADINGS = ("column", "kind", "unit", "meaning", "empty_when")
NOTE = (
    "In CSV a text that begins with = + - @ or an apostrophe has one apostrophe more before it, or a spreadsheet would "
    "compute it; JSON and Parquet have it as it is. Times are ISO 8601."
)


def described(columns: tuple[ExportColumn, ...]) -> list[dict[str, str]]:
    """Return the dictionary of some columns as rows under HEADINGS.

    Parameters
    ----------
    columns : tuple[ExportColumn, ...]
        The columns.

    Returns
    -------
    list[dict[str, str]]
        A row for each column.
    """
    return [
        dict(zip(HEADINGS, (column.name, column.kind, column.unit, column.meaning, column.empty), strict=True))
        for column in columns
    ]
