"""Read what of each result tells its shaft from others: the waves of curve and surface, and their uncertainties."""

from __future__ import annotations

import json
import math
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from midspan.decision.decision import Outcome
from midspan.measurement.harmonics import COLUMNS
from midspan.measurement.result_form import ResultKind
from midspan.store.evaluation import Origin
from midspan.store.measurements import is_void
from midspan.store.older_spines import json_of
from midspan.store.tables import BasisRow, DecisionRow, ResultRow, RunRow, TransitRow

_VARIANCES = tuple(f"curve_covariance[{i * (COLUMNS + 1)}]" for i in range(COLUMNS))
_NAMES = (
    "gauge", "started_ms", "curve_thou", "surface_mm", "u_surface_mm", "u_spine_thou", "u_spread_thou", "u_runout_mm",
    "runout_mm", "sees_all", *_VARIANCES,
)  # fmt: skip
# What clock positions cannot show: once and three times a turn, and of the surface anything but the bow.
_UNSEEN_BY_HAND = (1, 2, 5, 6)


@dataclass(slots=True)
class ComparableResult:
    """Properties of a result by which its shaft can be told from others.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    run : int
        Number of the measurement.
    batch : int
        Number of the batch.
    origin : Origin
        How the measurement came into the database.
    standard : str | None
        Name of the check standard that the shaft is, None for a shaft of the stock.
    kind : ResultKind
        Instrument of the result.
    gauge : str | None
        Name of the gauge, None if the result does not say.
    calibration : str | None
        Id of the calibration.
    evaluation : str | None
        Version of the evaluation.
    at_ms : int | None
        Start of the measurement, UTC in ms since 1970; None if the result does not say.
    numbers : array[float]
        Coefficients of the curve (thou) and of the surface (mm), 7 each, their standard uncertainties, and those of
        spine (thou), spread (thou) and runout (mm): 31 values. A quantity that was not measured has an infinite
        uncertainty; one whose uncertainty the result does not say has not a number.
    is_whole : bool
        False if the result knows little more than the spine.
    """

    shaft: int
    run: int
    batch: int
    origin: Origin
    standard: str | None
    kind: ResultKind
    gauge: str | None
    calibration: str | None
    evaluation: str | None
    at_ms: int | None
    numbers: array[float]
    is_whole: bool


def comparable_results(session: Session) -> Iterator[ComparableResult]:
    """Yield the comparable properties of every result, oldest first, without void ones and those of a gauge at fault.

    Parameters
    ----------
    session : Session
        SQLAlchemy session of an open transaction.

    Yields
    ------
    ComparableResult
        A result.
    """
    for shaft, run, batch, origin, standard, kind, calibration, evaluation, spine, u_spine, text in session.execute(
        _query()
    ):
        found = dict(zip(_NAMES, json.loads(text), strict=True))
        numbers = _numbers(kind, spine, u_spine, found)
        gauge, at_ms = found["gauge"], found["started_ms"]
        yield ComparableResult(
            shaft, run, batch, _ORIGINS[origin], standard, _KINDS[kind],
            gauge if isinstance(gauge, str) else None, calibration, evaluation,
            at_ms if isinstance(at_ms, int) else None, numbers,
            isinstance(gauge, str) and all(numbers[i] != math.inf for i in (2 * COLUMNS + 3, 3 * COLUMNS + 1)),
        )  # fmt: skip


def _numbers(kind: str, spine: float, u_spine: float | None, found: Mapping[str, object]) -> array[float]:
    """Return the numbers of a result whose fields were read from its JSON."""
    curve, surface = (_seven(found[name]) for name in ("curve_thou", "surface_mm"))
    if curve is None or not curve[0] > 0:  # what only knows a spine, as a line of a list does
        unknown = [math.inf] * (COLUMNS - 1)
        u_all = [math.nan, *unknown, *([math.inf] * COLUMNS), u_spine or math.nan, math.inf, math.inf]
        return array("d", [spine, *([0.0] * (2 * COLUMNS - 1)), *u_all])
    u_curve = [math.sqrt(v) if isinstance(v, int | float) and v >= 0 else math.nan for v in _values(found, _VARIANCES)]
    u_surface = _seven(found["u_surface_mm"]) or [math.nan] * COLUMNS
    u_spread, u_runout = (_number(found[name]) for name in ("u_spread_thou", "u_runout_mm"))
    if surface is None:
        surface, u_surface, u_runout = [0.0] * COLUMNS, [math.inf] * COLUMNS, math.inf
    if kind == ResultKind.HAND_BENCH.value:
        _leave_out_unseen(found, u_curve, u_surface)
    return array("d", [*curve, *surface, *u_curve, *u_surface, _number(found["u_spine_thou"]), u_spread, u_runout])


def _leave_out_unseen(found: Mapping[str, object], u_curve: list[float], u_surface: list[float]) -> None:
    """Give what a hand bench did not see an infinite uncertainty."""
    for i in _UNSEEN_BY_HAND:
        u_curve[i] = math.inf
    if not found["sees_all"]:
        u_curve[3] = u_curve[4] = math.inf
    if found["runout_mm"] is None:
        u_surface[:] = [math.inf] * COLUMNS
    else:
        # Its surface is fitted once a turn, with the graduation of the dial in the uncertainty of the runout.
        u_surface[3:] = [math.inf] * (COLUMNS - 3)
        u_surface[1] = u_surface[2] = _number(found["u_runout_mm"]) / 2


def _seven(value: object) -> list[float] | None:
    """Return seven numbers of JSON, None if it is anything else."""
    if not isinstance(value, list) or len(value) != COLUMNS:
        return None
    return value if all(isinstance(each, int | float) for each in value) else None


def _values(found: Mapping[str, object], names: Sequence[str]) -> list[object]:
    """Return the values of some fields."""
    return [found[name] for name in names]


def _number(value: object) -> float:
    """Return a number of JSON, not a number if it is anything else."""
    return float(value) if isinstance(value, int | float) else math.nan


_ORIGINS = {origin.value: origin for origin in Origin}
_KINDS = {kind.value: kind for kind in ResultKind}


def _query() -> Select[*tuple[Any, ...]]:
    """Return the query behind `comparable_results`."""
    # A check standard was fed as such by a sorting run here, or judged as such in another database.
    standard = func.coalesce(TransitRow.standard, func.json_extract(BasisRow.content, "$.standard"))
    query = select(
        RunRow.shaft, RunRow.id, RunRow.batch_id, RunRow.origin, standard, ResultRow.kind, ResultRow.calibration,
        ResultRow.evaluation, ResultRow.spine_thou, ResultRow.u_spine_thou, json_of(_NAMES),
    ).join(RunRow, ResultRow.run_id == RunRow.id)  # fmt: skip
    query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id)
    query = query.outerjoin(BasisRow, BasisRow.id == DecisionRow.basis_id)
    query = query.outerjoin(TransitRow, TransitRow.id == RunRow.shaft)
    sick = DecisionRow.outcome == Outcome.INSTRUMENT_FAULT.value
    sound = ResultRow.full.is_not(None), ResultRow.spine_thou > 0, ~sick, ~is_void(RunRow.id)
    return query.where(*sound).order_by(ResultRow.id)
