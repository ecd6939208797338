"""Words for the result of a calibration procedure: what a maker needs, and all the rest on request.

>>> spine_share_thou("span", {"span_mm": 711.2, "u_span_mm": 0.1})
0.41
"""

from collections.abc import Callable, Mapping

import numpy as np

from midspan.base.formatting import with_uncertainty
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.calibrate.outcome import ProcedureResult
from midspan.uncertainty.budget import Coverage

K = Coverage().k(None)  # of a 95 % range
SPINE_THOU = 500.0  # at which a share of the uncertainty of the spine is told
# What is told only on request: what a standard says of a cell, and what a test of the fit found.
ON_REQUEST = ("order", "iso_376", "iso_7500_1", "r_60", "no_creep")
# Standard uncertainty of a spine, relative or in mm, from that of a calibration.
SHARES: Mapping[str, Callable[[Mapping[str, float]], float]] = {
    "force": lambda section: section["u_scale"] * SPINE_THOU,
    "travel": lambda section: section["u_scale"] * SPINE_THOU,
    "frame": lambda section: section["u_give_mm_per_n"] * STANDARD.load_n / MM_PER_THOU,
    "span": lambda section: 3 * section["u_span_mm"] / section["span_mm"] * SPINE_THOU,  # sag goes by the cube
    "sinking": lambda section: section["u_sink_mm_per_n"] * STANDARD.load_n / MM_PER_THOU,
}
# First line of a summary: key of the value, key of its u, True if that is relative, factor to the unit, unit.
HEADLINES = {
    "force": ("newton_per_count", "u_scale", True, 1e6, "µN for each count"),
    "travel": ("mm_per_step", "u_scale", True, 1e3, "µm for each step"),
    "frame": ("give_mm_per_n", "u_give_mm_per_n", False, 1e3, "µm for each newton"),
    "span": ("span_mm", "u_span_mm", False, 1.0, "mm"),
    "sinking": ("sink_mm_per_n", "u_sink_mm_per_n", False, 1e3, "µm for each newton"),
    "rotation": ("steps_per_turn", "u_relative", True, 1.0, "steps for each turn"),
    "filter": ("delay_s", "u_delay_s", False, 1e3, "ms late"),
}


def spine_share_thou(kind: str, section: Mapping[str, float]) -> float | None:
    """Return what a calibration leaves of uncertainty in a spine of 500 thou, as half a 95 % range.

    Parameters
    ----------
    kind : str
        Kind of the procedure.
    section : mapping
        Its table in the calibration file.

    Returns
    -------
    float or None
        Half range, thou, to two digits after the point; None for a kind that does not change the mean.
    """
    return round(K * SHARES[kind](section), 2) if kind in SHARES else None


def summary(kind: str, finding: ProcedureResult) -> str:
    """Return a result as text for people: the value, what it leaves in a spine, and what to look at.

    Parameters
    ----------
    kind : str
        Kind of the procedure.
    finding : ProcedureResult
        The result.

    Returns
    -------
    str
        Lines.
    """
    lines = []
    if kind in HEADLINES:
        key, u_key, relative, factor, unit = HEADLINES[kind]
        value = finding.section[key]
        expanded = K * finding.section[u_key] * (value if relative else 1.0)
        shown = with_uncertainty(factor * value, factor * expanded, most_places=9)
        lines.append(f"{kind}: {shown} {unit} (± is a 95 % range)")
    share = spine_share_thou(kind, finding.section)
    if share is not None:
        lines.append(f"  of a spine of {SPINE_THOU:g} thou that leaves ± {share:.2f} thou")
    told = [remark.words for remark in finding.remarks if remark.code not in ON_REQUEST]
    return "\n".join([*lines, *(f"  * {words}" for words in told)])


def details(finding: ProcedureResult) -> str:
    """Return what is told on request: all figures, standard uncertainties by cause, and the other remarks.

    Parameters
    ----------
    finding : ProcedureResult
        The result.

    Returns
    -------
    str
        Lines.
    """
    lines = [f"  {name:24} {value:.6g}" for name, value in finding.figures.items()]
    if finding.budget:
        lines.append("  standard uncertainties (k = 1):")
    lines += [
        f"    {name:22} {u:.2g}" + (f"  ({dof:.0f} degrees of freedom)" if np.isfinite(dof) else "")
        for name, (u, dof) in finding.budget.items()
    ]
    told = [remark.words for remark in finding.remarks if remark.code in ON_REQUEST]
    return "\n".join([*lines, *(f"  * {words}" for words in told)])
