"""Assigned value of a check standard from the hand bench: the mean over mountings, with the uncertainty they share.

Repeats on other days average out what differs from day to day, but not what they share: weight, span, dial. So the
scatter between mountings is divided by their number, the rest of the budget is not (JCGM 100:2008, 4.2.3 and 5.2).
"""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.hand_bench.result import HandResult
from midspan.measurement.shown_quantities import across_text
from midspan.uncertainty.budget import Budget, Contribution

OF_REPEATS = "repeatability"
PERFECT_DOF = 1000  # above it, k is that of infinite degrees of freedom in every digit printed


@dataclass(frozen=True)
class AssignedBar:
    """A check standard with its assigned value.

    Parameters
    ----------
    label : str
        Label of the bar.
    spine_thou : float
        Assigned spine, thou.
    u_spine_thou : float
        Its standard uncertainty, thou.
    dof : float
        Effective degrees of freedom of that uncertainty.
    k : float
        Coverage factor for 95 %.
    mountings : int
        Number of mountings averaged.
    bench : str
        Id of the hand bench.
    last_ms : int
        Start of the last session, ms since 1970 (UTC).
    definition : str
        Reference condition of the spine.
    """

    label: str
    spine_thou: float
    u_spine_thou: float
    dof: float
    k: float
    mountings: int
    bench: str
    last_ms: int
    definition: str

    @property
    def sentence(self) -> str:
        """The value with its uncertainty as a sentence."""
        value = across_text(self.spine_thou, self.k * self.u_spine_thou)
        return (
            f"{self.label}: {value} (95 % range), from {self.mountings} "
            f"mounting{'s' * (self.mountings != 1)} on hand bench {self.bench}"
        )


def assigned_from(results: Sequence[HandResult], label: str) -> AssignedBar:
    """Return the assigned value of a bar from its results; of each mounting the last result in the sequence counts.

    Parameters
    ----------
    results : sequence of HandResult
        Results of the bar, older evaluations first.
    label : str
        Label of the bar.

    Returns
    -------
    AssignedBar
        Mean over the mountings, with its uncertainty.

    Raises
    ------
    ReadingsError
        There are no results (code "no_results"), a result is in doubt ("in_doubt"), or the results come from
        different benches ("benches") or are stated for different conditions ("definitions").

    References
    ----------
    JCGM 100:2008, 4.2.3 (mean of repeats) and 5.2 (causes in common).
    """
    newest = list({result.started_ms: result for result in results}.values())
    if not newest:
        raise ReadingsError(
            f"{label}: no hand bench result has this label; measure it with: midspan hand measure", code="no_results"
        )
    doubtful = [result for result in newest if result.doubts]
    if doubtful:
        raise ReadingsError(
            f"{label}: a result is in doubt ({doubtful[0].doubts[0]}); measure it again before assigning a value",
            code="in_doubt",
        )
    benches = sorted({result.calibration for result in newest})
    if len(benches) > 1:
        raise ReadingsError(
            f"{label}: measured on benches {' and '.join(benches)}; keep a database for each bench", code="benches"
        )
    definitions = sorted({result.definition for result in newest})
    if len(definitions) > 1:
        raise ReadingsError(
            f"{label}: stated for {' and for '.join(definitions)}; make all results again: midspan hand recompute",
            code="definitions",
        )
    budget = _budget(newest)
    last = max(result.started_ms for result in newest)
    spine = float(np.mean([result.spine_thou for result in newest]))
    return AssignedBar(label, spine, budget.u, budget.dof, budget.k(), len(newest), benches[0], last, definitions[0])


def _budget(results: Sequence[HandResult]) -> Budget:
    """Return the budget of the mean: each shared cause at its largest, and the scatter of the mountings."""
    budgets = [result.budget.contributions for result in results]
    shared = [
        max(parts, key=lambda part: part.u) for parts in zip(*budgets, strict=True) if parts[0].name != OF_REPEATS
    ]
    within = Budget(tuple(part for parts in budgets for part in parts if part.name == OF_REPEATS))
    number = len(results)
    scatter = Contribution(OF_REPEATS, within.u / number, 1.0, "thou", within.dof)
    if number > 1:
        between = float(np.std([result.spine_thou for result in results], ddof=1)) / math.sqrt(number)
        if between > scatter.u:
            scatter = Contribution("mounting", between, 1.0, "thou", number - 1)
    return Budget((*shared, scatter))


def bar_text(bar: AssignedBar) -> str:
    """Return the file of a bar: assigned value, standard uncertainty and source, as TOML.

    Parameters
    ----------
    bar : AssignedBar
        The bar.

    Returns
    -------
    str
        Text of the file.
    """
    when = datetime.fromtimestamp(bar.last_ms / 1000, UTC).date().isoformat()
    dof = f"{bar.dof:.1f}" if bar.dof < PERFECT_DOF else "inf"
    return (
        "# Assigned value of a check standard: midspan deflection in thou under 880 g on 28 in.\n"
        "# The reactions of the supports are normal to the bent bar, on knife edges.\n\n"
        f"[bar]\nid = {json.dumps(bar.label)}\nspine_thou = {bar.spine_thou:.4f}\n"
        f"u_spine_thou = {bar.u_spine_thou:.4f}\ndof = {dof}\nassigned = {when}\n"
        f'definition = "{bar.definition}"\n'
        f'source = "hand bench {bar.bench}, {bar.mountings} mountings"\n'
    )
