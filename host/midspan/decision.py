"""A verdict on one shaft: into a bin, rejected, doubtful, or the gauge itself is not to be trusted.

The rule: with U = k u, a value is on one side of a limit only when value - U to value + U is. Otherwise the
shaft is doubtful, which keeps the risk of a wrong verdict either way below 2.5 % at k = 2 (ILAC-G8:09/2019,
guard band of U). The border between two adjoining bins is no such limit: the shaft is good on either side, so
the value alone decides. A value that is not a finite number never passes.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from midspan.bands import Bands, Bin
from midspan.faults import describe
from midspan.records import FaultCode
from midspan.units import MM_PER_THOU
from midspan.wording import places_for

# The cycle was given up but the gauge is well: the next shaft can be measured (states of protocol/SPEC.md).
GIVEN_UP = frozenset({"NO_CONTACT", "TRAVEL_LIMIT", "HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL"})


class Measured(Protocol):
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


@dataclass(frozen=True, slots=True)
class Decision:
    """One outcome with its reasons; `bin` is set when and only when the shaft was accepted.

    Every outcome but acceptance has at least one reason; reasons of an acceptance are remarks.
    """

    outcome: Outcome
    reasons: tuple[str, ...] = ()
    bin: str | None = None


@dataclass(frozen=True, slots=True)
class _Finding:
    """One comparison with a limit: the sentence, and whether the value is clearly beyond the limit."""

    sentence: str
    is_clear: bool


def judge(measured: Measured, bands: Bands) -> Decision:
    """The verdict on a measured shaft.

    >>> from types import SimpleNamespace
    >>> from midspan.bands import EXAMPLE
    >>> shaft = SimpleNamespace(spine_thou=523.2, u_spine_thou=0.25, spread_thou=3.1, u_spread_thou=0.04,
    ...     spread_floor_thou=0.1, runout_mm=0.05, u_runout_mm=0.002, hysteresis_pct=0.2, u_hysteresis_pct=0.02,
    ...     faults=(), doubts=())
    >>> verdict = judge(shaft, Bands.model_validate(EXAMPLE))
    >>> verdict.outcome.value, verdict.reasons
    ('rejected', ('spine 523.20 thou is above 515 by 8.20 (U 0.50)',))
    """
    faults = (*measured.faults, *_impossible(measured))
    if faults:
        return Decision(Outcome.INSTRUMENT_FAULT, faults)
    if measured.doubts:
        return Decision(Outcome.DOUBTFUL, tuple(measured.doubts))
    return _judge_sound(measured, bands)


def judge_unmeasured(reasons: Sequence[str]) -> Decision:
    """The verdict on a shaft that gave no result, from its reasons, among them fault codes of the device.

    >>> judge_unmeasured(["CELL_STUCK"]).outcome.value, judge_unmeasured(["NO_CONTACT"]).outcome.value
    ('instrument fault', 'doubtful')
    """
    codes = {reason for reason in reasons if reason in FaultCode.__members__}
    sentences = tuple(describe(FaultCode[reason]) if reason in codes else reason for reason in reasons)
    outcome = Outcome.INSTRUMENT_FAULT if codes - GIVEN_UP else Outcome.DOUBTFUL
    return Decision(outcome, sentences or ("the shaft gave no result",))


def _impossible(measured: Measured) -> Iterator[str]:
    """No shaft has such a number, so the gauge or the conversion made it."""
    unmeasured = {name for pair in MAY_BE_UNMEASURED if _all_none(measured, pair) for name in pair}
    for name in (name for name in NUMBERS if name not in unmeasured):
        value = getattr(measured, name, None)
        if value is None or not math.isfinite(value):
            yield f"{name} is {'missing' if value is None else value}: look at the gauge before the next shaft"
        elif name.startswith("u_") and value < 0:
            yield f"{name} is {value:g}, but an uncertainty is never negative"


def _all_none(measured: Measured, names: tuple[str, ...]) -> bool:
    return all(getattr(measured, name, math.nan) is None for name in names)


def _judge_sound(measured: Measured, bands: Bands) -> Decision:
    k = bands.rule.coverage_factor
    spine, u_thou = measured.spine_thou, k * measured.u_spine_thou
    home = bands.bin_of(spine)
    bins = [home] if home else _reached(bands, spine, u_thou)
    edges = list(_edges(bands, spine, u_thou))
    if not bins:
        return Decision(Outcome.REJECTED, tuple(edge.sentence for edge in edges if edge.is_clear))
    limits = {one.name: list(_limits(measured, one, k)) for one in bins}
    # With the spine between two bins the shaft is only bad when neither would have it.
    if all(any(finding.is_clear for finding in found) for found in limits.values()):
        clear = (finding.sentence for found in limits.values() for finding in found if finding.is_clear)
        return Decision(Outcome.REJECTED, tuple(dict.fromkeys(clear)))
    doubts = [finding.sentence for found in (edges, *limits.values()) for finding in found if not finding.is_clear]
    if doubts or home is None:
        return Decision(Outcome.DOUBTFUL, tuple(dict.fromkeys(doubts)))
    return Decision(Outcome.ACCEPTED, tuple(_borders(bands, home, spine, u_thou)), home.name)


def _reached(bands: Bands, spine_thou: float, expanded: float) -> list[Bin]:
    """Bins into which the interval of the spine reaches, for a spine that lies in none."""
    return [
        one
        for one in bands.in_order
        if spine_thou - expanded <= one.high_thou and one.low_thou <= spine_thou + expanded
    ]


def _edges(bands: Bands, spine_thou: float, expanded: float) -> Iterator[_Finding]:
    """The spine against the ends of the stretch it lies in, else against the ends on either side of it."""
    for low, high in ((stretch.low_thou, stretch.high_thou) for stretch in bands.stretches):
        if low <= spine_thou < high:
            if spine_thou - expanded < low:
                yield _against("spine", spine_thou, expanded, low, "thou")
            if spine_thou + expanded > high:
                yield _against("spine", spine_thou, expanded, high, "thou")
            return
    below = [stretch.high_thou for stretch in bands.stretches if stretch.high_thou <= spine_thou]
    above = [stretch.low_thou for stretch in bands.stretches if stretch.low_thou > spine_thou]
    for end in (*below[-1:], *above[:1]):
        yield _against("spine", spine_thou, expanded, end, "thou")


def _limits(measured: Measured, one: Bin, k: float) -> Iterator[_Finding]:
    """What speaks against putting the shaft into a bin, its spine apart."""
    for name, value, u, scale, limit, unit in (
        ("spread", measured.spread_thou, measured.u_spread_thou, 1.0, one.spread_max_thou, "thou"),
        ("runout", measured.runout_mm, measured.u_runout_mm, MM_PER_THOU, one.runout_max_thou, "thou"),
        ("hysteresis", measured.hysteresis_pct, measured.u_hysteresis_pct, 1.0, one.hysteresis_max_pct, "%"),
    ):
        if limit is None:
            continue
        if value is None or u is None:
            yield _Finding(f"{name} was not measured, bin {one.name} limits it to {limit:g} {unit}", False)
        elif (value + k * u) / scale > limit:
            yield _against(name, value / scale, k * u / scale, limit, unit)
    floor = measured.spread_floor_thou
    if one.spread_max_thou is not None and floor > one.spread_max_thou:
        yield _Finding(f"a spread below {floor:.1f} thou is lost in noise, the limit is {one.spread_max_thou:g}", False)


def _against(name: str, value: float, expanded: float, limit: float, unit: str) -> _Finding:
    places = places_for(expanded)
    what, spread_by = f"{name} {value:.{places}f} {unit}", f"U {expanded:.{places}f}"
    distance = abs(value - limit)
    if distance <= expanded:
        return _Finding(f"{what} lies within {spread_by} of the limit {limit:g}: measure it again", False)
    side = "above" if value > limit else "below"
    return _Finding(f"{what} is {side} {limit:g} by {distance:.{places}f} ({spread_by})", True)


def _borders(bands: Bands, home: Bin, spine_thou: float, expanded: float) -> Iterator[str]:
    """Remarks on borders to adjoining bins that the interval of the spine crosses."""
    for other in bands.in_order:
        shared = {*home.spine_thou} & {*other.spine_thou}
        for border in shared if other != home else ():
            if abs(spine_thou - border) < expanded:
                yield f"the border {border:g} to bin {other.name} lies within U {expanded:.2g}; the value decides"
