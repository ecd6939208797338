"""What stays with a verdict: a suspected crack, and concerns that earlier evaluations of the same readings raised.

A verdict on the limits of a bin is made anew with every evaluation, because numbers and limits may have changed. What
was found about the shaft itself or about the gauge is not: it ends only when the shaft is measured again, or when a
person vouches for it on record (store).
"""

from collections.abc import Iterable
from dataclasses import replace

from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome
from midspan.measurement.calibration_validity import about_calibration

CRACK_SUSPECTED = "CRACK_SUSPECTED"
UNSURE = (Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)


def beyond_crack_limit(hysteresis_pct: float | None, limit_pct: float | None) -> bool:
    """Return whether so much hysteresis hints at a crack; False where either is not known.

    The value decides, without a margin: caution costs one shaft.
    """
    return hysteresis_pct is not None and limit_pct is not None and not hysteresis_pct <= limit_pct


def with_crack_limit(decision: Decision, hysteresis_pct: float | None, limit_pct: float | None) -> Decision:
    """Return the verdict, turned to a rejection when the hysteresis hints at a crack and nothing is in doubt.

    >>> verdict = with_crack_limit(Decision(Outcome.ACCEPTED, bin="500"), 2.2, 1.5)
    >>> verdict.outcome.value, verdict.bin, [concern.kind.value for concern in verdict.concerns]
    ('rejected', None, ['crack'])
    """
    if not beyond_crack_limit(hysteresis_pct, limit_pct):
        return decision
    words = f"{CRACK_SUSPECTED}: hysteresis {hysteresis_pct:.2f} % is beyond {limit_pct:g} %. " + (
        "Such a shaft must not be shot."
    )
    return carry(decision, [Concern(ConcernKind.CRACK, words)])


def carry(decision: Decision, earlier: Iterable[Concern]) -> Decision:
    """Return the verdict with what earlier evaluations found and this one did not; the worse counts.

    Of each kind the verdict's own concerns are enough. A doubt about the calibration goes with that calibration.

    >>> crack = Concern(ConcernKind.CRACK, "CRACK_SUSPECTED: hysteresis 2.20 %")
    >>> carry(Decision(Outcome.ACCEPTED, bin="500"), [crack]).outcome.value
    'rejected'
    """
    known = {concern.kind for concern in decision.concerns}
    kept = dict.fromkeys(
        concern for concern in earlier if concern.kind not in known and not about_calibration(concern.words)
    )
    return _with(decision, list(kept))


def _with(decision: Decision, more: list[Concern]) -> Decision:
    if not more:
        return decision
    kinds = {concern.kind for concern in more}
    outcome = decision.outcome
    if ConcernKind.FAULT in kinds:
        outcome = Outcome.INSTRUMENT_FAULT
    elif outcome is not Outcome.INSTRUMENT_FAULT and ConcernKind.DOUBT in kinds:
        outcome = Outcome.DOUBTFUL
    elif outcome not in UNSURE:
        outcome = Outcome.REJECTED
    reasons = dict.fromkeys([*(concern.words for concern in more), *decision.reasons])
    return replace(decision, outcome=outcome, bin=None, reasons=tuple(reasons), concerns=(*more, *decision.concerns))
