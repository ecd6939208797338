"""Which measurement of a shaft counts, and what was found about it: the memory of the store, within its transactions.

A measurement names those that it supersedes. One that was stored as it was measured supersedes all that stood there.
One that came from an archive knew of none of them: it supersedes only imported ones that stand before it in the same
archive, where the order is that of the gauge. So it never displaces a measured one; both stand, and the worse counts
until the shaft is measured again. The clock of the computer counts for nothing here: it may have been set back.
"""

from __future__ import annotations

import json
from dataclasses import asdict

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.orm import Session, aliased

from midspan.decision.decision import Concern, ConcernKind
from midspan.measurement.result import Unmeasured
from midspan.store.evaluation import Origin, RunReference
from midspan.store.stored_result import AnyResult, finite
from midspan.store.tables import BasisRow, DecisionRow, ResultRow, RunRow, SupersessionRow, VoucherRow

CLEAR_SIGMAS = 2.0  # U of a hysteresis in standard uncertainties


def note_run(session: Session, batch: int, run: RunReference, origin: Origin) -> int:
    """Return the number of a run, noted with those that it supersedes if the store has never seen it."""
    row = insert(RunRow).values(batch_id=batch, origin=origin.value, **asdict(run))
    # Insert first, so that two programs noting the same run wait for each other instead of failing.
    new = session.execute(row.on_conflict_do_nothing())
    number: int = session.scalars(select(RunRow.id).where(*is_run(run))).one()
    if new.rowcount:  # type: ignore[attr-defined]
        _supersede(session, number, run, origin)
    return number


def is_run(run: RunReference) -> tuple[ColumnElement[bool], ...]:
    """Return the conditions that a row is this run."""
    # The time tells a run from one that stood at this place of another file of the same name.
    begun = RunRow.started_ms == run.started_ms
    return RunRow.archive == run.archive, RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, begun


def _supersede(session: Session, number: int, run: RunReference, origin: Origin) -> None:
    """Let a new run take the place of those of its shaft that it knew of, or that stand before it in its archive."""
    others = session.scalars(select(RunRow).where(RunRow.shaft == run.shaft, RunRow.id != number, is_standing()))
    pairs = []
    for other in others:
        same_archive = other.archive == run.archive
        if origin is Origin.MEASURED:
            pairs.append((number, other.id))
        elif same_archive and other.byte_offset > run.byte_offset:
            pairs.append((other.id, number))
        elif same_archive and other.origin == Origin.IMPORTED:
            pairs.append((number, other.id))
    if pairs:
        rows = [{"run_id": later, "superseded_id": earlier} for later, earlier in pairs]
        session.execute(insert(SupersessionRow), rows)


def is_standing() -> ColumnElement[bool]:
    """Return the condition that no measurement supersedes a run."""
    return ~exists().where(SupersessionRow.superseded_id == RunRow.id)


def standing_results() -> tuple[ColumnElement[bool], ...]:
    """Return the conditions of the newest result of each run that none supersedes, for a query of results and runs."""
    later = aliased(ResultRow)
    return is_standing(), ~exists().where(later.run_id == ResultRow.run_id, later.id > ResultRow.id)


def concerns_before(session: Session, run_id: int, result: AnyResult) -> list[Concern]:
    """Return what earlier evaluations found about a measurement, but for what a person has vouched for since.

    A crack that was suspected by an earlier measurement is among them unless the new one clearly sees none: a hand
    bench that knows a hysteresis of 0.2 % to 0.7 % clears no shaft of 2.2 %.
    """
    vouched = select(func.max(VoucherRow.result_id)).where(VoucherRow.run_id == ResultRow.run_id).scalar_subquery()
    query = (
        select(ResultRow.run_id, DecisionRow.concerns)
        .join(DecisionRow, DecisionRow.result_id == ResultRow.id)
        .where(ResultRow.id > func.coalesce(vouched, 0), DecisionRow.concerns != "[]")
        .order_by(ResultRow.id)
    )
    own = session.execute(query.where(ResultRow.run_id == run_id))
    found = [concern for row in own for concern in concerns_in(row.concerns)]
    vouched_for = session.scalars(select(VoucherRow.id).where(VoucherRow.run_id == run_id).limit(1)).first()
    if vouched_for is not None or _sees_no_crack(result, crack_limit_before(session, run_id)):
        return found
    before = select(SupersessionRow.superseded_id).where(SupersessionRow.run_id == run_id)
    earlier = session.execute(query.where(ResultRow.run_id.in_(before)))
    unseen = [concern for row in earlier for concern in concerns_in(row.concerns)]
    return found + [concern for concern in unseen if concern.kind is ConcernKind.CRACK]


def _sees_no_crack(result: AnyResult, limit_pct: float | None) -> bool:
    """Return whether the hysteresis of a result lies within the crack limit by all of U, if a limit is known.

    A run without a result clears nothing and is no stock.
    """
    hysteresis_pct = None if isinstance(result, Unmeasured) else finite(result.hysteresis_pct)
    if isinstance(result, Unmeasured) or hysteresis_pct is None:
        return False
    expanded_pct = CLEAR_SIGMAS * (result.u_hysteresis_pct or 0.0)
    return limit_pct is None or hysteresis_pct + expanded_pct <= limit_pct


def crack_limit_before(session: Session, run_id: int) -> float | None:
    """Return the lowest crack limit, in percent of hysteresis, that the measurements which a run supersedes stand by.

    None without any. Whoever measures a shaft again by bands alone would else clear it of a crack that it still shows.
    """
    later = aliased(ResultRow)
    limit_pct = func.json_extract(BasisRow.content, "$.crack_hysteresis_pct")
    query = select(func.min(limit_pct)).join(DecisionRow, DecisionRow.basis_id == BasisRow.id)
    query = query.join(ResultRow, ResultRow.id == DecisionRow.result_id)
    query = query.join(SupersessionRow, SupersessionRow.superseded_id == ResultRow.run_id)
    newest = ~exists().where(later.run_id == ResultRow.run_id, later.id > ResultRow.id)
    found: float | None = session.scalars(query.where(SupersessionRow.run_id == run_id, newest)).one()
    return found


def concerns_in(text: str) -> tuple[Concern, ...]:
    """Return the concerns that a verdict's row keeps as JSON."""
    return tuple(Concern(ConcernKind(kind), words) for kind, words in json.loads(text))
