"""Read the spines that other versions of the evaluation stored, with what they were read from."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Select, String, case, cast, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from midspan.hand_bench.result import HAND_EVALUATION
from midspan.measurement.result import EVALUATION
from midspan.measurement.result_form import ResultKind
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.reference_spine import IN_JSON, StatedSpine
from midspan.store.tables import CalibrationRow, ResultRow

LISTED_EVALUATION = "list"  # of a spine that a list states for the reference condition
CURRENT = (EVALUATION, HAND_EVALUATION, LISTED_EVALUATION)


def json_of(names: Sequence[str]) -> ColumnElement[str]:
    """Return the expression for a JSON list of named fields of a result.

    Parameters
    ----------
    names : Sequence[str]
        Fields, or paths in a field as in "curve_thou[0]".

    Returns
    -------
    ColumnElement[str]
        The list as text, nulls for fields that the result lacks and for a damaged result.
    """
    # A damaged result yields nothing, so that the others can still be read.
    whole = case((func.json_valid(ResultRow.full), ResultRow.full), else_="{}")
    return cast(func.json_extract(whole, *(f"$.{name}" for name in names)), String)


def stated_before(key: InstrumentedAttribute[int]) -> Select[int, str, str | None, float | None, str]:
    """Return the query of the spines that other versions of the evaluation stored.

    Parameters
    ----------
    key : InstrumentedAttribute[int]
        Column by which the spines are wanted.

    Returns
    -------
    Select
        Rows for `stated_spines`, for more joins and conditions.
    """
    query = select(key, ResultRow.kind, ResultRow.calibration, ResultRow.spine_thou, json_of(IN_JSON))
    other = or_(ResultRow.evaluation.is_(None), ResultRow.evaluation.not_in(CURRENT))
    return query.where(ResultRow.spine_thou.is_not(None), other)


def stated_spines(session: Session, query: Select[int, str, str | None, float | None, str]) -> dict[int, StatedSpine]:
    """Return the spines of a query.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.
    query : Select
        Query made of `stated_before`.

    Returns
    -------
    dict[int, StatedSpine]
        Spines by the column that was asked for, the last where it is the same.
    """
    return {
        key: StatedSpine.of_json(ResultKind(kind), calibration, spine, text)
        for key, kind, calibration, spine, text in session.execute(query)
        if spine is not None
    }


def kept_calibrations(session: Session) -> dict[str, KeptCalibration]:
    """Return the kept calibrations and hand benches by id, as `Store.calibrations` does, within a transaction.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.

    Returns
    -------
    dict[str, KeptCalibration]
        Empty if there are none.
    """
    return {row.id: KeptCalibration.from_text(row.content) for row in session.scalars(select(CalibrationRow))}
