"""Concerns that stay with a shaft: a suspected crack, and the doubts and faults of earlier evaluations.

A verdict on the limits of a bin is made again with every evaluation, because numbers and limits may have changed. A
concern about the shaft itself or about the gauge stays. It ends only when the shaft is measured again, or when a
person vouches for it on record (store).
"""

from collections.abc import Iterable
from dataclasses import replace

from midspan.decision.decision import Concern, ConcernKind, Decision, Outcome, crack_concern
from midspan.measurement.calibration_validity import about_calibration

UNSURE = (Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)


def with_crack_limit(decision: Decision, hysteresis_pct: float | None, limit_pct: float | None) -> Decision:
    """Return the verdict, changed to a rejection if the hysteresis hints at a crack and nothing is in doubt.

    Parameters
    ----------
    decision : Decision
        Verdict by the bands.
    hysteresis_pct : float or None
        Hysteresis of the shaft, %; None if not measured.
    limit_pct : float or None
        Hysteresis above which a crack is suspected, %; None for no limit.

    Returns
    -------
    Decision
        The same verdict, or one with the concern CRACK_SUSPECTED added.

    Examples
    --------
    >>> verdict = with_crack_limit(Decision(Outcome.ACCEPTED, bin="500"), 2.2, 1.5)
    >>> verdict.outcome.value, verdict.bin, [concern.kind.value for concern in verdict.concerns]
    ('rejected', None, ['crack'])
    """
    crack = crack_concern(hysteresis_pct, limit_pct)
    return decision if crack is None else carry(decision, [crack])


def carry(decision: Decision, earlier: Iterable[Concern]) -> Decision:
    """Return the verdict with the concerns of earlier evaluations that it does not raise itself; the worst counts.

    A verdict that has concerns of a kind takes over none of that kind. A doubt about the calibration ends with that
    calibration.

    Parameters
    ----------
    decision : Decision
        Verdict of the new evaluation.
    earlier : iterable of Concern
        Concerns of earlier evaluations of the same readings.

    Returns
    -------
    Decision
        The same verdict, or a worse one with the earlier concerns added.

    Examples
    --------
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
    """Return the verdict with more concerns, and with the worst outcome that follows from them."""
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
