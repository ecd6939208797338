"""Check standards: when a check is due, whether the gauge still reads right, and which shafts are in doubt if not.

Bias: |reading - assigned| against U = k sqrt(u^2 + u_assigned^2) of both. Chart: the newest good reading in a chart of
individuals (control_chart) whose centre and limits come from the first readings of this standard on this gauge under
this calibration. Readings of failed checks stay out of the chart, as is usual once a cause is removed.
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
CHECK_BIN = "check standard"  # bin in the verdict on a standard that reads right
MINUTE_MS = 60_000
LIMIT_RULES = frozenset({"beyond the limits"})
RUN_RULES = frozenset(rule.name for rule in RULES if WESTERN_ELECTRIC in rule.source)


def due(
    plan: SortPlan, checks: Sequence[StandardCheck], shafts: Sequence[int], now_ms: int, *, ending: bool
) -> Standard | None:
    """Return the check standard to measure now.

    A check is due at the start, after a number of shafts or minutes, before the end if shafts came after the last
    check, and after a failed check.

    Parameters
    ----------
    plan : SortPlan
        Plan of the night.
    checks : Sequence[StandardCheck]
        Checks of the night so far, oldest first.
    shafts : Sequence[int]
        Numbers of the stock's shafts judged so far.
    now_ms : int
        Time, ms since 1970 UTC.
    ending : bool
        True if the night is about to end.

    Returns
    -------
    Standard | None
        The standard, None if no check is due.

    Examples
    --------
    >>> from midspan.sorting.plan import EXAMPLE
    >>> bar = {"name": "bar 7", "assigned_thou": 500.0, "u_assigned_thou": 0.1, "definition": "normal reactions"}
    >>> slot = [*EXAMPLE["place"], {"number": 5, "use": "standard"}]
    >>> plan = SortPlan.model_validate({**EXAMPLE, "place": slot, "standard": [bar]})
    >>> good = StandardCheck("bar 7", 0, 500.1, 0.2, 500.0, 0.1, good=True, shaft=1)
    >>> [due(plan, done, [2, 3], 60_000, ending=end) is not None for done, end in (([], False), ([good], False),
    ...  ([good], True))]
    [True, False, True]
    """
    for standard in plan.standard:
        last = next((check for check in reversed(checks) if check.standard == standard.name), None)
        if last is None or _is_due(plan.checks, last, shafts, now_ms, ending=ending):
            return standard
    return None


def _is_due(plan: Checks, last: StandardCheck, shafts: Sequence[int], now_ms: int, *, ending: bool) -> bool:
    """Return True if a standard is due again after its last check."""
    since = sum(shaft > (last.shaft or 0) for shaft in shafts)
    passed_ms = now_ms - last.at_ms
    if not last.good and plan.bad_check == "stop":
        return True
    # A clock that was set back cannot tell the time passed: check once more.
    return since >= plan.every_shafts or not 0 <= passed_ms < plan.every_minutes * MINUTE_MS or (ending and since > 0)


def checked(
    standard: Standard,
    result: ShaftResult | Unmeasured,
    history: Iterable[StandardCheck],
    plan: Checks,
    at_ms: int,
    calibration: str,
) -> StandardCheck:
    """Check the gauge by the measurement of a standard.

    Parameters
    ----------
    standard : Standard
        The standard with its assigned value.
    result : ShaftResult | Unmeasured
        Its measurement.
    history : Iterable[StandardCheck]
        Checks on this gauge so far, oldest first.
    plan : Checks
        Rules of the checks.
    at_ms : int
        Time of the check, ms since 1970 UTC.
    calibration : str
        Id of the calibration in use.

    Returns
    -------
    StandardCheck
        The check, good or with its reasons.

    Examples
    --------
    >>> bar = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1)
    >>> checked(bar, Unmeasured(3, "bar 7", ("NO_CONTACT",)), [], Checks(), 0, "c").good
    False
    """
    measured = result if isinstance(result, ShaftResult) else None
    values = [
        past.reference_thou for past in history
        if past.good and past.standard == standard.name and past.calibration == calibration
        and past.reference_thou is not None
    ]  # fmt: skip
    assigned_thou, u_assigned_thou = standard.under_reference
    reasons = tuple(_reasons(standard, result, values, plan))
    return StandardCheck(
        standard=standard.name,
        at_ms=at_ms,
        spine_thou=None if measured is None else measured.spine_thou,
        u_spine_thou=None if measured is None else measured.u_spine_thou,
        assigned_thou=assigned_thou,
        u_assigned_thou=u_assigned_thou,
        good=not reasons,
        reasons=reasons,
        calibration=calibration,
    )


def _reasons(standard: Standard, result: ShaftResult | Unmeasured, values: list[float], plan: Checks) -> Iterator[str]:
    """Yield the reasons why a check failed; nothing for a good check."""
    if isinstance(result, Unmeasured):
        yield f"it could not be measured: {'; '.join(result.reasons)}"
        return
    yield from (*result.faults, *result.doubts)
    assigned_thou, u_assigned_thou = standard.under_reference
    bias = result.spine_thou - assigned_thou
    expanded = plan.coverage_factor * math.hypot(result.u_spine_thou, u_assigned_thou)
    if not abs(bias) <= expanded:
        yield f"it reads {bias:+.2f} thou beside its assigned value {assigned_thou:.6g}, U is {expanded:.2f}"
    yield from _chart_reasons([*values, result.spine_thou], plan)


def _chart_reasons(values: list[float], plan: Checks) -> Iterator[str]:
    """Yield the rules of the control chart that the newest reading breaks; nothing while readings are too few."""
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
    """Return the verdict stored with the result of a standard; it judges the gauge, not the standard.

    Parameters
    ----------
    check : StandardCheck
        The check.

    Returns
    -------
    Decision
        Accepted for a good check, else an instrument fault with the reasons.
    """
    if check.good:
        return Decision(Outcome.ACCEPTED, (), CHECK_BIN)
    words = f"{CHECK_OUT_OF_CONTROL}: check standard {check.standard}: {'; '.join(check.reasons)}"
    return Decision(Outcome.INSTRUMENT_FAULT, (words,))


def in_doubt(check: StandardCheck, before: Sequence[StandardCheck], transits: Iterable[Transit]) -> list[int]:
    """Return the shafts that a check puts in doubt until they are measured again.

    After a failed check, all shafts since the last good check of the same standard; after a good check that follows a
    failed one, the shafts between the two.

    Parameters
    ----------
    check : StandardCheck
        The newest check.
    before : Sequence[StandardCheck]
        Checks on this gauge before it, oldest first.
    transits : Iterable[Transit]
        Shafts that may be concerned.

    Returns
    -------
    list[int]
        Numbers of shafts of the stock.
    """
    same = [past for past in before if past.standard == check.standard]
    if check.good:
        if not same or same[-1].good:
            return []
        since = same[-1].shaft or 0
    else:
        since = max((past.shaft or 0 for past in same if past.good), default=0)
    stock = (transit for transit in transits if transit.standard is None and transit.result is not None)
    return [transit.shaft for transit in stock if transit.shaft > since]
