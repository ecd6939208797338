"""Degrees of freedom of stored spines, read from a few fields of a result instead of all of them.

Lists show many shafts with their ± (`measurement.shown_quantities`), which needs the degrees of freedom. A gauge's
result states them; those of a hand bench follow from its repeatability, the only cause with finitely many.

>>> freedom_of('[42.9, null, null, null]', 0.2)
42.9
>>> round(freedom_of('[null, 9, 0.15, 1.0]', 0.3), 1)  # 9 (0.3 / 0.15)^4
144.0
"""

from __future__ import annotations

import json
import math

FREEDOM = ("dof_spine", "repeat_dof", "u_causes[0]", "sensitivities[0]")


def freedom_of(text: str, u_spine_thou: float | None) -> float | None:
    """Return the degrees of freedom of the standard uncertainty of a stored spine.

    Parameters
    ----------
    text : str
        JSON list of the fields FREEDOM, as `older_spines.json_of` reads them.
    u_spine_thou : float | None
        Standard uncertainty of the spine, thou.

    Returns
    -------
    float | None
        Degrees of freedom; None where they are infinite or the result does not say.
    """
    stated, repeats, u_repeat, sensitivity = json.loads(text)
    if _is_number(stated):
        return float(stated)
    if u_spine_thou is None or not all(map(_is_number, (repeats, u_repeat, sensitivity))):
        return None
    share = abs(u_repeat * sensitivity)
    return None if share == 0 else float(repeats * (u_spine_thou / share) ** 4)


def _is_number(value: object) -> bool:
    """Return True for a finite number: another program may have written anything."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
