"""A verdict on one shaft: into a bin, rejected, doubtful, or the gauge itself is not to be trusted.

How sure a verdict must be is the rule of the bands file (bands.Rule). By default, with U = k u, a value is on one
side of a limit only when value - U to value + U is. Otherwise the shaft is doubtful, which keeps the risk of a
wrong verdict either way below 2.5 % at k = 2 (ILAC-G8:09/2019, guard band of U). The border between two adjoining
bins is no such limit: the shaft is good on either side, so the value alone decides. Whatever the rule, a reading
that is itself in doubt stays doubtful, a sick gauge is an instrument fault before any limit is looked at, and a value
that is not a finite number never passes.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from midspan.base.units import MM_PER_THOU
from midspan.decision.bands import Bands, Bin, DecisionRule
from midspan.decision.limit_test import AGAINST, DOUBT, REMARK, Comparison, LimitEffect, LimitFinding
from midspan.measurement.result import Unmeasured
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode

# The cycle was given up but the gauge is well: the next shaft can be measured (states of protocol/SPEC.md).
GIVEN_UP = frozenset(
    {"NO_CONTACT", "TRAVEL_LIMIT", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL", "SHAFT_SHORT", "TWO_SHAFTS",
     "LID_OPEN", "EMERGENCY_STOP"}
)  # fmt: skip


class Quantities(Protocol):
    """What a verdict needs to know of a shaft; each u_... is a standard uncertainty, `runout_mm` a total
    indicator reading, `faults` why the gauge is not to be trusted, `doubts` why this reading is not. Runout and
    hysteresis are None, and so are their uncertainties, where they were not measured: no bin that limits them
    takes the shaft then.
    """

    @property
    def spine_thou(self) -> float: ...
    @property
    def u_spine_thou(self) -> float: ...
    @property
    def spread_thou(self) -> float: ...
    @property
    def u_spread_thou(self) -> float: ...
    @property
    def spread_floor_thou(self) -> float: ...
    @property
    def runout_mm(self) -> float | None: ...
    @property
    def u_runout_mm(self) -> float | None: ...
    @property
    def hysteresis_pct(self) -> float | None: ...
    @property
    def u_hysteresis_pct(self) -> float | None: ...
    @property
    def faults(self) -> Sequence[str]: ...
    @property
    def doubts(self) -> Sequence[str]: ...


NUMBERS = (
    "spine_thou", "u_spine_thou", "spread_thou", "u_spread_thou", "spread_floor_thou", "runout_mm", "u_runout_mm",
    "hysteresis_pct", "u_hysteresis_pct",
)  # fmt: skip
MAY_BE_UNMEASURED = (("runout_mm", "u_runout_mm"), ("hysteresis_pct", "u_hysteresis_pct"))


class Outcome(StrEnum):
    """The four ways a measurement can end."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    DOUBTFUL = "doubtful"
    INSTRUMENT_FAULT = "instrument fault"


