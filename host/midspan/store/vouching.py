"""Let a person vouch for a shaft, by name and with a reason, so that earlier concerns no longer count.

A person can judge what can be seen: whether a shaft is cracked, or whether a check standard and not the gauge was at
fault. Doubts in the readings themselves need another measurement.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import func, select

from midspan.base.config import validated
from midspan.base.errors import StoreError
from midspan.decision.bands import Bands
from midspan.decision.basis import Basis, content_of
from midspan.decision.decision import ConcernKind, Decision, judge
from midspan.store.database import Store, add_evaluation
from midspan.store.evaluation import Evaluation, StoredResult
from midspan.store.lookup import whole
from midspan.store.tables import ResultRow, VoucherRow


@dataclass(frozen=True)
class Voucher:
    """Person who vouches for a shaft, and the reason.

    Parameters
    ----------
    person : str
        Name.
    words : str
        What was seen.
    at_ms : int
        Time, UTC in ms since 1970.
    """

    person: str
    words: str
    at_ms: int


def vouch(store: Store, shafts: Collection[int], voucher: Voucher, bands: Bands | None) -> dict[int, Decision]:
    """Record that a person vouches for shafts, and judge them again by their limits of spine alone.

    All shafts or none are recorded.

    Parameters
    ----------
    store : Store
        Database opened to write.
    shafts : Collection[int]
        Numbers of shafts.
    voucher : Voucher
        Person and reason.
    bands : Bands | None
        Bands to judge by, None for those of each shaft's last verdict.

    Returns
    -------
    dict[int, Decision]
        Verdict that now counts, by the number of the shaft.

    Raises
    ------
    StoreError
        Name or reason is empty (code "voucher_incomplete"), a shaft was never measured ("never_measured"), is a check
        standard ("check_standard"), was judged by bands that were not stored ("no_bands"), has no result
        ("no_result", "older_form"), or its readings are in doubt ("in_doubt").
    """
    if not (voucher.person.strip() and voucher.words.strip()):
        raise StoreError(
            "to vouch, give your name with --by and what you saw with --why; neither may be empty",
            code="voucher_incomplete",
        )
    anew = [_judged_anew(store, stored, bands) for shaft in dict.fromkeys(shafts) for stored in _standing(store, shaft)]
    with store.transaction() as session:
        newest = session.scalars(select(func.max(ResultRow.id))).one()
        for stored, _, _ in anew:
            session.add(
                VoucherRow(
                    shaft=stored.run.shaft, run_id=stored.run_id, result_id=newest, at_ms=voucher.at_ms,
                    person=voucher.person, words=voucher.words,
                )
            )  # fmt: skip
        session.flush()
        for stored, decision, used in anew:
            basis = replace(
                stored.basis or Basis(), bands=content_of(used), crack_hysteresis_pct=None, person=voucher.person
            )
            evaluation = Evaluation(stored.result, decision, voucher.at_ms, basis)
            add_evaluation(session, stored.batch, stored.run, evaluation)
    return {shaft: _standing(store, shaft)[0].decision for shaft in shafts}


def _standing(store: Store, shaft: int) -> list[StoredResult]:
    """Return the standing results of a shaft, the one that counts first; raises StoreError if it was never measured."""
    standing = store.standing(shaft)
    if not standing:
        raise StoreError(f"{store.place}: no measurement of shaft {shaft}; check the number", code="never_measured")
    return standing


def _judged_anew(store: Store, stored: StoredResult, bands: Bands | None) -> tuple[StoredResult, Decision, Bands]:
    """Return a result, its verdict by limits alone, and the bands used."""
    name = f"{store.place}: shaft {stored.run.shaft}"
    if stored.basis is not None and stored.basis.standard is not None:
        raise StoreError(
            f"{name} is check standard {stored.basis.standard}; only shafts of the stock can be vouched for",
            code="check_standard",
        )
    kept = None if stored.basis is None else stored.basis.bands
    if bands is None and kept is None:
        raise StoreError(
            f"{name} was judged by bands that were not stored; give them with --bands FILE", code="no_bands"
        )
    used = bands or validated(Bands, dict(kept or {}), Path("the bands of its verdict"))
    decision = judge(whole(stored, store.place), used)
    # Inspection answers a suspected crack, not doubts about the reading.
    doubts = [concern for concern in decision.concerns if concern.kind is not ConcernKind.CRACK]
    if doubts:
        raise StoreError(f"{name}: {doubts[0].words}; measure it again; inspection does not show this", code="in_doubt")
    return stored, replace(decision, concerns=()), used
