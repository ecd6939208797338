"""Two results of the same raw readings side by side: what changed, and why.

A result changes when its calibration or the evaluation did, never by itself: the same readings under the same
two give the same bits. What a changed calibration value should have done follows from the sensitivities that
every result carries; what is left over was not only that.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

from midspan.measurement.result import Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.evaluation import StoredResult
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.reference_spine import StatedSpine
from midspan.store.stored_result import CAUSES, AnyResult, OlderResult, finite, is_same

# Calibration value, its cause in the budget, and True if its sensitivity is per relative change, False if absolute.
PREDICTED = {
    ResultKind.GAUGE: (
        ("force.newton_per_count", "force scale", True),
        ("travel.mm_per_step", "travel scale", True),
        ("frame.give_mm_per_n", "frame give", False),
        ("span.span_mm", "span", False),
    ),
    ResultKind.HAND_BENCH: (
        ("weight.mass_g", "mass", False),
        ("span.span_mm", "span", False),
        ("frame.give_mm_per_n", "give of supports", False),
    ),
}


@dataclass(frozen=True, slots=True)
class ResultChange:
    """Change from one result of a run to a later result of the same run.

    Parameters
    ----------
    before : StoredResult
        The older result.
    after : StoredResult
        The newer result.
    differences : dict[str, float]
        Newer minus older value of each quantity that both have, in the unit of its name.
    expected_thou : float or None
        Change of the spine that the changed calibration explains, thou; None if that is unknown.
    causes : tuple[str, ...]
        What differs in evaluation and calibration.
    """

    before: StoredResult
    after: StoredResult
    differences: dict[str, float]
    expected_thou: float | None
    causes: tuple[str, ...]

    @property
    def verdict_changed(self) -> bool:
        """True if the shaft now belongs in another bin, or has another outcome."""
        old, new = self.before.decision, self.after.decision
        return (old.outcome, old.bin) != (new.outcome, new.bin)

    @property
    def is_nothing(self) -> bool:
        """True if every number stayed the same to the last bit."""
        return is_same(self.before.result, self.after.result)


def last_change(versions: Sequence[StoredResult], calibrations: Mapping[str, KeptCalibration]) -> ResultChange | None:
    """Return the newest change among the results of one run, None if it has a single result.

    Parameters
    ----------
    versions : Sequence[StoredResult]
        Results of the run, oldest first.
    calibrations : Mapping[str, KeptCalibration]
        Kept calibrations by id, as `Store.calibrations` gives them.

    Returns
    -------
    ResultChange or None
        The step from the last result but one to the last.
    """
    if len(versions) < 2:
        return None
    before, after = versions[-2:]
    old, new = _MadeBy.of(before.result), _MadeBy.of(after.result)
    kept = calibrations.get(old.calibration or ""), calibrations.get(new.calibration or "")
    differences = _differences(before.result, after.result)
    expected_thou = _expected(after.result, *kept) if differences else None
    return ResultChange(before, after, differences, expected_thou, tuple(_causes(old, new, *kept)))


@dataclass(frozen=True, slots=True)
class _MadeBy:
    """Calibration, evaluation and definition of a result, all None for a run without a result."""

    calibration: str | None = None
    evaluation: str | None = None
    definition: str | None = None

    @classmethod
    def of(cls, result: AnyResult) -> Self:
        if isinstance(result, Unmeasured):
            return cls()
        return cls(result.calibration, result.evaluation, StatedSpine.of(result).stated_for)


def _differences(old: AnyResult, new: AnyResult) -> dict[str, float]:
    """Return newer minus older value of each quantity that both results have."""
    if isinstance(old, Unmeasured) or isinstance(new, Unmeasured):
        return {}
    pairs = {
        "spine_thou": (old.spine_thou, new.spine_thou),
        "spread_thou": (old.spread_thou, new.spread_thou),
        "runout_mm": (old.runout_mm, new.runout_mm),
        "hysteresis_pct": (old.hysteresis_pct, new.hysteresis_pct),
    }
    known = {name: (finite(was), finite(now)) for name, (was, now) in pairs.items()}
    return {name: now - was for name, (was, now) in known.items() if was is not None and now is not None}


def _causes(old: _MadeBy, new: _MadeBy, was: KeptCalibration | None, now: KeptCalibration | None) -> Iterator[str]:
    """Yield in words what differs in evaluation and calibration."""
    if old.definition != new.definition:
        yield f"the spine was stated for {old.definition}, and is for {new.definition}"
    if old.evaluation != new.evaluation:
        yield f"evaluation {old.evaluation} became {new.evaluation}"
    if old.calibration != new.calibration:
        yield f"calibration {old.calibration} became {new.calibration}"
    before, after = was.values if was else {}, now.values if now else {}
    for key in sorted(before.keys() | after.keys()):
        if before.get(key) != after.get(key):
            yield f"{key}: {_shown(before.get(key))} became {_shown(after.get(key))}"


def _shown(value: object) -> str:
    """Return a value of a calibration as text, "nothing" where there is none."""
    return f"{value:.9g}" if isinstance(value, float) else ("nothing" if value is None else str(value))


def _expected(new: AnyResult, was: KeptCalibration | None, now: KeptCalibration | None) -> float | None:
    """Return the change of the spine that changed calibration values make to first order, thou; None if unknown."""
    if was is None or now is None or isinstance(new, Unmeasured | OlderResult):
        return None
    sensitivity = dict(zip((name for name, _ in CAUSES[new.kind]), new.sensitivities, strict=True))
    steps = []
    for key, cause, relative in PREDICTED[new.kind]:
        before, after = was.number(key), now.number(key)
        if before is None or after is None:
            return None
        steps.append(sensitivity[cause] * ((after - before) / before if relative else after - before))
    return math.fsum(steps)
