"""Take a measurement out of what counts, with a reason, and let it count again; nothing is deleted.

A wrong shaft may have lain in the gauge, or its lid was open. Its measurement then is void: it is no stock, counts in
no list, and supersedes nothing. What it superseded is passed on to the measurements that superseded it, so that of a
chain A, B, C without B it is still C that counts and not A beside C.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import exists, func, select
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.orm import Session, aliased

from midspan.base.errors import StoreError
from midspan.store.database import Store, carry_again
from midspan.store.detail_kinds import SetDetailKind
from midspan.store.identity import known_identities
from midspan.store.measurements import is_standing, is_void
from midspan.store.records import Records
from midspan.store.tables import LeavingRow, MemberRow, RunRow, SetDetailRow, SetRow, SupersessionRow, VoidRow


@dataclass(frozen=True, slots=True)
class VoidRecord:
    """Statement of a person that a measurement does not count, or counts again.

    Parameters
    ----------
    run : int
        Number of the measurement.
    void : bool
        True if it does not count.
    at_ms : int
        When it was said, UTC in ms since 1970.
    person : str
        Who said it, may be empty.
    words : str
        Reason.
    """

    run: int
    void: bool
    at_ms: int
    person: str
    words: str


def void(store: Store, run: int, words: str, person: str, at_ms: int, *, in_set: bool = False) -> None:
    """Record that a measurement does not count.

    A crack that it suspected and that a later verdict has taken over stays with the shaft until it is measured again or
    a person vouches for it.

    Parameters
    ----------
    store : Store
        Database opened to write.
    run : int
        Number of the measurement (`StoredResult.run_id`).
    words : str
        Reason.
    person : str
        Who says so, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.
    in_set : bool
        True to take it of a shaft in a set too: for a measurement without a result, on which no set rests.

    Raises
    ------
    StoreError
        The reason is empty (code "void_reason"), no such measurement is stored ("never_measured"), it is void already
        ("already_void"), or its shaft is in a set ("in_a_set", or "shipped" if the set was shipped).
    """
    said = VoidRecord(run, void=True, at_ms=at_ms, person=person, words=words)
    shaft = _shaft_of(store, said)
    with Records.of(store) as records:
        session = records.session
        if _say(session, said):
            raise StoreError(f"{store.place}: this measurement of shaft {shaft} is void already", code="already_void")
        if not in_set:
            _refuse_in_set(session, known_identities(records).numbers(shaft))
        _pass_on(session, run)


def unvoid(store: Store, run: int, words: str, person: str, at_ms: int) -> None:
    """Record that a void measurement counts again.

    Later verdicts on the shaft take over a crack that it suspects.

    Parameters
    ----------
    store : Store
        Database opened to write.
    run : int
        Number of the measurement.
    words : str
        Reason.
    person : str
        Who says so, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.

    Raises
    ------
    StoreError
        The reason is empty (code "void_reason"), no such measurement is stored ("never_measured"), or it is not void
        ("not_void").
    """
    said = VoidRecord(run, void=False, at_ms=at_ms, person=person, words=words)
    shaft = _shaft_of(store, said)
    with store.transaction() as session:
        if not _say(session, said):
            raise StoreError(f"{store.place}: this measurement of shaft {shaft} is not void", code="not_void")
        later = select(SupersessionRow.run_id).where(SupersessionRow.superseded_id == run)
        for standing in session.scalars(select(RunRow.id).where(RunRow.id.in_(later), is_standing())).all():
            carry_again(session, standing, at_ms)


def void_last(store: Store, shaft: int, words: str, person: str, at_ms: int) -> int:
    """Record that the last measurement of a shaft that was not void yet does not count; return its number.

    Parameters
    ----------
    store : Store
        Database opened to write.
    shaft : int
        Number of the shaft.
    words : str
        Reason.
    person : str
        Who says so, may be empty.
    at_ms : int
        Time, UTC in ms since 1970.

    Returns
    -------
    int
        Number of the measurement, for `unvoid`.

    Raises
    ------
    StoreError
        No measurement of the shaft counts (code "never_measured"), or as `void` does.
    """
    with store.transaction() as session:
        query = select(func.max(RunRow.id)).where(RunRow.shaft == shaft, ~is_void(RunRow.id))
        run = session.scalars(query).one()
    if run is None:
        raise StoreError(
            f"{store.place}: no measurement of shaft {shaft} counts; check the number", code="never_measured"
        )
    void(store, run, words, person, at_ms)
    return run


def void_runs(store: Store, shafts: Collection[int]) -> dict[int, VoidRecord]:
    """Return the void measurements of shafts with who said so and why.

    Parameters
    ----------
    store : Store
        Open database.
    shafts : Collection[int]
        Numbers of the shafts.

    Returns
    -------
    dict[int, VoidRecord]
        The newest statement by the number of the measurement; measurements that count are missing.
    """
    query = select(VoidRow).join(RunRow, RunRow.id == VoidRow.run_id).where(RunRow.shaft.in_(shafts))
    with store.transaction() as session:
        newest = {
            row.run_id: VoidRecord(row.run_id, row.void, row.at_ms, row.person, row.words)
            for row in session.scalars(query.order_by(VoidRow.id))
        }
    return {run: said for run, said in newest.items() if said.void}


def _shaft_of(store: Store, said: VoidRecord) -> int:
    """Return the shaft of a measurement; raise StoreError for an unknown number or a void without a reason."""
    if said.void and not said.words.strip():
        raise StoreError("say why, as in: the wrong shaft lay in the gauge", code="void_reason")
    with store.transaction() as session:
        shaft = session.scalars(select(RunRow.shaft).where(RunRow.id == said.run)).first()
    if shaft is None:
        raise StoreError(f"{store.place}: no measurement {said.run}; check its number", code="never_measured")
    return shaft


def _say(session: Session, said: VoidRecord) -> bool:
    """Store a statement and return True if the measurement was void before."""
    # Insert before looking, so that of two programs the later one sees what the earlier one wrote.
    row = VoidRow(run_id=said.run, at_ms=said.at_ms, void=said.void, person=said.person, words=said.words.strip())
    session.add(row)
    session.flush()
    before = select(VoidRow.void).where(VoidRow.run_id == said.run, VoidRow.id < row.id).order_by(VoidRow.id.desc())
    return session.scalars(before.limit(1)).first() or False


def _refuse_in_set(session: Session, shafts: Collection[int]) -> None:
    """Raise StoreError if a shaft with these numbers is in a set."""
    gone = exists().where(LeavingRow.member_id == MemberRow.id)
    query = select(MemberRow.shaft, SetRow.id, SetRow.name).join(SetRow, SetRow.id == MemberRow.set_id)
    found = session.execute(query.where(MemberRow.shaft.in_(shafts), ~gone)).first()
    if found is None:
        return
    shaft, number, first_name = found
    name = _said_of_set(session, number, SetDetailKind.NAME) or first_name
    shipped = _said_of_set(session, number, SetDetailKind.SHIPPED)
    if shipped is None:
        raise StoreError(
            f"shaft {shaft} is in set {name!r}, which was chosen by its measurements; take it out first "
            f"(midspan sets refill, or midspan sets apart {name!r})",
            code="in_a_set",
        )
    raise StoreError(
        f"shaft {shaft} went out with set {name!r}, shipped {shipped}, and its card states what was measured; "
        "if it came back, measure it again: the newest measurement counts",
        code="shipped",
    )


def _said_of_set(session: Session, number: int, kind: SetDetailKind) -> str | None:
    """Return what was said last of a set, None for nothing."""
    said = select(SetDetailRow.value).where(SetDetailRow.set_id == number, SetDetailRow.kind == kind.value)
    return session.scalars(said.order_by(SetDetailRow.id.desc()).limit(1)).first()


def _pass_on(session: Session, run: int) -> None:
    """Let the measurements that superseded a measurement supersede those that it superseded."""
    later, earlier = aliased(SupersessionRow), aliased(SupersessionRow)
    pairs = select(later.run_id, earlier.superseded_id).join(earlier, earlier.run_id == later.superseded_id)
    pairs = pairs.where(later.superseded_id == run)
    table = insert(SupersessionRow).from_select(["run_id", "superseded_id"], pairs)
    session.execute(table.on_conflict_do_nothing())
