"""The value of a check standard from the hand bench: the mean over mountings, with all that mountings share.

Repeats on other days average out what differs from day to day, never what they share: weight, span, dial. So the
scatter between mountings is divided by their number, the rest of the budget is not (JCGM 100:2008, 4.2.3 and 5.2).
"""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from midspan.base.errors import ReadingsError
from midspan.base.formatting import with_uncertainty
from midspan.hand_bench.result import HandResult
from midspan.uncertainty.budget import Budget, Contribution

OF_REPEATS = "repeatability"
PERFECT_DOF = 1000  # beyond, k is that of infinitely many to every digit that is printed


@dataclass(frozen=True)
class AssignedBar:
    """A check standard with its value; u is a standard uncertainty with its effective degrees of freedom."""

    label: str
    spine_thou: float
    u_spine_thou: float
    dof: float
    k: float
    mountings: int
    bench: str
    last_ms: int

    @property
    def sentence(self) -> str:
        """The value in words."""
        value = with_uncertainty(self.spine_thou, self.k * self.u_spine_thou)
        return (
            f"{self.label}: {value} thou (U with k = {self.k:g} for 95 %), from {self.mountings} "
            f"mounting{'s' * (self.mountings != 1)} on hand bench {self.bench}"
        )


def assigned_from(results: Sequence[HandResult], label: str) -> AssignedBar:
    """The assigned value of a bar from its results, the newest evaluation of each mounting.

    Raises ReadingsError when there are none, when one is in doubt, or when they come from different benches.
    """
    newest = list({result.started_ms: result for result in results}.values())
    if not newest:
        raise ReadingsError(f"{label}: no hand bench result has this label; give one with: midspan hand measure")
    doubtful = [result for result in newest if result.doubts]
    if doubtful:
        raise ReadingsError(f"{label}: a mounting is in doubt ({doubtful[0].doubts[0]}); settle that before assigning")
    benches = sorted({result.calibration for result in newest})
    if len(benches) > 1:
        raise ReadingsError(f"{label}: measured on benches {' and '.join(benches)}; keep one database for each bench")
    budget = _budget(newest)
    last = max(result.started_ms for result in newest)
    spine = float(np.mean([result.spine_thou for result in newest]))
    return AssignedBar(label, spine, budget.u, budget.dof, budget.k(), len(newest), benches[0], last)


def _budget(results: Sequence[HandResult]) -> Budget:
    """What the mountings share, each cause at its largest, and what differs between them."""
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
    """The bar's file: its assigned value, standard uncertainty and where both come from, as TOML."""
    when = datetime.fromtimestamp(bar.last_ms / 1000, UTC).date().isoformat()
    dof = f"{bar.dof:.1f}" if bar.dof < PERFECT_DOF else "inf"
    return (
        "# Assigned value of a check standard: midspan deflection in thou under 880 g on 28 in.\n\n"
        f"[bar]\nid = {json.dumps(bar.label)}\nspine_thou = {bar.spine_thou:.4f}\n"
        f"u_spine_thou = {bar.u_spine_thou:.4f}\ndof = {dof}\nassigned = {when}\n"
        f'source = "hand bench {bar.bench}, {bar.mountings} mountings"\n'
    )
