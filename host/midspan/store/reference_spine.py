"""Spines of stored results under today's reference condition, so that results of several versions can be compared.

A result of an earlier version names no definition. It was read for supports between normal and vertical reactions, and
without a correction for their rims. The mean forces and the travel that it was made from are stored with it, and so is
its calibration: converting these again gives what evaluating its readings again would give.

>>> loads = {"light_load_n": 0.863, "load_n": 8.63, "travel_mm": 11.51, "span_mm": 711.2}
>>> older = StatedSpine(ResultKind.GAUGE, 500.063, calibration="bench 1", **loads)
>>> knife_edges = {**EXAMPLE, "span": {"span_mm": 711.2, "u_span_mm": 0.05, "rim_mm": 0.0, "sink_mm_per_n": 0.0}}
>>> knife_edges["frame"] = {"give_mm_per_n": 0.0, "u_give_mm_per_n": 0.0}
>>> kept = {"bench 1": KeptCalibration(knife_edges)}
>>> older.stated_for, [round(found.shift_thou, 2) for found in conversions([older], kept)]
('middle of the supports', [-0.06])
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from midspan.base.config import validated
from midspan.base.errors import ConfigurationError, ConversionError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.conversion import CAUSES as HAND_CAUSES
from midspan.hand_bench.conversion import BenchLoad, shares
from midspan.measurement.calibration import EXAMPLE, Calibration
from midspan.measurement.conversion import mean_point
from midspan.measurement.definition import DEFINITION, OLDER_DEFINITION
from midspan.measurement.elastica import deflection_mm, stiffness_between
from midspan.measurement.result_form import ResultKind
from midspan.measurement.spine_budget import MeanForces, u_since_evaluation_2
from midspan.store.kept_calibration import KeptCalibration
from midspan.store.stored_result import MeasuredResult, finite

LIGHT_SHARE = 0.1  # of the full load, where a result does not say its light load
MIDDLE = 0.5
EARLIER_NORMAL = "normal reactions at rims as they were"  # of an earlier result whose calibration had bounds of 0
PLACE = Path("a calibration in the store")
NEW_BY_HAND = frozenset(
    {"tip beside the hook", "axial friction", "edge radius", "shaft radius", "sinking", "creep", "temperature"}
)
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StatedSpine:
    """Spine of a stored result with what it was read from; None where the result does not say.

    Parameters
    ----------
    kind : ResultKind
        Instrument.
    spine_thou : float | None
        Static spine as it is stored, thou.
    calibration : str | None
        Id of the calibration.
    definition : str | None
        Definition that the result names.
    vertical_share : tuple[float, ...] | None
        Lowest and highest share of vertical support reactions for which it was read.
    light_load_n, load_n : float | None
        Mean forces at the light and at the full depth, N; of a hand bench, the force of its weight as `load_n`.
    travel_mm : float | None
        Travel of the head between the depths, mm.
    give_mm_per_n : float | None
        Compliance of frame and cell, mm per N.
    span_mm : float | None
        Distance between the supports, mm.
    hysteresis_pct : float | None
        Fall of the force at the light depth from the way in to the way back, %.
    deflection_mm : float | None
        Movement of a hand bench's dial under the weight, mm.
    """

    kind: ResultKind
    spine_thou: float | None
    calibration: str | None = None
    definition: str | None = None
    vertical_share: tuple[float, ...] | None = None
    light_load_n: float | None = None
    load_n: float | None = None
    travel_mm: float | None = None
    give_mm_per_n: float | None = None
    span_mm: float | None = None
    hysteresis_pct: float | None = None
    deflection_mm: float | None = None

    @classmethod
    def of(cls, result: MeasuredResult) -> Self:
        """Return the spine of a result.

        Parameters
        ----------
        result : MeasuredResult
            Result of any version.

        Returns
        -------
        Self
            Its spine.
        """
        return cls._made({field.name: getattr(result, field.name, None) for field in fields(cls)})

    @classmethod
    def of_json(cls, kind: ResultKind, calibration: str | None, spine_thou: float, text: str) -> Self:
        """Return the spine in a JSON list of the values of `IN_JSON`.

        Parameters
        ----------
        kind : ResultKind
            Kind of the result.
        calibration : str | None
            Id of its calibration.
        spine_thou : float
            Its spine, thou.
        text : str
            The list; null where the result does not say.

        Returns
        -------
        Self
            The spine.
        """
        named = dict(zip(IN_JSON, json.loads(text), strict=True))
        return cls._made({"kind": kind, "calibration": calibration, "spine_thou": spine_thou, **named})

    @classmethod
    def _made(cls, values: dict[str, Any]) -> Self:
        """Return the spine of these values; what has another type than it should is unknown."""
        known: dict[str, Any] = {name: _number(at) if name in NUMBERS else at for name, at in values.items()}
        share = known["vertical_share"]
        if not (isinstance(share, list | tuple) and share and all(_number(end) is not None for end in share)):
            known["vertical_share"] = share = None
        if not isinstance(known["definition"], str):
            known["definition"] = None
        return cls(**known)

    @property
    def stated_for(self) -> str:
        """Definition for which the spine is stated; of a result that names none it follows from its supports."""
        return self.definition or (OLDER_DEFINITION if self.support else EARLIER_NORMAL)

    @property
    def is_hand(self) -> bool:
        """True for a result of a hand bench."""
        return self.kind is ResultKind.HAND_BENCH or self.deflection_mm is not None

    @property
    def support(self) -> float:
        """Share of vertical reactions for which it was read, the middle of their range."""
        return sum(self.vertical_share) / len(self.vertical_share) if self.vertical_share else MIDDLE

    @property
    def read_from(self) -> tuple[float, float, float, float, float, float] | None:
        """Light and full load in N, travel in mm, give in mm/N, span in mm, fall in N; None without a finite spine.

        Where the result does not say them, they are those of the usual cycle: nearly the standard load and span.
        """
        spine = finite(self.spine_thou)
        if spine is None or not spine > 0:
            return None
        give, span = self.give_mm_per_n or 0.0, self.span_mm or STANDARD.span_mm
        if self.deflection_mm and self.load_n:
            return 0.0, self.load_n, self.deflection_mm, 0.0, span, 0.0
        if self.light_load_n and self.load_n and self.travel_mm:
            fall_n = (self.hysteresis_pct or 0.0) / 100 * self.light_load_n
            return self.light_load_n, self.load_n, self.travel_mm, give, span, fall_n
        light = 0.0 if self.is_hand else LIGHT_SHARE
        travel = (1 - light) * (spine * MM_PER_THOU + give * STANDARD.load_n)
        return light * STANDARD.load_n, STANDARD.load_n, travel, give, STANDARD.span_mm, 0.0


IN_JSON = tuple(field.name for field in fields(StatedSpine) if field.name not in ("kind", "calibration", "spine_thou"))
NUMBERS = frozenset((*IN_JSON, "spine_thou")) - {"definition", "vertical_share"}


def _number(value: object) -> float | None:
    """Return a value if it is a finite number, else None: another program may have written anything."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return finite(value)


