"""Two results of the same raw readings side by side: what changed, and why.

A result changes when its calibration or the evaluation did, never by itself: the same readings under the same
two give the same bits. What a changed calibration value should have done follows from the sensitivities that
every result carries; what is left over was not only that.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from midspan.hand_bench.conversion import CAUSES as HAND_CAUSES
from midspan.hand_bench.result import is_hand_result
from midspan.measurement.spine_budget import CAUSES
from midspan.store.database import StoredResult

# Calibration value, cause in the budget, and whether its sensitivity is per relative or per absolute change.
PREDICTED = (
    ("force.newton_per_count", "force scale", True),
    ("travel.mm_per_step", "travel scale", True),
    ("frame.give_mm_per_n", "frame give", False),
    ("span.span_mm", "span", False),
)
PREDICTED_BY_HAND = (
    ("weight.mass_g", "mass", False),
    ("span.span_mm", "span", False),
    ("frame.give_mm_per_n", "give of supports", False),
)
COMPARED = ("spine_thou", "spread_thou", "runout_mm", "hysteresis_pct")


@dataclass(frozen=True, slots=True)
class ResultChange:
    """The step from one result of a run to a later one; `expected_thou` is None when it cannot be foretold."""

    before: StoredResult
    after: StoredResult
    differences: dict[str, float]
    expected_thou: float | None
    causes: tuple[str, ...]

    @property
    def verdict_changed(self) -> bool:
        """Whether the shaft would go elsewhere now."""
        old, new = self.before.decision, self.after.decision
        return (old.outcome, old.bin) != (new.outcome, new.bin)

    @property
    def is_nothing(self) -> bool:
        """Whether every number stayed the same to the last bit."""
        return self.before.result == self.after.result


def changes(versions: Sequence[StoredResult], calibrations: Mapping[str, Mapping[str, Any]]) -> ResultChange | None:
    """The last step among the results of one run, oldest first; None when it has only one.

    `calibrations` are the contents by id, as `Store.calibrations` gives them.
    """
    if len(versions) < 2:
        return None
    before, after = versions[-2:]
    old, new = before.result or {}, after.result or {}
    both = [name for name in COMPARED if _is_number(old.get(name)) and _is_number(new.get(name))]
    kept = (calibrations.get(str(old.get("calibration"))), calibrations.get(str(new.get("calibration"))))
    return ResultChange(
        before,
        after,
        {name: new[name] - old[name] for name in both},
        _expected(new, *kept) if both else None,
        tuple(_causes(old, new, *kept)),
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def _flat(content: Mapping[str, Any] | None) -> dict[str, Any]:
    """Values of a calibration by section and key; its own name and dates are no values of the gauge."""
    sections = {name: section for name, section in (content or {}).items() if name not in ("calibration", "bench")}
    return {f"{name}.{key}": value for name, section in sections.items() for key, value in section.items()}


def _causes(
    old: Mapping[str, Any], new: Mapping[str, Any], was: Mapping[str, Any] | None, now: Mapping[str, Any] | None
) -> Iterator[str]:
    if old.get("evaluation") != new.get("evaluation"):
        yield f"evaluation {old.get('evaluation')} became {new.get('evaluation')}"
    if old.get("calibration") != new.get("calibration"):
        yield f"calibration {old.get('calibration')} became {new.get('calibration')}"
    before, after = _flat(was), _flat(now)
    for key in sorted(before.keys() | after.keys()):
        if before.get(key) != after.get(key):
            yield f"{key}: {_shown(before.get(key))} became {_shown(after.get(key))}"


def _shown(value: Any) -> str:
    return f"{value:.9g}" if isinstance(value, float) else ("nothing" if value is None else str(value))


def _expected(new: Mapping[str, Any], was: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> float | None:
    """Change of the spine in thou that the changed calibration values make to first order."""
    if was is None or now is None:
        return None
    before, after = _flat(was), _flat(now)
    causes, predicted = (HAND_CAUSES, PREDICTED_BY_HAND) if is_hand_result(dict(new)) else (CAUSES, PREDICTED)
    sensitivity = dict(zip((name for name, _ in causes), new["sensitivities"], strict=True))
    steps = ((key, cause, relative, after[key] - before[key]) for key, cause, relative in predicted)
    return math.fsum(
        sensitivity[cause] * (step / before[key] if relative else step) for key, cause, relative, step in steps
    )