class ConcernKind(StrEnum):
    """What was found about a measurement besides limits: it stays whatever a later evaluation makes of the readings."""

    CRACK = "crack"
    DOUBT = "doubt"
    FAULT = "fault"


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing found about a measured shaft or its gauge, in words."""

    kind: ConcernKind
    words: str


@dataclass(frozen=True, slots=True)
class Decision:
    """One outcome with its reasons; `bin` is set when and only when the shaft was accepted.

    Every outcome but acceptance has at least one reason; reasons of an acceptance are remarks. `concerns` are those
    reasons that do not come from the limits of a bin.
    """

    outcome: Outcome
    reasons: tuple[str, ...] = ()
    bin: str | None = None
    concerns: tuple[Concern, ...] = ()


NO_BANDS = Decision(Outcome.DOUBTFUL, ("no bands were named, so nothing was judged",))


def judge(measured: Quantities, bands: Bands) -> Decision:
    """The verdict on a measured shaft.

    >>> from types import SimpleNamespace
    >>> from midspan.decision.bands import EXAMPLE
    >>> shaft = SimpleNamespace(spine_thou=523.2, u_spine_thou=0.25, spread_thou=3.1, u_spread_thou=0.04,
    ...     spread_floor_thou=0.1, runout_mm=0.05, u_runout_mm=0.002, hysteresis_pct=0.2, u_hysteresis_pct=0.02,
    ...     faults=(), doubts=())
    >>> verdict = judge(shaft, Bands.model_validate(EXAMPLE))
    >>> verdict.outcome.value, verdict.reasons
    ('rejected', ('spine 523.20 thou is above 515 by 8.20 (U 0.50)',))
    """
    faults = (*measured.faults, *_impossible(measured))
    if faults:
        return Decision(Outcome.INSTRUMENT_FAULT, faults, concerns=_concerns(ConcernKind.FAULT, faults))
    if measured.doubts:
        return Decision(
            Outcome.DOUBTFUL, tuple(measured.doubts), concerns=_concerns(ConcernKind.DOUBT, measured.doubts)
        )
    return _judge_sound(measured, bands)


def verdict_on(result: Quantities | Unmeasured, bands: Bands) -> Decision:
    """Return the verdict on a result, or on the reasons why there is none."""
    return judge_unmeasured(result.reasons) if isinstance(result, Unmeasured) else judge(result, bands)


def judge_unmeasured(reasons: Sequence[str]) -> Decision:
    """The verdict on a shaft that gave no result, from its reasons, among them fault codes of the device.

    >>> judge_unmeasured(["CELL_STUCK"]).outcome.value, judge_unmeasured(["NO_CONTACT"]).outcome.value
    ('instrument fault', 'doubtful')
    """
    codes = {reason for reason in reasons if reason in FaultCode.__members__}
    sentences = tuple(describe(FaultCode[reason]) if reason in codes else reason for reason in reasons)
    outcome = Outcome.INSTRUMENT_FAULT if codes - GIVEN_UP else Outcome.DOUBTFUL
    return Decision(outcome, sentences or ("the shaft gave no result",))


def _concerns(kind: ConcernKind, reasons: Sequence[str]) -> tuple[Concern, ...]:
    return tuple(Concern(kind, words) for words in reasons)


def _impossible(measured: Quantities) -> Iterator[str]:
    """No shaft has such a number, so the gauge or the conversion made it."""
    unmeasured = {name for pair in MAY_BE_UNMEASURED if _all_none(measured, pair) for name in pair}
    for name in (name for name in NUMBERS if name not in unmeasured):
        value = getattr(measured, name, None)
        if value is None or not math.isfinite(value):
            yield f"{name} is {'missing' if value is None else value}: look at the gauge before the next shaft"
        elif name.startswith("u_") and value < 0:
            yield f"{name} is {value:g}, but an uncertainty is never negative"


def _all_none(measured: Quantities, names: tuple[str, ...]) -> bool:
    return all(getattr(measured, name, math.nan) is None for name in names)


def _judge_sound(measured: Quantities, bands: Bands) -> Decision:
    rule = bands.rule
    spine, u_thou = measured.spine_thou, rule.coverage_factor * measured.u_spine_thou
    edges = list(_edges(bands, spine, u_thou))
    bins = _bins_open_to(bands, spine, max(rule.margins[1], 0.0) * u_thou, edges)
    if not bins or (edges and all(edge.standing is AGAINST for edge in edges)):
        return Decision(Outcome.REJECTED, _said(edges, AGAINST))
    limits = {one.name: list(_limits(measured, one, rule)) for one in bins}
    everything = [finding for found in (edges, *limits.values()) for finding in found]
    # With the spine between two bins the shaft is only bad when neither would have it.
    if all(any(finding.standing is AGAINST for finding in found) for found in limits.values()):
        return Decision(Outcome.REJECTED, _said([one for found in limits.values() for one in found], AGAINST))
    doubts = _said(everything, DOUBT)
    if doubts:
        return Decision(Outcome.DOUBTFUL, doubts)
    (home,) = bins
    remarks = (*_said(everything, REMARK), *_borders(bands, home, spine, u_thou))
    return Decision(Outcome.ACCEPTED, remarks, home.name)


def _said(findings: Sequence[LimitFinding], standing: LimitEffect) -> tuple[str, ...]:
    return tuple(dict.fromkeys(finding.sentence for finding in findings if finding.standing is standing))


def _bins_open_to(bands: Bands, spine_thou: float, guard_thou: float, edges: Sequence[LimitFinding]) -> list[Bin]:
    """Bins that may get the shaft: the one whose band holds its spine, else those the guard band reaches.

    Where the rule accepts a spine beyond the end of a band it is the nearest of them.
    """
    home = bands.bin_of(spine_thou)
    if home is not None:
        return [home]
    reached = [one for one in bands.in_order if -guard_thou <= spine_thou - one.low_thou
               and spine_thou - one.high_thou <= guard_thou]  # fmt: skip
    if all(edge.standing is REMARK for edge in edges):
        return sorted(reached, key=lambda one: max(one.low_thou - spine_thou, spine_thou - one.high_thou))[:1]
    return reached


def _edges(bands: Bands, spine_thou: float, expanded: float) -> Iterator[LimitFinding]:
    """The spine against the ends of the stretch it lies in, else against the ends on either side of it."""
    compare = Comparison("spine", spine_thou, expanded, "thou", bands.rule)
    for low, high in ((stretch.low_thou, stretch.high_thou) for stretch in bands.stretches):
        if low <= spine_thou < high:
            yield from compare.with_limit(low, low - spine_thou)
            yield from compare.with_limit(high, spine_thou - high)
            return
    ends = [(end.high_thou, spine_thou - end.high_thou) for end in bands.stretches if end.high_thou <= spine_thou][-1:]
    ends += [(end.low_thou, end.low_thou - spine_thou) for end in bands.stretches if end.low_thou > spine_thou][:1]
    found = [finding for limit, beyond in ends for finding in compare.with_limit(limit, beyond, in_none=True)]
    # A rule that accepts a spine beyond one end does not ask how far it is from the other.
    yield from [finding for finding in found if finding.standing is REMARK] or found


def _limits(measured: Quantities, one: Bin, rule: DecisionRule) -> Iterator[LimitFinding]:
    """What speaks against putting the shaft into a bin, its spine apart."""
    for name, value, u, scale, limit, unit in (
        ("spread", measured.spread_thou, measured.u_spread_thou, 1.0, one.spread_max_thou, "thou"),
        ("runout", measured.runout_mm, measured.u_runout_mm, MM_PER_THOU, one.runout_max_thou, "thou"),
        ("hysteresis", measured.hysteresis_pct, measured.u_hysteresis_pct, 1.0, one.hysteresis_max_pct, "%"),
    ):
        if limit is None:
            continue
        if value is None or u is None:
            yield LimitFinding(f"{name} was not measured, bin {one.name} limits it to {limit:g} {unit}", DOUBT)
        else:
            compare = Comparison(name, value / scale, rule.coverage_factor * u / scale, unit, rule)
            yield from compare.with_limit(limit, value / scale - limit)
    floor = measured.spread_floor_thou
    if one.spread_max_thou is not None and floor > one.spread_max_thou:
        yield LimitFinding(
            f"a spread below {floor:.1f} thou is lost in noise, the limit is {one.spread_max_thou:g}", DOUBT
        )


def _borders(bands: Bands, home: Bin, spine_thou: float, expanded: float) -> Iterator[str]:
    """Remarks on borders to adjoining bins that the interval of the spine crosses."""
    for other in bands.in_order:
        shared = {*home.spine_thou} & {*other.spine_thou}
        for border in shared if other != home else ():
            if abs(spine_thou - border) < expanded:
                yield f"the border {border:g} to bin {other.name} lies within U {expanded:.2g}; the value decides"
