"""Check standards: when one is due, whether the gauge still reads it right, and which shafts are in doubt if not.

Bias: |reading - assigned| against U = k sqrt(u^2 + u_assigned^2) of both. Chart: the newest good reading in a chart of
individuals (control_chart) whose centre and limits come from the first so many readings of this standard on this gauge
under this calibration. Readings that were found bad stay out of the chart, as is usual once a cause is removed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from midspan.base.errors import ReadingsError
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.plan import Checks, SortPlan, Standard
from midspan.store.transit import StandardCheck, Transit
from midspan.study.control_chart import RULES, WESTERN_ELECTRIC, individuals_chart

CHECK_OUT_OF_CONTROL = "CHECK_OUT_OF_CONTROL"
CHECK_BIN = "check standard"  # where the verdict on a good one says that it belongs
MINUTE_MS = 60_000
LIMIT_RULES = frozenset({"beyond the limits"})
RUN_RULES = frozenset(rule.name for rule in RULES if WESTERN_ELECTRIC in rule.source)


def due(
    plan: SortPlan, checks: Sequence[StandardCheck], shafts: Sequence[int], now_ms: int, *, ending: bool
) -> Standard | None:
    """The check standard to be measured now, if one is.

    `checks` and `shafts` (numbers of the stock's) are those of the night so far. One is due at the start, after so many
    shafts or minutes, before the end when shafts came after the last check, and after a bad check.

    >>> from midspan.sorting.plan import EXAMPLE
    >>> bar = {"name": "bar 7", "assigned_thou": 500.0, "u_assigned_thou": 0.1}
    >>> slot = [*EXAMPLE["place"], {"number": 5, "use": "standard"}]
    >>> plan = SortPlan.model_validate({**EXAMPLE, "place": slot, "standard": [bar]})
    >>> good = StandardCheck("bar 7", 0, 500.1, 0.2, 500.0, 0.1, good=True, shaft=1)
    >>> [due(plan, done, [2, 3], 60_000, ending=end) is not None for done, end in (([], False), ([good], False),
    ...  ([good], True))]
    [True, False, True]
    """
    for standard in plan.standard:
        last = next((one for one in reversed(checks) if one.standard == standard.name), None)
        if last is None or _is_due(plan.checks, last, shafts, now_ms, ending=ending):
            return standard
    return None


def _is_due(plan: Checks, last: StandardCheck, shafts: Sequence[int], now_ms: int, *, ending: bool) -> bool:
    since = sum(shaft > (last.shaft or 0) for shaft in shafts)
    passed_ms = now_ms - last.at_ms
    if not last.good and plan.bad_check == "stop":
        return True
    # A clock that was set back tells no time: then it is better to check once more.
    return since >= plan.every_shafts or not 0 <= passed_ms < plan.every_minutes * MINUTE_MS or (ending and since > 0)


def checked(
    standard: Standard,
    result: ShaftResult | Unmeasured,
    history: Iterable[StandardCheck],
    plan: Checks,
    at_ms: int,
    calibration: str,
) -> StandardCheck:
    """What a standard's measurement says of the gauge; `history` are its checks on this gauge so far.

    >>> bar = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1)
    >>> checked(bar, Unmeasured(3, "bar 7", ("NO_CONTACT",)), [], Checks(), 0, "c").reasons
    ('it could not be measured: NO_CONTACT',)
    """
    measured = result if isinstance(result, ShaftResult) else None
    values = [
        one.spine_thou for one in history
        if one.good and one.standard == standard.name and one.calibration == calibration and one.spine_thou is not None
    ]  # fmt: skip
    reasons = tuple(_reasons(standard, result, values, plan))
    return StandardCheck(
        standard=standard.name,
        at_ms=at_ms,
        spine_thou=None if measured is None else measured.spine_thou,
        u_spine_thou=None if measured is None else measured.u_spine_thou,
        assigned_thou=standard.assigned_thou,
        u_assigned_thou=standard.u_assigned_thou,
        good=not reasons,
        reasons=reasons,
        calibration=calibration,
    )


def _reasons(standard: Standard, result: ShaftResult | Unmeasured, values: list[float], plan: Checks) -> Iterator[str]:
    if isinstance(result, Unmeasured):
        yield f"it could not be measured: {'; '.join(result.reasons)}"
        return
    yield from (*result.faults, *result.doubts)
    bias = result.spine_thou - standard.assigned_thou
    expanded = plan.coverage_factor * math.hypot(result.u_spine_thou, standard.u_assigned_thou)
    if not abs(bias) <= expanded:
        yield f"it reads {bias:+.2f} thou beside its assigned value {standard.assigned_thou:g}, U is {expanded:.2f}"
    yield from _chart_reasons([*values, result.spine_thou], plan)


def _chart_reasons(values: list[float], plan: Checks) -> Iterator[str]:
    if len(values) <= plan.chart_after or not math.isfinite(values[-1]):
        return
    rules = LIMIT_RULES if plan.rules == "limits" else RUN_RULES
    try:
        chart = individuals_chart(values, baseline=plan.chart_after)
    except ReadingsError as error:
        yield str(error)
        return
    low, high = chart.limits
    for signal in chart.signals:
        if signal.at == len(values) - 1 and signal.rule.name in rules:
            yield f"its chart shows: {signal.rule.name} ({values[-1]:.3f} thou, limits {low:.3f} to {high:.3f})"


def verdict_on_check(check: StandardCheck) -> Decision:
    """The verdict that stands with the result of a standard: it judges the gauge, not the standard."""
    if check.good:
        return Decision(Outcome.ACCEPTED, (), CHECK_BIN)
    words = f"{CHECK_OUT_OF_CONTROL}: check standard {check.standard}: {'; '.join(check.reasons)}"
    return Decision(Outcome.INSTRUMENT_FAULT, (words,))


def in_doubt(check: StandardCheck, before: Sequence[StandardCheck], transits: Iterable[Transit]) -> list[int]:
    """Numbers of the stock's shafts that this check puts in doubt, until they are measured again.

    After a bad check all since the last good one of the same standard; after a good one that follows a bad one those
    between the two. `before` are the checks on this gauge so far, `transits` the shafts that may be concerned.
    """
    same = [one for one in before if one.standard == check.standard]
    if check.good:
        if not same or same[-1].good:
            return []
        since = same[-1].shaft or 0
    else:
        since = max((one.shaft or 0 for one in same if one.good), default=0)
    return [one.shaft for one in transits if one.standard is None and one.result is not None and one.shaft > since]
