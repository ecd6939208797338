"""What one run says: of its shaft, of the gauge, and of a check standard if it was one. It stores nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from midspan.archive.raw_run import RawRun
from midspan.decision.decision import ConcernKind, Decision
from midspan.decision.evaluate_and_decide import judged
from midspan.decision.standing import CRACK_SUSPECTED, with_crack_limit
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.check_standards import CHECK_OUT_OF_CONTROL, checked, verdict_on_check
from midspan.sorting.gauge_health import RunSigns, alarms, observe
from midspan.sorting.next_action import Route
from midspan.sorting.routing import Judged, route_of
from midspan.sorting.setup import Setup
from midspan.store.passage import RunEvent, RunEventKind, StandardCheck, Step, Transit, TransitStage
from midspan.wire.records import Identify


@dataclass(frozen=True)
class Before:
    """What a run is held against: how many lie in each place, the night's observations, the gauge's checks so far."""

    places: Mapping[int, int]
    observed: Sequence[RunSigns] = ()
    checks: Sequence[StandardCheck] = ()


@dataclass(frozen=True)
class Assessment:
    """Result and verdict, what the shaft's way depends on, and what there is to tell; `check` of a standard."""

    result: ShaftResult | Unmeasured
    decision: Decision
    judged: Judged
    seen: RunSigns
    check: StandardCheck | None
    happenings: tuple[RunEvent, ...]


def appraise(
    run: RawRun, passage: Transit, gauge: Identify, setup: Setup, before: Before, now_ms: int
) -> Assessment:  # fmt: skip
    """Evaluate and judge a run.

    A shaft that hints at a crack is rejected as such. A standard's verdict is one on the gauge; as long as it is to be
    measured again it is no check yet.
    """
    result, decision = judged(run, setup.calibration, setup.bands)
    hysteresis_pct = result.hysteresis_pct if isinstance(result, ShaftResult) else None
    decision = with_crack_limit(decision, hysteresis_pct, setup.plan.sort.crack_hysteresis_pct)
    way = judged_as(decision, hysteresis_pct, run)
    course = _course(way, passage, setup, before, now_ms)
    check = None if course.again else _check(result, passage, setup, before, now_ms)
    if check is not None:
        decision = verdict_on_check(check)
    seen = observe(run, result, setup.calibration, gauge.interval_us, _celsius(gauge))
    told = [
        RunEvent(RunEventKind.ALARM, alarm.words, now_ms, alarm.code, passage.shaft)
        for alarm in alarms(seen, before.observed, setup.plan.watch)
    ]
    for kind, code in ((RunEventKind.CHECK, CHECK_OUT_OF_CONTROL), (RunEventKind.FAULT, CRACK_SUSPECTED)):
        words = next((reason for reason in decision.reasons if reason.startswith(code)), None)
        if words is not None and not course.again:
            told.append(RunEvent(kind, words, now_ms, code, passage.shaft))
    return Assessment(result, decision, way, seen, check, tuple(told))


def judged_as(decision: Decision, hysteresis_pct: float | None, run: RawRun) -> Judged:
    """What the way of a shaft depends on."""
    cracked = any(concern.kind is ConcernKind.CRACK for concern in decision.concerns)
    return Judged(decision.outcome, decision.bin, hysteresis_pct, run.cause, cracked)


def _course(way: Judged, passage: Transit, setup: Setup, before: Before, now_ms: int) -> Route:
    after = replace(passage, steps=(*passage.steps, Step(TransitStage.JUDGED, now_ms, words=way.cause)))
    return route_of(way, after, setup.plan, before.places)


def _check(
    result: ShaftResult | Unmeasured, passage: Transit, setup: Setup, before: Before, now_ms: int
) -> StandardCheck | None:
    standard = next((one for one in setup.plan.standard if one.name == passage.standard), None)
    if standard is None:  # a shaft of the stock, or a standard that the plan has since forgotten
        return None
    identity = setup.calibration.calibration.id
    return checked(standard, result, before.checks, setup.plan.checks, now_ms, identity)


def _celsius(gauge: Identify) -> float | None:
    return None if gauge.temperature_centi is None else gauge.temperature_centi / 100
