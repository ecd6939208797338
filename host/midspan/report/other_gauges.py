"""One shaft on several gauges: what each found, under one definition, and if they agree.

A shaft is known again by its number, and by a label or a statement that joins several numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from midspan.base.formatting import printable
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.measurement.shown_quantities import across_text, spine_text
from midspan.store.database import Store
from midspan.store.evaluation import StoredResult
from midspan.store.identity import known_identities
from midspan.store.records import Records
from midspan.store.reference_spine import under_reference
from midspan.store.stored_result import MeasuredResult
from midspan.uncertainty.comparison import Compared, agreement_of


@dataclass(frozen=True, slots=True)
class OtherGauge:
    """Newest result of a shaft on another gauge.

    Parameters
    ----------
    gauge : str
        Name of the gauge, or the hand bench.
    spine_thou : float
        Its spine under the reference condition, thou.
    u_spine_thou : float
        Standard uncertainty of that, thou.
    compared : Compared
        The result that was asked for, compared with this one.
    dof_spine : float or None
        Degrees of freedom of `u_spine_thou`, None where infinite or unknown.
    older_lb, u_older_lb : float or None
        Spine in pounds (26 in, 2 lb) and its standard uncertainty as stored; None where the result has none.
    """

    gauge: str
    spine_thou: float
    u_spine_thou: float
    compared: Compared
    dof_spine: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None


def other_gauges(store: Store, stored: StoredResult) -> list[OtherGauge]:
    """Compare a result with the newest sound result of the same shaft on each other gauge.

    Parameters
    ----------
    store : Store
        The open store.
    stored : StoredResult
        Result of a shaft.

    Returns
    -------
    list[OtherGauge]
        By the name of the gauge; empty if no other measured it, or the result is not a number.
    """
    with Records.of(store) as records:
        numbers = known_identities(records).numbers(stored.run.shaft)
    history = [result for number in numbers for result in store.history(number)]
    newest: dict[str, MeasuredResult] = {}
    for each in sorted(history, key=lambda result: (result.run_id, result.id)):
        result = each.result
        if not isinstance(result, Unmeasured) and result.gauge and _is_sound(each, result):
            newest[result.gauge] = result
    own, calibrations = stored.result, store.calibrations()
    mine = None if isinstance(own, Unmeasured) else under_reference(own, calibrations)
    if mine is None or isinstance(own, Unmeasured):
        return []
    others = ((gauge, result) for gauge, result in sorted(newest.items()) if gauge != own.gauge)
    found = ((gauge, result, under_reference(result, calibrations)) for gauge, result in others)
    return [
        OtherGauge(gauge, *its, agreement_of(*mine, *its), result.dof_spine, result.older_lb, result.u_older_lb)
        for gauge, result, its in found
        if its is not None
    ]


def _is_sound(stored: StoredResult, result: MeasuredResult) -> bool:
    """Return True if neither the gauge nor the reading was in doubt."""
    return stored.decision.outcome is not Outcome.INSTRUMENT_FAULT and not result.doubts


def other_gauges_words(found: Sequence[OtherGauge]) -> Iterator[str]:
    """Yield a sentence on each other gauge.

    Parameters
    ----------
    found : Sequence[OtherGauge]
        Results on other gauges.

    Yields
    ------
    str
        Spine there, the difference with its 95 % range, and if they agree.
    """
    for each in found:
        compared = each.compared
        apart = across_text(compared.difference, compared.expanded)
        verdict = "they agree" if compared.holds else "they disagree: one of them is less certain than it says"
        yield f"on {printable(each.gauge)}: {spine_text(each)}; difference {apart}: {verdict}"


def other_gauges_json(found: Sequence[OtherGauge]) -> list[dict[str, object]]:
    """Return the results on other gauges as plain values.

    Parameters
    ----------
    found : Sequence[OtherGauge]
        Results on other gauges.

    Returns
    -------
    list[dict[str, object]]
        Values that JSON can hold; U covers 95 %.
    """
    return [
        {"gauge": each.gauge, "spine_thou": each.spine_thou, "u_spine_thou": each.u_spine_thou,
         "difference_thou": each.compared.difference, "U_difference_thou": each.compared.expanded,
         "E_n": each.compared.e_n, "agrees": each.compared.holds}
        for each in found
    ]  # fmt: skip
