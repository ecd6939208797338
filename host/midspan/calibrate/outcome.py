"""What every calibration procedure gives back, and what it is told about the bench.

A `ProcedureResult` is one procedure's outcome: a section of the calibration file with standard uncertainties and
degrees of freedom, further figures, and remarks in plain words. It knows nothing of records, dates or people.
"""

from dataclasses import dataclass, field
from typing import Any

# An uncertainty taken from a certificate or from experience is as good as one from so many readings
# (JCGM 100:2008, G.4.2: known to a quarter of itself gives 8).
DOF_CERTIFICATE = 50.0
DOF_GUESS = 8.0


@dataclass(frozen=True)
class ProcedureResult:
    """Outcome of one procedure on its readings.

    `section` holds the keys of the calibration file's table of the same name as `kind` (empty for a bar),
    `figures` what else was found by name with unit, `budget` each cause's (standard uncertainty, degrees of
    freedom) in the unit its key ends with, `remarks` sentences for people.
    """

    kind: str
    section: dict[str, float]
    figures: dict[str, float]
    budget: dict[str, tuple[float, float]]
    remarks: tuple[str, ...] = ()
    artefacts: tuple[dict[str, Any], ...] = field(default=())
