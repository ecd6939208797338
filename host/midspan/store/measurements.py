"""Decide which measurement of a shaft counts, and pass on what earlier measurements found.

A measurement names the measurements that it supersedes. If it was stored as it was measured, it supersedes all that
stood for its shaft. If it was imported from an archive, it supersedes only imported measurements that stand before it
in the same archive, where the order is the gauge's. So it never displaces a measured one; both stand, and the worse
counts until the shaft is measured again. The computer's clock is not used: it may have been set back.

A void measurement does not stand and supersedes nothing. What it superseded is passed on to what superseded it
(`voids`), so the order of the others stays as if it had never been made.
"""

from __future__ import annotations

import json
from dataclasses import asdict

from sqlalchemy import ColumnElement, and_, exists, func, or_, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from midspan.decision.decision import Concern, ConcernKind
from midspan.measurement.result import Unmeasured
from midspan.store.detail_kinds import DetailKind
from midspan.store.evaluation import Origin, RunReference
from midspan.store.stored_result import AnyResult, finite
from midspan.store.tables import (
    BasisRow,
    DecisionRow,
    DetailRow,
    ResultRow,
    RunRow,
    SupersessionRow,
    VoidRow,
    VoucherRow,
)

CLEAR_SIGMAS = 2.0  # U of a hysteresis in standard uncertainties


def note_run(session: Session, batch: int, run: RunReference, origin: Origin) -> int:
    """Return the number of a measurement; store it and what it supersedes if it is new.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    batch : int
        Batch, used if the measurement is new.
    run : RunReference
        Where the readings are.
    origin : Origin
        How the measurement came into the database, used if it is new.

    Returns
    -------
    int
        Number of the measurement.
    """
    row = insert(RunRow).values(batch_id=batch, origin=origin.value, **asdict(run))
    # Insert before looking, so that two programs storing the same run wait for each other instead of failing.
    new = session.execute(row.on_conflict_do_nothing())
    number: int = session.scalars(select(RunRow.id).where(*is_run(run))).one()
    if new.rowcount:  # type: ignore[attr-defined]
        _supersede(session, number, run, origin)
        if origin is Origin.MEASURED:
            _say_label(session, run)
    return number


def _say_label(session: Session, run: RunReference) -> None:
    """Record the label of a new measurement if the shaft was called otherwise before: what was said last counts."""
    said = select(DetailRow).where(DetailRow.shaft == run.shaft, DetailRow.kind == DetailKind.LABEL.value)
    last = session.scalars(said.order_by(DetailRow.id.desc()).limit(1)).first()
    if run.label and last is not None and last.value not in (None, run.label) and last.at_ms < run.started_ms:
        session.add(DetailRow(shaft=run.shaft, at_ms=run.started_ms, kind=last.kind, value=run.label, person=""))
        session.flush()


def is_run(run: RunReference) -> tuple[ColumnElement[bool], ...]:
    """Return the conditions by which a row is this measurement.

    Parameters
    ----------
    run : RunReference
        Where the readings are.

    Returns
    -------
    tuple[ColumnElement[bool], ...]
        Conditions for a query of runs, all of which must hold.
    """
    # The time distinguishes runs at the same offset of two files with the same name.
    begun = RunRow.started_ms == run.started_ms
    return RunRow.archive == run.archive, RunRow.byte_offset == run.byte_offset, RunRow.shaft == run.shaft, begun


def bears(label: str) -> ColumnElement[bool]:
    """Return the condition that the shaft of a measurement is called by a label.

    It says the same as `RunRow.label == label`, but in a form for which SQLite uses its indexes.

    Parameters
    ----------
    label : str
        Label, in this spelling.

    Returns
    -------
    ColumnElement[bool]
        Condition for a query of runs.
    """
    said = select(DetailRow.shaft).where(DetailRow.kind == DetailKind.LABEL.value, DetailRow.value == label)
    return and_(or_(RunRow.own_label == label, RunRow.shaft.in_(said)), RunRow.label == label)


def _supersede(session: Session, number: int, run: RunReference, origin: Origin) -> None:
    """Let a new measurement supersede those it knew of, or those before it in its archive."""
    # Void ones too: one that counts again is still older than this.
    others = session.scalars(select(RunRow).where(RunRow.shaft == run.shaft, RunRow.id != number, ~_is_superseded()))
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
    """Return the condition that a measurement is not void and that no other, itself not void, supersedes it.

    Returns
    -------
    ColumnElement[bool]
        Condition for a query of runs.
    """
    return and_(~_is_superseded(), ~is_void(RunRow.id))


def _is_superseded() -> ColumnElement[bool]:
    """Return the condition that a measurement that is not void supersedes a measurement."""
    return exists().where(SupersessionRow.superseded_id == RunRow.id, ~is_void(SupersessionRow.run_id))


