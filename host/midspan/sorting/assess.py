"""What a run says of its shaft, of the gauge, and of a check standard if it was one. It stores nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from midspan.archive.raw_run import RawRun
from midspan.decision.concerns import CRACK_SUSPECTED, with_crack_limit
from midspan.decision.decision import ConcernKind, Decision, judge
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Kept, Result
from midspan.sorting.check_standards import CHECK_OUT_OF_CONTROL, checked, verdict_on_check
from midspan.sorting.gauge_health import RunSigns, alarms, observe
from midspan.sorting.next_action import Route
from midspan.sorting.routing import Judged, route_of
from midspan.sorting.setup import Setup
from midspan.store.transit import RunEvent, RunEventKind, StandardCheck, Step, Transit, TransitStage
from midspan.wire.records import Identify


@dataclass(frozen=True)
class RunContext:
    """What a run is held against, and when.

    The shaft's transit, what the gauge says of itself, how many shafts lie in each place, what the runs of this night
    told of the gauge, and the checks of the gauge so far.
    """

    transit: Transit
    gauge: Identify
    now_ms: int
    places: Mapping[int, int]
    observed: Sequence[RunSigns] = ()
    checks: Sequence[StandardCheck] = ()


@dataclass(frozen=True)
class Assessment:
    """Result and verdict, what the shaft's way depends on, and what there is to tell; `check` of a standard."""

    result: Result
    decision: Decision
    judged: Judged
    seen: RunSigns
    check: StandardCheck | None
    events: tuple[RunEvent, ...]


def assess(kept: Kept, result: Result, context: RunContext, setup: Setup) -> Assessment:
    """Return the verdict on a run with all that it says.

    A shaft that hints at a crack is rejected as such. A standard's verdict is one on the gauge; as long as it is to be
    measured again it is no check yet.
    """
    hysteresis_pct = result.hysteresis_pct if isinstance(result, ShaftResult) else None
    limit_pct = setup.plan.sort.crack_hysteresis_pct
    decision = with_crack_limit(judge(result, setup.bands), hysteresis_pct, limit_pct)
    judged = judged_as(decision, hysteresis_pct, kept.run)
    again = _route(judged, context, setup).again
    check = None if again else _check(result, context, setup)
    if check is not None:
        decision = verdict_on_check(check)
    seen = observe(kept.run, result, setup.calibration, context.gauge.interval_us, _celsius(context.gauge))
    events = [*_alarms(seen, context, setup), *(() if again else _findings(decision, context))]
    return Assessment(result, decision, judged, seen, check, tuple(events))


def judged_as(decision: Decision, hysteresis_pct: float | None, run: RawRun) -> Judged:
    """Return what the way of a shaft depends on."""
    cracked = any(concern.kind is ConcernKind.CRACK for concern in decision.concerns)
    return Judged(decision.outcome, decision.bin, hysteresis_pct, run.cause, cracked)


def _route(judged: Judged, context: RunContext, setup: Setup) -> Route:
    step = Step(TransitStage.JUDGED, context.now_ms, words=judged.cause)
    after = replace(context.transit, steps=(*context.transit.steps, step))
    return route_of(judged, after, setup.plan, context.places)


def _check(result: Result, context: RunContext, setup: Setup) -> StandardCheck | None:
    standard = next((bar for bar in setup.plan.standard if bar.name == context.transit.standard), None)
    if standard is None:  # a shaft of the stock, or a standard that the plan has since forgotten
        return None
    identity = setup.calibration.calibration.id
    return checked(standard, result, context.checks, setup.plan.checks, context.now_ms, identity)


def _alarms(seen: RunSigns, context: RunContext, setup: Setup) -> Iterator[RunEvent]:
    for alarm in alarms(seen, context.observed, setup.plan.watch):
        yield RunEvent(RunEventKind.ALARM, alarm.words, context.now_ms, alarm.code, context.transit.shaft)


def _findings(decision: Decision, context: RunContext) -> Iterator[RunEvent]:
    for kind, code in ((RunEventKind.CHECK, CHECK_OUT_OF_CONTROL), (RunEventKind.FAULT, CRACK_SUSPECTED)):
        words = next((reason for reason in decision.reasons if reason.startswith(code)), None)
        if words is not None:
            yield RunEvent(kind, words, context.now_ms, code, context.transit.shaft)


def _celsius(gauge: Identify) -> float | None:
    return None if gauge.temperature_centi is None else gauge.temperature_centi / 100