@dataclass(frozen=True, slots=True)
class Conversion:
    """What brings a stored spine under the reference condition.

    Parameters
    ----------
    shift_thou : float
        To be added to the spine, thou; 0 for a spine stated for the reference condition, not a number where it cannot
        be converted.
    u_thou : float
        Standard uncertainty that is added to that of the spine, thou: of supports, walls and temperature, which results
        of earlier versions do not count.
    """

    shift_thou: float
    u_thou: float

    def of(self, spine_thou: float, u_spine_thou: float) -> tuple[float, float]:
        """Return a spine and its standard uncertainty under the reference condition.

        Parameters
        ----------
        spine_thou, u_spine_thou : float
            Spine and standard uncertainty as they are stored, thou.

        Returns
        -------
        tuple of float
            Both converted, thou.
        """
        return spine_thou + self.shift_thou, math.hypot(u_spine_thou, self.u_thou)


AS_IT_IS, IMPOSSIBLE = Conversion(0.0, 0.0), Conversion(math.nan, 0.0)


def conversions(stated: Sequence[StatedSpine], calibrations: Mapping[str, KeptCalibration]) -> list[Conversion]:
    """Return what brings each stored spine under the reference condition.

    Parameters
    ----------
    stated : Sequence[StatedSpine]
        Spines as they are stored.
    calibrations : Mapping[str, KeptCalibration]
        Kept calibrations and hand benches by id, as `Store.calibrations` gives them.

    Returns
    -------
    list[Conversion]
        In the order of the spines.
    """
    found = [AS_IT_IS if each.definition == DEFINITION else IMPOSSIBLE for each in stated]
    groups: dict[tuple[bool, str | None, float], list[int]] = {}
    for i, each in enumerate(stated):
        if each.definition in (None, OLDER_DEFINITION) and each.read_from is not None:
            groups.setdefault((each.is_hand, each.calibration, each.support), []).append(i)
    for (_, name, _), those in groups.items():
        kept = calibrations.get(name or "")
        for i, conversion in zip(those, _converted_again([stated[i] for i in those], kept), strict=True):
            found[i] = conversion
    return found


