"""A verdict on one shaft: into a bin, rejected, doubtful, or instrument fault.

The rule of the bands file (`bands.DecisionRule`) says how values near a limit are judged. By default, with U = k u, a
value lies on one side of a limit only if both value - U and value + U do; otherwise the shaft is doubtful. At k = 2
this keeps the risk of a wrong verdict either way below 2.5 % (ILAC-G8:09/2019, guard band of U). The border between
two adjoining bins is not a limit in this sense: the shaft is good on either side, so the value alone decides.

Under every rule a doubtful reading stays doubtful, a fault of the gauge counts before any limit, and a value that is
not a finite number never passes.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from midspan.base.units import MM_PER_THOU
from midspan.decision.bands import Bands, Bin, DecisionRule
from midspan.decision.limit_test import AGAINST, DOUBT, REMARK, Comparison, LimitEffect, LimitFinding
from midspan.decision.repeat import renewed_thou
from midspan.decision.tolerance import Limited
from midspan.measurement.result import Unmeasured
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode

# The cycle was given up but the gauge works: the next shaft can be measured (states of protocol/SPEC.md).
GIVEN_UP = frozenset(
    {"NO_CONTACT", "TRAVEL_LIMIT", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL", "SHAFT_SHORT", "TWO_SHAFTS",
     "LID_OPEN", "EMERGENCY_STOP"}
)  # fmt: skip


class Quantities(Limited, Protocol):
    """Quantities that a verdict needs of a shaft, beside those that bands limit.

    `runout_mm` is a total indicator reading; bands files and reasons give it in thou. `faults` are reasons not to
    trust the gauge, `doubts` reasons not to trust this reading. Runout and hysteresis, with their uncertainties, are
    None if they were not measured: then no bin that limits them takes the shaft.
    """

    @property
    def spread_floor_thou(self) -> float: ...
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
    """Outcome of a verdict.

    * ``accepted``: the shaft is within all limits of a bin.
    * ``rejected``: the shaft is beyond a limit by the rule of the bands, or may have a crack.
    * ``doubtful``: this reading decides nothing: a value is too near a limit, the reading has a doubt, or the cycle
      was given up (no shaft, lid open, stopped). Measure the shaft again or sort it by hand.
    * ``instrument fault``: the gauge cannot be trusted; check it before the next shaft, then measure this one again.
    """

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    DOUBTFUL = "doubtful"
    INSTRUMENT_FAULT = "instrument fault"


class ConcernKind(StrEnum):
    """Kind of a concern that stays with a measurement, whatever a later evaluation of its readings gives."""

    CRACK = "crack"
    DOUBT = "doubt"
    FAULT = "fault"


@dataclass(frozen=True, slots=True)
class Concern:
    """A concern about a measured shaft or its gauge.

    Parameters
    ----------
    kind : ConcernKind
        Crack, doubt or fault.
    words : str
        The concern as a sentence.
    """

    kind: ConcernKind
    words: str


@dataclass(frozen=True, slots=True)
class Decision:
    """An outcome with its reasons.

    Parameters
    ----------
    outcome : Outcome
        The outcome.
    reasons : tuple of str
        Reasons as sentences, at least one unless the shaft was accepted; reasons of an acceptance are remarks.
    bin : str, optional
        Name of the bin; None unless the shaft was accepted.
    concerns : tuple of Concern
        Reasons that stay with the measurement when its readings are evaluated again: a suspected crack, doubts about
        the reading and faults of the gauge. Empty for limits of a bin and for a shaft without a result.
    repeat_helps : bool
        False for a doubtful shaft that would be as doubtful if it were measured again. It is not stored.
    """

    outcome: Outcome
    reasons: tuple[str, ...] = ()
    bin: str | None = None
    concerns: tuple[Concern, ...] = ()
    repeat_helps: bool = field(default=True, compare=False)


CRACK_SUSPECTED = "CRACK_SUSPECTED"
HYSTERESIS = "hysteresis"  # first word of the sentences about it
NO_BANDS = Decision(Outcome.DOUBTFUL, ("no bands were named, so nothing was judged",))


def judge(result: Quantities | Unmeasured, bands: Bands) -> Decision:
    """Return the verdict on a result, or on the reasons why a run gave none.

    Reasons give spine, spread and runout in thou (thousandths of an inch), as the bands file does.

    Parameters
    ----------
    result : Quantities or Unmeasured
        Quantities of the shaft, such as a `ShaftResult` or a `HandResult`; `Unmeasured` is never accepted.
    bands : Bands
        Bins and decision rule.

    Returns
    -------
    Decision
        Outcome, bin and reasons.

    References
    ----------
    JCGM 106:2012, clause 8; ILAC-G8:09/2019.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from midspan.decision.bands import EXAMPLE
    >>> shaft = SimpleNamespace(spine_thou=523.2, u_spine_thou=0.25, spread_thou=3.1, u_spread_thou=0.04,
    ...     spread_floor_thou=0.1, runout_mm=0.05, u_runout_mm=0.002, hysteresis_pct=0.2, u_hysteresis_pct=0.02,
    ...     faults=(), doubts=())
    >>> verdict = judge(shaft, Bands.model_validate(EXAMPLE))
    >>> verdict.outcome.value, verdict.reasons
    ('rejected', ('spine 523.20 thou is above the limit 515 thou',))
    """
    if isinstance(result, Unmeasured):
        return judge_unmeasured(result.reasons)
    faults = (*result.faults, *_impossible(result))
    if faults:
        return Decision(Outcome.INSTRUMENT_FAULT, faults, concerns=_concerns(ConcernKind.FAULT, faults))
    if result.doubts:
        return Decision(Outcome.DOUBTFUL, tuple(result.doubts), concerns=_concerns(ConcernKind.DOUBT, result.doubts))
    return _judge_sound(result, bands)


def judge_unmeasured(reasons: Sequence[str]) -> Decision:
    """Return the verdict on a shaft without a result, from its reasons, some of which are fault codes of the device.

    Parameters
    ----------
    reasons : sequence of str
        Reasons; a fault code is replaced by its description.

    Returns
    -------
    Decision
        Instrument fault if a code means one, else doubtful.

    Examples
    --------
    >>> judge_unmeasured(["CELL_STUCK"]).outcome.value, judge_unmeasured(["NO_CONTACT"]).outcome.value
    ('instrument fault', 'doubtful')
    """
    codes = {reason for reason in reasons if reason in FaultCode.__members__}
    sentences = tuple(describe(FaultCode[reason]) if reason in codes else reason for reason in reasons)
    outcome = Outcome.INSTRUMENT_FAULT if codes - GIVEN_UP else Outcome.DOUBTFUL
    return Decision(outcome, sentences or ("the shaft gave no result",))


def _concerns(kind: ConcernKind, reasons: Sequence[str]) -> tuple[Concern, ...]:
    """Return a concern of one kind for each reason."""
    return tuple(Concern(kind, words) for words in reasons)


def _impossible(measured: Quantities) -> Iterator[str]:
    """Yield a fault for each number that no shaft can have, so the gauge or the conversion made it."""
    unmeasured = {name for pair in MAY_BE_UNMEASURED if _all_none(measured, pair) for name in pair}
    for name in (name for name in NUMBERS if name not in unmeasured):
        value = getattr(measured, name, None)
        if value is None or not math.isfinite(value):
            yield f"{name} is {'missing' if value is None else value}: check the gauge before the next shaft"
        elif name.startswith("u_") and value < 0:
            yield f"{name} is {value:g}, but an uncertainty is never negative: check the gauge before the next shaft"


def _all_none(measured: Quantities, names: tuple[str, ...]) -> bool:
    """Return True if all named quantities are None; a missing quantity is not None."""
    return all(getattr(measured, name, math.nan) is None for name in names)


def _judge_sound(measured: Quantities, bands: Bands) -> Decision:
    """Return the verdict on a shaft whose reading has neither faults nor doubts."""
    rule = bands.rule
    spine, u_thou = measured.spine_thou, rule.coverage_factor * measured.u_spine_thou
    edges = list(_edges(bands, spine, u_thou, renewed_thou(measured)))
    bins = _bins_open_to(bands, spine, rule.margins[1] * u_thou, edges)
    if not bins or (edges and all(edge.effect is AGAINST for edge in edges)):
        return _rejected(measured, bands.in_order, _said(edges, AGAINST))
    limits = {candidate.name: list(_limits(measured, candidate, rule)) for candidate in bins}
    everything = [finding for found in (edges, *limits.values()) for finding in found]
    # With the spine between two bins the shaft is rejected only if its other quantities exceed the limits of both.
    if all(any(finding.effect is AGAINST for finding in found) for found in limits.values()):
        against = [finding for found in limits.values() for finding in found]
        return _rejected(measured, bins, _said(against, AGAINST))
    doubts = _said(everything, DOUBT)
    if doubts:
        helps = all(finding.repeat_helps for finding in everything if finding.effect is DOUBT)
        return Decision(Outcome.DOUBTFUL, doubts, repeat_helps=helps)
    (home,) = bins
    remarks = (*_said(everything, REMARK), *_borders(bands, home, spine, u_thou))
    return Decision(Outcome.ACCEPTED, remarks, home.name)


def crack_concern(hysteresis_pct: float | None, limit_pct: float | None) -> Concern | None:
    """Return the concern that a shaft may be cracked, None if its hysteresis is within the limit or either is unknown.

    The value decides, without a margin: caution costs one shaft.

    Parameters
    ----------
    hysteresis_pct : float or None
        Hysteresis of the shaft, %; None if not measured.
    limit_pct : float or None
        Hysteresis above which a crack is suspected, %; None for no limit.

    Returns
    -------
    Concern or None
        The concern.

    Examples
    --------
    >>> crack_concern(2.2, 1.5).words
    'CRACK_SUSPECTED: may be cracked: hysteresis 2.20 %, limit 1.5 %. Do not shoot it.'
    """
    if hysteresis_pct is None or limit_pct is None or hysteresis_pct <= limit_pct:
        return None
    what = f"{HYSTERESIS} {hysteresis_pct:.2f} %, limit {limit_pct:g} %"
    return Concern(ConcernKind.CRACK, f"{CRACK_SUSPECTED}: may be cracked: {what}. Do not shoot it.")


def _rejected(measured: Quantities, bins: Sequence[Bin], reasons: tuple[str, ...]) -> Decision:
    """Return the rejection of a shaft, with a concern if its hysteresis is above the limit of every bin in question."""
    limits = [candidate.hysteresis_max_pct for candidate in bins]
    known = [limit for limit in limits if limit is not None]
    crack = crack_concern(measured.hysteresis_pct, max(known)) if known and len(known) == len(limits) else None
    if crack is None:
        return Decision(Outcome.REJECTED, reasons)
    others = (reason for reason in reasons if not reason.startswith(HYSTERESIS))
    return Decision(Outcome.REJECTED, (crack.words, *others), concerns=(crack,))


def _said(findings: Sequence[LimitFinding], effect: LimitEffect) -> tuple[str, ...]:
    """Return the sentences of the findings with this effect, each once."""
    return tuple(dict.fromkeys(finding.sentence for finding in findings if finding.effect is effect))


def _bins_open_to(bands: Bands, spine_thou: float, guard_thou: float, edges: Sequence[LimitFinding]) -> list[Bin]:
    """Return the bins that may get the shaft: the bin whose band holds its spine, else those within the guard band.

    Where the rule accepts a spine beyond the end of a band, only the nearest of them.
    """
    home = bands.bin_of(spine_thou)
    if home is not None:
        return [home]
    beyond = {near.name: max(near.low_thou - spine_thou, spine_thou - near.high_thou) for near in bands.in_order}
    reached = [near for near in bands.in_order if beyond[near.name] <= guard_thou]
    if all(edge.effect is REMARK for edge in edges):
        return sorted(reached, key=lambda near: beyond[near.name])[:1]
    return reached


def _edges(bands: Bands, spine_thou: float, expanded: float, renewed: float | None) -> Iterator[LimitFinding]:
    """Yield findings on the spine: at the ends of its stretch, else at the nearest ends on either side of it."""
    compare = Comparison("spine", spine_thou, expanded, "thou", bands.rule, renewed)
    for low, high in ((stretch.low_thou, stretch.high_thou) for stretch in bands.stretches):
        if low <= spine_thou < high:
            yield from compare.with_limit(low, low - spine_thou)
            yield from compare.with_limit(high, spine_thou - high)
            return
    ends = [(end.high_thou, spine_thou - end.high_thou) for end in bands.stretches if end.high_thou <= spine_thou][-1:]
    ends += [(end.low_thou, end.low_thou - spine_thou) for end in bands.stretches if end.low_thou > spine_thou][:1]
    found = [finding for limit, beyond in ends for finding in compare.with_limit(limit, beyond, outside_bands=True)]
    # If the rule accepts the spine beyond one end, its distance from the other end does not matter.
    yield from [finding for finding in found if finding.effect is REMARK] or found


def _limits(measured: Quantities, candidate: Bin, rule: DecisionRule) -> Iterator[LimitFinding]:
    """Yield findings on all limits of a bin except its band of spine."""
    for name, value, u, scale, limit, unit in (
        ("spread", measured.spread_thou, measured.u_spread_thou, 1.0, candidate.spread_max_thou, "thou"),
        ("runout", measured.runout_mm, measured.u_runout_mm, MM_PER_THOU, candidate.runout_max_thou, "thou"),
        (HYSTERESIS, measured.hysteresis_pct, measured.u_hysteresis_pct, 1.0, candidate.hysteresis_max_pct, "%"),
    ):
        if limit is None:
            continue
        if value is None or u is None:
            yield LimitFinding(f"{name} was not measured, bin {candidate.name} limits it to {limit:g} {unit}", DOUBT)
        else:
            compare = Comparison(name, value / scale, rule.coverage_factor * u / scale, unit, rule)
            yield from compare.with_limit(limit, value / scale - limit)
    floor = measured.spread_floor_thou
    if candidate.spread_max_thou is not None and floor > candidate.spread_max_thou:
        yield LimitFinding(
            f"smallest spread this run could detect: {floor:.1f} thou, limit {candidate.spread_max_thou:g} thou", DOUBT
        )


def _borders(bands: Bands, home: Bin, spine_thou: float, expanded: float) -> Iterator[str]:
    """Yield remarks on borders to adjoining bins that lie within U of the spine."""
    for other in bands.in_order:
        shared = {*home.spine_thou} & {*other.spine_thou}
        for border in shared if other != home else ():
            if abs(spine_thou - border) < expanded:
                yield f"close to the border {border:g} thou with bin {other.name}; the value decides"
