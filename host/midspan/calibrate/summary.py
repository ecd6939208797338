"""Words for the result of a calibration procedure."""

import numpy as np

from midspan.base.formatting import with_uncertainty
from midspan.calibrate.outcome import ProcedureResult

K = 2.0
# First line of a summary: key of the value, key of its u, True if that is relative, unit.
HEADLINES = {
    "force": ("newton_per_count", "u_scale", True, "N per count"),
    "travel": ("mm_per_step", "u_scale", True, "mm per step"),
    "frame": ("give_mm_per_n", "u_give_mm_per_n", False, "mm/N"),
    "span": ("span_mm", "u_span_mm", False, "mm"),
    "sinking": ("sink_mm_per_n", "u_sink_mm_per_n", False, "mm/N"),
    "rotation": ("steps_per_turn", "u_relative", True, "steps per turn"),
    "filter": ("delay_s", "u_delay_s", False, "s"),
}


def summary(kind: str, finding: ProcedureResult) -> str:
    """Return a result as text for people.

    Parameters
    ----------
    kind : str
        Kind of the procedure.
    finding : ProcedureResult
        The result.

    Returns
    -------
    str
        Lines with the value and U, figures, standard uncertainty of each cause, and remarks.
    """
    lines = []
    if kind in HEADLINES:
        key, u_key, relative, unit = HEADLINES[kind]
        value = finding.section[key]
        expanded = K * finding.section[u_key] * (value if relative else 1.0)
        lines.append(f"{kind}: {_short(value, expanded)} {unit} (U with k = 2)")
    lines += [f"  {name:24} {value:.6g}" for name, value in finding.figures.items()]
    if finding.budget:
        lines.append("  standard uncertainties:")
    lines += [
        f"    {name:22} {u:.2g}" + (f"  ({dof:.0f} degrees of freedom)" if np.isfinite(dof) else "")
        for name, (u, dof) in finding.budget.items()
    ]
    return "\n".join([*lines, *(f"  * {remark.words}" for remark in finding.remarks)])


def _short(value: float, expanded: float) -> str:
    """Return value and U, as a power of ten if plain digits would be zeros.

    >>> _short(9.1652e-6, 4.5e-9), _short(711.21, 0.07)
    ('(9.1652 ± 0.0045)e-06', '711.210 ± 0.070')
    """
    power = int(np.floor(np.log10(abs(value)))) if value else 0
    if -4 <= power < 6:
        return with_uncertainty(value, expanded, most_places=9)
    return f"({with_uncertainty(value / 10.0**power, expanded / 10.0**power)})e{power:+03d}"