def _converted_again(alike: Sequence[StatedSpine], kept: KeptCalibration | None) -> list[Conversion]:
    """Return the conversions of spines of one instrument and calibration; impossible for values that fit no shaft."""
    before = np.array([each.read_from for each in alike], float).T
    try:
        pairs = (_by_bench if alike[0].is_hand else _by_gauge)(before, alike[0], kept)
    except ConversionError:  # the values of one fit no shaft; the others are converted without it
        return [IMPOSSIBLE] if len(alike) == 1 else [_converted_again([each], kept)[0] for each in alike]
    return [Conversion(*pair) for pair in zip(*(part.tolist() for part in pairs), strict=True)]


def _by_gauge(before: Array, first: StatedSpine, kept: KeptCalibration | None) -> tuple[Array, Array]:
    """Return shifts and u of results of a gauge; the rows of before are those of `read_from`."""
    low, high, travel, give, span, fall_n = before
    calibration = _calibration(kept, float(give[0]), float(span[0]))
    now = mean_point(low, high, travel, calibration)
    u = u_since_evaluation_2(MeanForces(low, high, travel), fall_n, now, calibration)
    return now.deflection_thou - _stated_thou((low, high), travel - give * (high - low), span, first.support), u


def _by_bench(before: Array, first: StatedSpine, kept: KeptCalibration | None) -> tuple[Array, Array]:
    """Return shifts and u of results of a hand bench, whose travel is the movement of the dial."""
    _, load, sag, _, span, _ = before
    try:
        bench = None if kept is None else kept.bench(PLACE)
    except ConfigurationError:
        bench = None
    if bench is None:  # nothing is known of its edges
        return np.full_like(sag, math.nan), np.zeros_like(sag)
    weighed = BenchLoad.of(bench)
    loads = np.full_like(load, weighed.preload_n), weighed.preload_n + load
    stated = _stated_thou(loads, sag - bench.frame.give_mm_per_n * load, span, first.support)
    return weighed.thou(sag) - stated, np.array([_u_of_bench(bench, float(each)) for each in sag])


def _u_of_bench(bench: HandBench, sag_mm: float) -> float:
    """Return the standard uncertainty from causes that results of earlier versions do not count, thou."""
    u_causes, sensitivities = shares(bench, sag_mm, 0.0)
    rows = zip(HAND_CAUSES, u_causes, sensitivities, strict=True)
    return math.hypot(*(u * by for (name, _), u, by in rows if name in NEW_BY_HAND))


def _stated_thou(loads_n: tuple[Array, Array], bend_mm: Array, span_mm: Array, support: float) -> Array:
    """Return the spines as an earlier version read them from two loads and the bend between them, thou."""
    stiffness = stiffness_between(loads_n, bend_mm, span_mm, support)
    return deflection_mm(STANDARD.load_n, STANDARD.span_mm, stiffness, support) / MM_PER_THOU


def _calibration(kept: KeptCalibration | None, give_mm_per_n: float, span_mm: float) -> Calibration:
    """Return the kept calibration; if there is none that is valid today, a gauge of this give and span."""
    try:
        if kept is not None:
            return kept.calibration(PLACE)
    except ConfigurationError:
        pass
    frame, span = {**EXAMPLE["frame"], "give_mm_per_n": give_mm_per_n}, {"span_mm": span_mm, "u_span_mm": 0.0}
    return validated(Calibration, {**EXAMPLE, "frame": frame, "span": span}, PLACE)


def under_reference(result: MeasuredResult, calibrations: Mapping[str, KeptCalibration]) -> tuple[float, float] | None:
    """Return the spine of a stored result of any version, and its standard uncertainty, under the reference condition.

    Parameters
    ----------
    result : MeasuredResult
        Stored result.
    calibrations : Mapping[str, KeptCalibration]
        Kept calibrations and hand benches by id, as `Store.calibrations` gives them.

    Returns
    -------
    tuple of float or None
        Static spine for normal reactions and standard uncertainty, thou; None if it has none of the two, or if the
        spine cannot be converted.
    """
    (conversion,) = conversions([StatedSpine.of(result)], calibrations)
    spine, u_spine = finite(result.spine_thou), finite(result.u_spine_thou)
    if spine is None or u_spine is None or math.isnan(conversion.shift_thou):
        return None
    return conversion.of(spine, u_spine)
