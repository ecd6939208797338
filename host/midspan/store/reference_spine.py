"""Spines of stored results under today's reference condition, so that results of several versions can be compared.

A result of an earlier version names no definition, and was read for supports between normal and vertical reactions. The
forces and the travel that it was made from are stored with it; reading them again for normal reactions gives what
evaluating its readings again would give.

>>> older = StatedSpine(ResultKind.GAUGE, 500.063, light_load_n=0.863, load_n=8.63, travel_mm=11.51, span_mm=711.2)
>>> older.definition, [round(shift, 2) for shift in shifts_thou([older])]
('middle of the supports', [-0.06])
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np

from midspan.base.errors import ConversionError
from midspan.base.units import MM_PER_THOU, STANDARD
from midspan.measurement.definition import DEFINITION, OLDER_DEFINITION, read_again_thou
from midspan.measurement.result_form import ResultKind
from midspan.store.stored_result import MeasuredResult, finite

LIGHT_SHARE = 0.1  # of the full load, where a result does not say its light load
MIDDLE = 0.5


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
    definition : str
        Definition for which the spine is stated, that of an earlier version where the result names none.
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
    deflection_mm : float | None
        Movement of a hand bench's dial under the weight, mm.
    """

    kind: ResultKind
    spine_thou: float | None
    calibration: str | None = None
    definition: str = OLDER_DEFINITION
    vertical_share: tuple[float, ...] | None = None
    light_load_n: float | None = None
    load_n: float | None = None
    travel_mm: float | None = None
    give_mm_per_n: float | None = None
    span_mm: float | None = None
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
        """Return the spine of these values; the definition of a result that names none follows from its supports."""
        known: dict[str, Any] = {name: _number(at) if name in NUMBERS else at for name, at in values.items()}
        share = known["vertical_share"]
        if not (isinstance(share, list | tuple) and share and all(_number(end) is not None for end in share)):
            known["vertical_share"] = share = None
        if not isinstance(known["definition"], str):
            known["definition"] = DEFINITION if share and not any(share) else OLDER_DEFINITION
        return cls(**known)

    @property
    def support(self) -> float:
        """Share of vertical reactions for which it was read, the middle of their range."""
        return sum(self.vertical_share) / len(self.vertical_share) if self.vertical_share else MIDDLE

    @property
    def read_from(self) -> tuple[float, float, float, float] | None:
        """Light and full load in N, the bend between them and the span in mm; None if it has no finite spine.

        Where the result does not say them, they are those of the usual cycle: nearly the standard load and span.
        """
        spine = finite(self.spine_thou)
        if spine is None or not spine > 0:
            return None
        span = self.span_mm or STANDARD.span_mm
        if self.deflection_mm and self.load_n:
            return 0.0, self.load_n, self.deflection_mm, span
        if self.light_load_n and self.load_n and self.travel_mm:
            bend = self.travel_mm - (self.give_mm_per_n or 0.0) * (self.load_n - self.light_load_n)
            return self.light_load_n, self.load_n, bend, span
        light = 0.0 if self.kind is ResultKind.HAND_BENCH else LIGHT_SHARE
        bend = (1 - light) * spine * MM_PER_THOU
        return light * STANDARD.load_n, STANDARD.load_n, bend, STANDARD.span_mm


IN_JSON = tuple(field.name for field in fields(StatedSpine) if field.name not in ("kind", "calibration", "spine_thou"))
NUMBERS = frozenset((*IN_JSON, "spine_thou")) - {"definition", "vertical_share"}


def _number(value: object) -> float | None:
    """Return a value if it is a finite number, else None: another program may have written anything."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return finite(value)


def shifts_thou(stated: Sequence[StatedSpine]) -> list[float]:
    """Return what to add to each stored spine to have it under the reference condition.

    Parameters
    ----------
    stated : Sequence[StatedSpine]
        Spines as they are stored.

    Returns
    -------
    list[float]
        Shifts, thou; 0 for a spine stated for the reference condition, not a number where it cannot be converted.
    """
    shifts = [0.0 if each.definition == DEFINITION else math.nan for each in stated]
    groups: dict[float, list[int]] = {}
    for i, each in enumerate(stated):
        if each.definition == OLDER_DEFINITION and each.read_from is not None:
            groups.setdefault(each.support, []).append(i)
    for support, those in groups.items():
        for i, shift in zip(those, _read_again([stated[i] for i in those], support), strict=True):
            shifts[i] = shift
    return shifts


def _read_again(stated: Sequence[StatedSpine], support: float) -> Iterable[float]:
    """Return the shifts of spines read for one support condition, not a number for values that fit no shaft."""
    low, high, bend, span = np.array([each.read_from for each in stated], float).T
    try:
        found: list[float] = read_again_thou((low, high), bend, span, support).tolist()
    except ConversionError:  # the values of one fit no shaft; the others are read without it
        return [math.nan] if len(stated) == 1 else [shift for each in stated for shift in _read_again([each], support)]
    return found


def reference_thou(result: MeasuredResult) -> float | None:
    """Return the spine of a stored result of any version under the reference condition.

    Parameters
    ----------
    result : MeasuredResult
        Stored result.

    Returns
    -------
    float | None
        Static spine for normal reactions, thou; None if it has no spine, or if that cannot be converted.
    """
    stated = StatedSpine.of(result)
    (shift,) = shifts_thou([stated])
    return None if stated.spine_thou is None else finite(stated.spine_thou + shift)
