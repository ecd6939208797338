"""A person stands for a shaft: what was found of it counts no more, on record and by name.

Only what a person can see is theirs to judge: whether a shaft is cracked, or whether a check standard and not the gauge
was at fault. What the readings themselves leave in doubt only another measurement tells.
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
from midspan.decision.decision import Decision, verdict_on
from midspan.store.database import Store, add_evaluation
from midspan.store.evaluation import Evaluation, StoredResult
from midspan.store.lookup import whole
from midspan.store.tables import ResultRow, VoucherRow


@dataclass(frozen=True)
class Voucher:
    """Who stands for a shaft, and why."""

    person: str
    words: str
    at_ms: int


def vouch(store: Store, shafts: Collection[int], voucher: Voucher, bands: Bands | None) -> dict[int, Decision]:
    """Note that a person vouches for shafts, judge them again by limits alone, and return the verdicts that count.

    Without `bands` the limits are those of a shaft's verdict so far. All or none: raises StoreError when a shaft has no
    such limits, is a check standard or has no result, and when its readings themselves are in doubt: then it has to be
    measured again.
    """
    if not (voucher.person.strip() and voucher.words.strip()):
        raise StoreError("a voucher has a name and a reason: say who with --by and what was seen with --why")
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
    """Return the results of a shaft that stand, the one that counts first; StoreError when there is none."""
    standing = store.standing(shaft)
    if not standing:
        raise StoreError(f"{store.place}: shaft {shaft} was never measured into it; check its number")
    return standing


def _judged_anew(store: Store, stored: StoredResult, bands: Bands | None) -> tuple[StoredResult, Decision, Bands]:
    """Return a result with its verdict by limits alone, and the bands that have them."""
    name = f"{store.place}: shaft {stored.run.shaft}"
    if stored.basis is not None and stored.basis.standard is not None:
        raise StoreError(f"{name} is check standard {stored.basis.standard}; it is no stock")
    kept = None if stored.basis is None else stored.basis.bands
    if bands is None and kept is None:
        raise StoreError(f"{name} was judged by bands that were not kept; name them with --bands FILE")
    used = bands or validated(Bands, dict(kept or {}), Path("the bands of its verdict"))
    decision = verdict_on(whole(stored, store.place), used)
    if decision.concerns:
        raise StoreError(f"{name}: {decision.concerns[0].words}: measure it again, no eye can tell its numbers")
    return stored, decision, used
