"""Check standards: when a check is due, whether the gauge still reads right, and which shafts are in doubt if not.

Bias: |reading - assigned| against U = k sqrt(u^2 + u_assigned^2) of both. Chart: a chart of individuals and their
weighted mean (control_chart) whose centre and limits come from the first good readings of this standard on this gauge
under this calibration; they are provisional, and wider, until there are enough. Readings of failed checks make no
limits, but they stay in the weighted mean, at most at the limit: a shift that lasts is not over because the plan asks
for another check. Readings of fewer than three nights do not show what another night adds; then a chart compares the
readings of one night only.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Protocol

from midspan.base.errors import ReadingsError
from midspan.decision.decision import Decision, Outcome
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.sorting.bar_warmth import change_thou
from midspan.sorting.plan import Checks, Standard
from midspan.store.transit import StandardCheck, Transit
from midspan.study.control_chart import (
    BEYOND,
    RULES,
    WESTERN_ELECTRIC,
    ChartBasis,
    ControlChart,
    individuals_chart,
    weighted_mean,
)
from midspan.study.scatter import SESSIONS_WANTED, sessions_of

CHECK_OUT_OF_CONTROL = "CHECK_OUT_OF_CONTROL"
CHECK_BIN = "check standard"  # bin in the verdict on a standard that reads right
MINUTE_MS = 60_000
MS_PER_DAY = 86_400_000
LIMIT_RULES = frozenset({BEYOND})
FEWEST = 5  # good readings from which there are provisional limits
REMEMBERED = 60  # readings after the baseline; older ones have no weight left in the mean
REAL_SHIFT_SIGMAS = 3.0  # a shift at least as sure as this puts the shafts since its begin in doubt
RUN_RULES = frozenset(rule.name for rule in RULES if WESTERN_ELECTRIC in rule.source)


class CheckPlan(Protocol):
    """The part of a plan that says which check standards there are and when they are measured."""

    @property
    def standard(self) -> Sequence[Standard]:
        """The check standards."""

    @property
    def checks(self) -> Checks:
        """Intervals and rules of the checks."""


def due(
    plan: CheckPlan, checks: Sequence[StandardCheck], shafts: Sequence[int], now_ms: int, *, ending: bool
) -> Standard | None:
    """Return the check standard to measure now.

    A check is due at the start, after a number of shafts or minutes, before the end if shafts came after the last
    check, and after a failed check.

    Parameters
    ----------
    plan : CheckPlan
        Plan of the run.
    checks : Sequence[StandardCheck]
        Checks of the run so far, oldest first.
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
    >>> from midspan.sorting.plan import EXAMPLE, SortPlan
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
        The check, good or with its reasons. Its spine is that at the temperature of the assigned value, as far as
        the material of the bar and both temperatures are known.

    Examples
    --------
    >>> bar = Standard(name="bar 7", assigned_thou=500.0, u_assigned_thou=0.1)
    >>> checked(bar, Unmeasured(3, "bar 7", ("NO_CONTACT",)), [], Checks(), 0, "c").good
    False
    """
    measured = result if isinstance(result, ShaftResult) else None
    assigned_thou, u_assigned_thou = standard.under_reference
    at_c = None if measured is None else measured.temperature_c
    warmer, u_warmer = change_thou(standard.material, assigned_thou, standard.temperature_c, at_c)
    check = StandardCheck(
        standard=standard.name,
        at_ms=at_ms,
        spine_thou=None if measured is None else measured.spine_thou - warmer,
        u_spine_thou=None if measured is None else math.hypot(measured.u_spine_thou, u_warmer),
        assigned_thou=assigned_thou,
        u_assigned_thou=u_assigned_thou,
        good=True,
        calibration=calibration,
    )
    reasons = tuple(_reasons(check, result, history, plan))
    return replace(check, good=not reasons, reasons=reasons)


def _reasons(
    check: StandardCheck, result: ShaftResult | Unmeasured, history: Iterable[StandardCheck], plan: Checks
) -> Iterator[str]:
    """Yield the reasons why a check failed; nothing for a good check."""
    if isinstance(result, Unmeasured):
        yield f"it could not be measured: {'; '.join(result.reasons)}"
        return
    yield from (*result.faults, *result.doubts)
    spine, u_spine = check.spine_thou or 0.0, check.u_spine_thou or 0.0
    bias = spine - check.assigned_thou
    expanded = plan.coverage_factor * math.hypot(u_spine, check.u_assigned_thou)
    if not abs(bias) <= expanded:
        known = f"its known value {check.assigned_thou:.6g} thou"
        yield f"it reads {bias:+.2f} thou off {known}, allowed {expanded:.2f} thou"
    try:
        charted = _charted(check, history, plan)
    except ReadingsError as error:
        yield str(error)
        return
    if charted is not None:
        yield from _chart_reasons(charted[0], plan)


def _charted(
    check: StandardCheck, history: Iterable[StandardCheck], plan: Checks
) -> tuple[ControlChart, list[StandardCheck]] | None:
    """Return the chart that ends with a check, and the checks in it; None while there are too few.

    The good checks that give the limits come first, then all later ones.
    """
    known = [past for past in history if _alike(past, check)]
    if not _alike(check, check):
        return None
    sessions = sessions_of([past.at_ms / MS_PER_DAY for past in (*known, check)])
    good = [i for i, past in enumerate(known) if past.good][: plan.chart_after]
    if len({sessions[i] for i in good}) < SESSIONS_WANTED:
        good = [i for i, past in enumerate(known) if past.good and sessions[i] == sessions[-1]][: plan.chart_after]
    if len(good) < FEWEST:
        return None
    which = [*good, *list(range(good[-1] + 1, len(known) + 1))[-REMEMBERED:]]
    every = [*known, check]
    checks = [every[i] for i in which]
    values = [past.reference_thou or 0.0 for past in checks]
    if len(good) < plan.chart_after and len(set(values[: len(good)])) == 1:
        return None  # not yet enough to say that the gauge reads the same every time
    return individuals_chart(values, [sessions[i] for i in which], ChartBasis(len(good))), checks


def _alike(past: StandardCheck, check: StandardCheck) -> bool:
    """Return True if a check belongs into the chart of another: the same standard and calibration, with a number."""
    return (
        (past.standard, past.calibration) == (check.standard, check.calibration)
        and past.reference_thou is not None
        and math.isfinite(past.reference_thou)
    )


def _chart_reasons(chart: ControlChart, plan: Checks) -> Iterator[str]:
    """Yield what the chart shows at its newest reading; nothing in control."""
    newest = len(chart.values) - 1
    low, high = chart.action_limits
    rough = f", provisional: {chart.baseline} of {plan.chart_after}" if chart.baseline < plan.chart_after else ""
    told = f"{chart.values[-1]:.3f} thou, limits {low:.3f} to {high:.3f}{rough}"
    rules = RUN_RULES if plan.rules == "runs" else LIMIT_RULES
    for signal in chart.signals:
        if signal.at == newest and signal.rule.name in rules:
            yield f"its chart shows: {signal.rule.name} ({told})"
    mean = weighted_mean(chart)
    if plan.rules == "weighted" and newest in mean.signals:
        told = f"{mean.means[-1]:.3f} thou, limits {mean.low[-1]:.3f} to {mean.high[-1]:.3f}{rough}"
        yield f"its chart shows: weighted mean outside ({told})"


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


def good_since(check: StandardCheck, before: Sequence[StandardCheck], plan: Checks) -> int | None:
    """Return the shaft number of the last check at which the gauge was surely good, before a check.

    After a failed check this is the last good check of the same standard, or an earlier one if its chart shows that a
    shift began before that. After a good check that follows a failed one it is the failed one.

    Parameters
    ----------
    check : StandardCheck
        The newest check.
    before : Sequence[StandardCheck]
        Checks on this gauge before it, oldest first.
    plan : Checks
        Rules of the checks.

    Returns
    -------
    int | None
        Number of the shaft, 0 if there was no good check; None if the check puts no shaft in doubt.
    """
    same = [past for past in before if past.standard == check.standard]
    if check.good:
        return None if not same or same[-1].good else same[-1].shaft or 0
    last = max((past.shaft or 0 for past in same if past.good), default=0)
    try:
        charted = _charted(check, before, plan)
    except ReadingsError:
        return last
    if charted is None:
        return last
    chart, checks = charted
    begin = chart.shift_begin(len(checks) - 1)
    if begin.sigmas < REAL_SHIFT_SIGMAS:
        return last
    good = [past.shaft or 0 for past in checks[: begin.earliest] if past.good]
    return min(last, max(good, default=0))


def in_doubt(since: int | None, transits: Iterable[Transit]) -> list[int]:
    """Return the shafts that a check puts in doubt until they are measured again.

    Parameters
    ----------
    since : int | None
        Number of the shaft as of `good_since`; None for no doubt.
    transits : Iterable[Transit]
        Shafts that may be concerned.

    Returns
    -------
    list[int]
        Numbers of shafts of the stock.
    """
    if since is None:
        return []
    stock = (transit for transit in transits if transit.standard is None and transit.result is not None)
    return [transit.shaft for transit in stock if transit.shaft > since]
