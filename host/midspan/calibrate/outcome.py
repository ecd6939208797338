"""Result of a calibration procedure: a section of the calibration file, further figures and remarks.

It knows nothing of records, dates or people.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

# Degrees of freedom of an uncertainty from a certificate or from experience (JCGM 100:2008, G.4.2: an uncertainty
# known to a quarter of itself has 8).
DOF_CERTIFICATE = 50.0
DOF_GUESS = 8.0


@dataclass(frozen=True, slots=True)
class Remark:
    """Remark on a calibration for people.

    Parameters
    ----------
    code : str
        Name of the remark for programs and tests.
    words : str
        Sentence without a full stop.
    """

    code: str
    words: str


def chosen(*given: tuple[bool, str, str]) -> tuple[Remark, ...]:
    """Return the remarks whose condition holds.

    Parameters
    ----------
    *given : tuple[bool, str, str]
        Condition, code and words of each possible remark.

    Returns
    -------
    tuple[Remark, ...]
        Remarks in the order given.

    Examples
    --------
    >>> [remark.code for remark in chosen((True, "slip", "it slips"), (False, "one_way", "one way only"))]
    ['slip']
    """
    return tuple(Remark(code, words) for holds, code, words in given if holds)


@dataclass(frozen=True)
class ProcedureResult:
    """Result of a procedure on its readings.

    Parameters
    ----------
    kind : str
        Kind of the procedure, also the name of its table in the calibration file.
    section : dict[str, float]
        Values of that table, empty for a reference bar.
    figures : dict[str, float]
        Other findings by name with unit.
    budget : dict[str, tuple[float, float]]
        Standard uncertainty and degrees of freedom by cause; the name ends with the unit, or the value is relative.
    remarks : tuple[Remark, ...]
        Remarks for people.
    artefacts : tuple[dict[str, Any], ...]
        Certified masses or instruments used.
    """

    kind: str
    section: dict[str, float]
    figures: dict[str, float]
    budget: dict[str, tuple[float, float]]
    remarks: tuple[Remark, ...] = ()
    artefacts: tuple[dict[str, Any], ...] = field(default=())


def with_stated(result: ProcedureResult, stated: Mapping[str, float]) -> ProcedureResult:
    """Return a result with further keys of its table that were not measured but stated by the maker.

    Parameters
    ----------
    result : ProcedureResult
        Result of a procedure.
    stated : Mapping[str, float]
        Values by key.

    Returns
    -------
    ProcedureResult
        The same with these keys in its section and among its figures.

    Examples
    --------
    >>> with_stated(ProcedureResult("travel", {"mm_per_step": 0.0025}, {}, {}), {"tilt_deg": 0.3}).section
    {'mm_per_step': 0.0025, 'tilt_deg': 0.3}
    """
    return replace(result, section=result.section | dict(stated), figures=result.figures | dict(stated))
