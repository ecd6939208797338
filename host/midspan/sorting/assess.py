"""Assess a run: what its readings say about the shaft, the gauge, and a check standard. Nothing is stored here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from midspan.archive.raw_run import RawRun
from midspan.decision.concerns import with_crack_limit
from midspan.decision.decision import CRACK_SUSPECTED, ConcernKind, Decision, judge
from midspan.measurement.result import ShaftResult
from midspan.pipeline.steps import Kept, Result
from midspan.sorting.check_standards import CHECK_OUT_OF_CONTROL, checked, verdict_on_check
from midspan.sorting.gauge_health import RunSigns, alarms, observe
from midspan.sorting.next_action import Route
from midspan.sorting.routing import Judged, route_of
from midspan.sorting.setup import Setup
from midspan.store.transit import RunEvent, RunEventKind, StandardCheck, Transit, TransitStage, WayStep
from midspan.wire.records import Identify


@dataclass(frozen=True)
class RunContext:
    """Everything besides its readings that the assessment of a run depends on.

    Parameters
    ----------
    transit : Transit
        The shaft's way so far.
    gauge : Identify
        The newest answer of the gauge.
    now_ms : int
        Time, ms since 1970 UTC.
    places : Mapping[int, int]
        Shafts in each place by its number.
    observed : Sequence[RunSigns]
        Signs of the earlier runs of this night, oldest first.
    checks : Sequence[StandardCheck]
        Checks on this gauge so far, oldest first.
    """

    transit: Transit
    gauge: Identify
    now_ms: int
    places: Mapping[int, int]
    observed: Sequence[RunSigns] = ()
    checks: Sequence[StandardCheck] = ()


@dataclass(frozen=True)
class Assessment:
    """Result and verdict of a run, with everything that follows from them.

    Parameters
    ----------
    result : Result
        Result of the measurement.
    decision : Decision
        The verdict.
    judged : Judged
        What the route of the shaft depends on.
    seen : RunSigns
        Signs of the gauge's health.
    check : StandardCheck | None
        The check, None for a shaft of the stock.
    events : tuple[RunEvent, ...]
        Events to note in the journal.
    """

    result: Result
    decision: Decision
    judged: Judged
    seen: RunSigns
    check: StandardCheck | None
    events: tuple[RunEvent, ...]


def assess(kept: Kept, result: Result, context: RunContext, setup: Setup) -> Assessment:
    """Judge a run and collect what follows from it.

    A shaft with signs of a crack is rejected as cracked. The verdict on a check standard is one on the gauge; it is no
    check yet while the standard is to be measured again.

    Parameters
    ----------
    kept : Kept
        The readings and their place in the archive.
    result : Result
        Result of the measurement.
    context : RunContext
        What else the assessment depends on.
    setup : Setup
        Plan, calibration and bands.

    Returns
    -------
    Assessment
        The assessment.
    """
    hysteresis_pct = result.hysteresis_pct if isinstance(result, ShaftResult) else None
    limit_pct = setup.plan.sort.crack_hysteresis_pct
    decision = with_crack_limit(judge(result, setup.bands), hysteresis_pct, limit_pct)
    judged = judged_as(decision, hysteresis_pct, kept.run)
    again = _route(judged, context, setup).again
    check = None if again else _check(result, context, setup)
    if check is not None:
        decision = verdict_on_check(check)
    seen = observe(kept.run, result, setup.calibration, context.gauge)
    events = [*_alarms(seen, context, setup), *(() if again else _findings(decision, context))]
    return Assessment(result, decision, judged, seen, check, tuple(events))


def judged_as(decision: Decision, hysteresis_pct: float | None, run: RawRun) -> Judged:
    """Return what the route of a shaft depends on.

    Parameters
    ----------
    decision : Decision
        Its verdict.
    hysteresis_pct : float | None
        Its hysteresis, percent of the load; None if unmeasured.
    run : RawRun
        Its readings.

    Returns
    -------
    Judged
        Outcome, bin, crack and interruption.
    """
    cracked = any(concern.kind is ConcernKind.CRACK for concern in decision.concerns)
    return Judged(decision.outcome, decision.bin, hysteresis_pct, run.cause, cracked, decision.repeat_helps)


def _route(judged: Judged, context: RunContext, setup: Setup) -> Route:
    """Return the route that the shaft would take with this verdict."""
    step = WayStep(TransitStage.JUDGED, context.now_ms, words=judged.cause)
    after = replace(context.transit, steps=(*context.transit.steps, step))
    return route_of(judged, after, setup.plan, context.places)


def _check(result: Result, context: RunContext, setup: Setup) -> StandardCheck | None:
    """Return the check of a standard; None for a shaft of the stock, or a standard no longer in the plan."""
    standard = next((bar for bar in setup.plan.standard if bar.name == context.transit.standard), None)
    if standard is None:
        return None
    identity = setup.calibration.calibration.id
    return checked(standard, result, context.checks, setup.plan.checks, context.now_ms, identity)


def _alarms(seen: RunSigns, context: RunContext, setup: Setup) -> Iterator[RunEvent]:
    """Yield the alarms about the gauge as events."""
    for alarm in alarms(seen, context.observed, setup.plan.watch):
        yield RunEvent(RunEventKind.ALARM, alarm.words, context.now_ms, alarm.code, context.transit.shaft)


def _findings(decision: Decision, context: RunContext) -> Iterator[RunEvent]:
    """Yield a failed check and a suspected crack as events."""
    for kind, code in ((RunEventKind.CHECK, CHECK_OUT_OF_CONTROL), (RunEventKind.FAULT, CRACK_SUSPECTED)):
        words = next((reason for reason in decision.reasons if reason.startswith(code)), None)
        if words is not None:
            yield RunEvent(kind, words, context.now_ms, code, context.transit.shaft)