def is_void(run: ColumnElement[int] | InstrumentedAttribute[int]) -> ColumnElement[bool]:
    """Return the condition that a person said last that a measurement does not count.

    Parameters
    ----------
    run : ColumnElement[int]
        Column with the number of the measurement.

    Returns
    -------
    ColumnElement[bool]
        Condition for a query with that column.
    """
    # Rows of an index are in order of their numbers, so this is a single look even into a long list.
    newest = select(VoidRow.void).where(VoidRow.run_id == run).order_by(VoidRow.id.desc()).limit(1)
    return func.coalesce(newest.scalar_subquery(), False)


def standing_results() -> tuple[ColumnElement[bool], ...]:
    """Return the conditions for the newest result of each standing measurement.

    Returns
    -------
    tuple[ColumnElement[bool], ...]
        Conditions for a query of results and runs, all of which must hold.
    """
    return is_standing(), is_newest()


def is_newest() -> ColumnElement[bool]:
    """Return the condition that no later result of its measurement stands beside a result.

    Returns
    -------
    ColumnElement[bool]
        Condition for a query of results.
    """
    later = aliased(ResultRow)
    return ~exists().where(later.run_id == ResultRow.run_id, later.id > ResultRow.id)


def counts_as_check(shaft: ColumnElement[int] | InstrumentedAttribute[int]) -> ColumnElement[bool]:
    """Return the condition that not all measurements of a check standard's shaft are void.

    Another shaft may have lain in the gauge in place of the standard; then it says nothing about the gauge.

    Parameters
    ----------
    shaft : ColumnElement[int]
        Column with the number of the shaft.

    Returns
    -------
    ColumnElement[bool]
        Condition for a query with that column.
    """
    measured = exists().where(RunRow.shaft == shaft)
    return or_(~measured, measured.where(~is_void(RunRow.id)))


def concerns_before(session: Session, run_id: int, result: AnyResult) -> list[Concern]:
    """Return the concerns of earlier evaluations, except those a person has since vouched against.

    They include a crack suspected by an earlier measurement that is not void, unless the new measurement clearly shows
    none: a hand bench that knows a hysteresis only as 0.2 % to 0.7 % cannot clear a shaft of 2.2 %.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    run_id : int
        Number of the measurement.
    result : AnyResult
        Its new result.

    Returns
    -------
    list[Concern]
        Concerns, empty if there are none.
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
    before = select(SupersessionRow.superseded_id).where(
        SupersessionRow.run_id == run_id, ~is_void(SupersessionRow.superseded_id)
    )
    earlier = session.execute(query.where(ResultRow.run_id.in_(before)))
    unseen = [concern for row in earlier for concern in concerns_in(row.concerns)]
    return found + [concern for concern in unseen if concern.kind is ConcernKind.CRACK]


def _sees_no_crack(result: AnyResult, limit_pct: float | None) -> bool:
    """Return True if the hysteresis of a result, with its expanded uncertainty, is within the crack limit.

    Without a limit any hysteresis clears the shaft; a run without a result never does, nor does it make the shaft
    stock.
    """
    hysteresis_pct = None if isinstance(result, Unmeasured) else finite(result.hysteresis_pct)
    if isinstance(result, Unmeasured) or hysteresis_pct is None:
        return False
    expanded_pct = CLEAR_SIGMAS * (result.u_hysteresis_pct or 0.0)
    return limit_pct is None or hysteresis_pct + expanded_pct <= limit_pct


def crack_limit_before(session: Session, run_id: int) -> float | None:
    """Return the lowest crack limit of the superseded measurements.

    It keeps a new measurement judged by bands alone from clearing the shaft of a crack that it still shows.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    run_id : int
        Number of the new measurement.

    Returns
    -------
    float | None
        Hysteresis, percent; None if none of them had a limit.
    """
    limit_pct = func.json_extract(BasisRow.content, "$.crack_hysteresis_pct")
    query = select(func.min(limit_pct)).join(DecisionRow, DecisionRow.basis_id == BasisRow.id)
    query = query.join(ResultRow, ResultRow.id == DecisionRow.result_id)
    query = query.join(SupersessionRow, SupersessionRow.superseded_id == ResultRow.run_id)
    found: float | None = session.scalars(query.where(SupersessionRow.run_id == run_id, is_newest())).one()
    return found


def concerns_in(text: str) -> tuple[Concern, ...]:
    """Return the concerns in a verdict's row.

    Parameters
    ----------
    text : str
        JSON list of pairs (kind, sentence).

    Returns
    -------
    tuple[Concern, ...]
        Concerns, empty if there are none.

    Examples
    --------
    >>> concerns_in('[["crack", "hysteresis 2.2 %"]]')[0].kind.name
    'CRACK'
    """
    return tuple(Concern(ConcernKind(kind), words) for kind, words in json.loads(text))
