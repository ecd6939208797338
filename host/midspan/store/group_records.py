"""Read columns of measurements for groups of shafts: no whole result is held, so a hundred thousand fit into memory."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import Select, func, select

from midspan.decision.decision import Outcome
from midspan.measurement.result_form import ResultKind
from midspan.store.detail_kinds import DetailKind
from midspan.store.evaluation import Origin
from midspan.store.measurements import is_void
from midspan.store.older_spines import json_of, kept_calibrations, stated_before, stated_spines
from midspan.store.reference_spine import conversions
from midspan.store.set_records import WeightRecord
from midspan.store.stock_records import StockRecords, last_said
from midspan.store.stored_result import OlderResult
from midspan.store.tables import (
    BatchRow,
    DecisionRow,
    DetailRow,
    ResultRow,
    RunRow,
    WeightRow,
)

AT_A_TIME = 10_000  # results of which SQLite is told the numbers
OF_CAUSES = (
    "gauge", "u_causes", "sensitivities", "temperature_c", "travel_mm", "light_load_n", "load_n", "surface_mm[0]",
)  # fmt: skip


@dataclass(slots=True)
class MeasuredColumns:
    """Newest result of a measurement that is not void, whether or not a later one superseded it.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    label : str
        Label, may be empty.
    batch : int
        Number of the batch.
    origin : Origin
        How the measurement came into the database.
    started_ms : int
        Start of the measurement, UTC in ms since 1970.
    run : int
        Number of the measurement.
    result : int
        Number of the result.
    outcome : Outcome
        Outcome of the verdict.
    spine_thou : float or None
        Static spine under the reference condition, thou; None without a result, not a number if it is stated for
        another condition and cannot be converted.
    u_spine_thou : float or None
        Its standard uncertainty, thou.
    spread_thou : float or None
        Spread of spine around the shaft, thou.
    u_spread_thou : float or None
        Its standard uncertainty, thou.
    runout_mm : float or None
        Runout, mm.
    u_runout_mm : float or None
        Its standard uncertainty, mm.
    """

    shaft: int
    label: str
    batch: int
    origin: Origin
    started_ms: int
    run: int
    result: int
    outcome: Outcome
    spine_thou: float | None
    u_spine_thou: float | None
    spread_thou: float | None
    u_spread_thou: float | None
    runout_mm: float | None
    u_runout_mm: float | None


class GroupRecords(StockRecords):
    """What groups of shafts are chosen by and made of, within one transaction."""

    def measured(self) -> list[MeasuredColumns]:
        """Return the newest result of every measurement that is not void, in the order they were stored.

        Returns
        -------
        list[MeasuredColumns]
            Measurements, those without a spine and those of check standards included.
        """
        columns = (
            RunRow.shaft, RunRow.label, RunRow.batch_id, RunRow.origin, RunRow.started_ms, RunRow.id, ResultRow.id,
            DecisionRow.outcome, ResultRow.spine_thou, ResultRow.u_spine_thou, ResultRow.spread_thou,
            ResultRow.u_spread_thou, ResultRow.runout_mm, ResultRow.u_runout_mm,
        )  # fmt: skip
        query = select(*columns).join(ResultRow, ResultRow.run_id == RunRow.id)
        query = query.join(DecisionRow, DecisionRow.result_id == ResultRow.id).where(
            ResultRow.id.in_(_newest()), ~is_void(RunRow.id)
        )
        found = [
            MeasuredColumns(shaft, label, batch, _ORIGINS[origin], at_ms, run, result, _OUTCOMES[outcome], *values)
            for shaft, label, batch, origin, at_ms, run, result, outcome, *values
            in self._session.execute(query.order_by(RunRow.id))
        ]  # fmt: skip
        self._convert(found)
        return found

    def _convert(self, found: Sequence[MeasuredColumns]) -> None:
        """Bring the spines of earlier versions under the reference condition."""
        stated = stated_spines(self._session, stated_before(ResultRow.id).where(ResultRow.id.in_(_newest())))
        if not stated:
            return
        known = conversions(list(stated.values()), kept_calibrations(self._session))
        by_result = dict(zip(stated, known, strict=True))
        for row in found:
            conversion = by_result.get(row.result)
            if conversion is not None and row.spine_thou is not None:
                row.spine_thou, u_spine = conversion.of(row.spine_thou, row.u_spine_thou or 0.0)
                row.u_spine_thou = row.u_spine_thou if row.u_spine_thou is None else u_spine

    def gauges(self) -> dict[int, str]:
        """Return the gauge of the newest result of each measurement.

        Returns
        -------
        dict[int, str]
            Name of the gauge by number of the result; a result that names none is missing.
        """
        query = select(ResultRow.id, json_of(("gauge", "kind"))).where(ResultRow.id.in_(_newest()))
        named = ((number, json.loads(text)[0]) for number, text in self._session.execute(query))
        return {number: gauge for number, gauge in named if isinstance(gauge, str)}

    def causes(self, results: Sequence[int]) -> Iterator[tuple[int, OlderResult]]:
        """Yield results with what they say of their causes of uncertainty and nothing else.

        Parameters
        ----------
        results : Sequence[int]
            Numbers of the results.

        Yields
        ------
        tuple of int and OlderResult
            Number of a result, and the result; in no particular order.
        """
        query = select(ResultRow.id, ResultRow.kind, ResultRow.calibration, json_of(OF_CAUSES))
        for first in range(0, len(results), AT_A_TIME):
            numbers = results[first : first + AT_A_TIME]
            for number, kind, calibration, text in self._session.execute(query.where(ResultRow.id.in_(numbers))):
                yield number, _with_causes(ResultKind(kind), calibration, text)

    def leads_mm(self) -> dict[str, float]:
        """Return the travel a turn of the screw under each calibration.

        Returns
        -------
        dict[str, float]
            Travel, mm, by id of the calibration; one that does not say it is missing.
        """
        leads = ((name, kept.lead_mm) for name, kept in kept_calibrations(self._session).items())
        return {name: lead for name, lead in leads if lead}

    def batches(self) -> dict[int, str]:
        """Return the name of each batch.

        Returns
        -------
        dict[int, str]
            Name by number.
        """
        return {row.id: row.name for row in self._session.execute(select(BatchRow.id, BatchRow.name))}

    def weighed(self) -> list[tuple[int, WeightRecord]]:
        """Return all weights, oldest first.

        Returns
        -------
        list[tuple[int, WeightRecord]]
            When each was weighed, UTC in ms since 1970, and the weight.
        """
        query = select(WeightRow.at_ms, WeightRow.shaft, WeightRow.weight_g, WeightRow.u_weight_g)
        rows = self._session.execute(query.order_by(WeightRow.id))
        return [(at_ms, WeightRecord(shaft, weight_g, u_weight_g)) for at_ms, shaft, weight_g, u_weight_g in rows]

    def said_of_shafts(self, kind: DetailKind) -> dict[int, str]:
        """Return what people said last of shafts.

        Parameters
        ----------
        kind : DetailKind
            What about.

        Returns
        -------
        dict[int, str]
            Value by number of the shaft; what was taken back is missing.
        """
        query = select(DetailRow.shaft, DetailRow.value).where(DetailRow.kind == kind.value).order_by(DetailRow.id)
        return last_said({row.shaft: row.value for row in self._session.execute(query)})


def _newest() -> Select[int]:
    """Return the query of the newest result of each measurement."""
    return select(func.max(ResultRow.id)).group_by(ResultRow.run_id)


def _with_causes(kind: ResultKind, calibration: str | None, text: str) -> OlderResult:
    """Return the result of a JSON list of OF_CAUSES; what has another type than it should is unknown."""
    gauge, u_causes, sensitivities, *numbers, surface = json.loads(text)
    temperature, travel, light, load = (float(at) if isinstance(at, int | float) else None for at in numbers)
    return OlderResult(
        kind, (), text, calibration=calibration, gauge=gauge if isinstance(gauge, str) else None,
        u_causes=_numbers(u_causes), sensitivities=_numbers(sensitivities), temperature_c=temperature,
        travel_mm=travel, light_load_n=light, load_n=load,
        surface_mm=(float(surface),) if isinstance(surface, int | float) else None,
    )  # fmt: skip


def _numbers(values: object) -> tuple[float, ...] | None:
    """Return a JSON list of numbers, None if it is no such list."""
    if not isinstance(values, list) or not set(map(type, values)) <= {float, int}:
        return None
    return tuple(values)


_ORIGINS = {origin.value: origin for origin in Origin}
_OUTCOMES = {outcome.value: outcome for outcome in Outcome}
