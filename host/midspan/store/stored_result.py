"""A result to and from what a row of the store keeps of it; the one place that knows how.

A row has the kind of its result and, unless the run gave none, all its fields as JSON. JSON has no number that is not
finite: it is laid down as the word NaN, Infinity or -Infinity. Up to revision 7 of the tables it was null, which is
read as not a number in fields that always have one.

>>> older = read_measured(ResultKind.GAUGE, '{"spine_thou": 500.2, "bend": 7}')
>>> older.spine_thou, older.u_spine_thou, "bend" in older.differs, plain(older)
(500.2, None, True, {'spine_thou': 500.2, 'bend': 7})
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Set
from dataclasses import dataclass, fields
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin, get_type_hints

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError, create_model

from midspan.hand_bench import conversion
from midspan.hand_bench.result import HandResult
from midspan.measurement import spine_budget
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.result_form import ResultKind
from midspan.store.kept_values import Damaged

NotFinite = Annotated[Literal["NaN", "Infinity", "-Infinity"], AfterValidator(float)]
NullOfOld = Annotated[None, AfterValidator(lambda _: math.nan)]
FORMS: Mapping[ResultKind, type[ShaftResult] | type[HandResult]] = {
    ResultKind.GAUGE: ShaftResult, ResultKind.HAND_BENCH: HandResult,
}  # fmt: skip
BY_CAUSE = ("u_causes", "sensitivities")
CAUSES = {ResultKind.GAUGE: spine_budget.CAUSES, ResultKind.HAND_BENCH: conversion.CAUSES}


@dataclass(frozen=True, slots=True)
class OlderResult:
    """What can be told of a result in the form of another Midspan; each is None where it does not say.

    Names, units and conventions are those of ShaftResult. `differs` are the fields that only that form or only the one
    of today has, or whose causes are others; `text` is all that was kept, as JSON.
    """

    kind: ResultKind
    differs: tuple[str, ...]
    text: str
    started_ms: int | None = None
    gauge: str | None = None
    calibration: str | None = None
    evaluation: str | None = None
    spine_thou: float | None = None
    u_spine_thou: float | None = None
    dof_spine: float | None = None
    spread_thou: float | None = None
    u_spread_thou: float | None = None
    spread_floor_thou: float | None = None
    four_reading_thou: float | None = None
    u_four_reading_thou: float | None = None
    stiff_side_deg: float | None = None
    u_stiff_side_deg: float | None = None
    runout_mm: float | None = None
    u_runout_mm: float | None = None
    hysteresis_pct: float | None = None
    u_hysteresis_pct: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None
    slip_pct: float | None = None
    u_slip_pct: float | None = None
    light_load_n: float | None = None
    load_n: float | None = None
    travel_mm: float | None = None
    readings: int | None = None
    surface_mm: tuple[float, ...] | None = None
    u_causes: tuple[float, ...] | None = None
    sensitivities: tuple[float, ...] | None = None
    doubts: tuple[str, ...] | None = None


MeasuredResult = ShaftResult | HandResult | OlderResult
AnyResult = MeasuredResult | Unmeasured


def as_text(result: AnyResult) -> str | None:
    """Return what a row keeps of a result beside its kind, None for a run without a result."""
    return None if isinstance(result, Unmeasured) else json.dumps(plain(result))


def plain(result: AnyResult) -> dict[str, object] | None:
    """Return the fields of a result as JSON has them, None for a run without a result."""
    if isinstance(result, Unmeasured):
        return None
    if isinstance(result, OlderResult):
        kept: dict[str, object] = json.loads(result.text)
        return kept
    return {name: _in_json(value) for name, value in result.as_dict().items()}


def read_result(kind: ResultKind, text: str | None, unmeasured: Unmeasured) -> AnyResult:
    """Return the result of a row of this kind with these fields as JSON, or `unmeasured` where the row has none.

    Raises Damaged when what stands there is no result.
    """
    return unmeasured if kind is ResultKind.UNMEASURED and text is None else read_measured(kind, text)


def read_measured(kind: ResultKind, text: str | None) -> MeasuredResult:
    """Return the result of a row that has one; Damaged when it has none, or what stands there is no result."""
    if text is None:
        raise Damaged(text)
    if kind is ResultKind.UNMEASURED:  # a Midspan from before rows had kinds has the store open still
        kind = ResultKind.HAND_BENCH if "operator" in _names_in(text) else ResultKind.GAUGE
    form: type = FORMS[kind]
    try:
        whole: ShaftResult | HandResult = form(**_shape(form).model_validate_json(text).__dict__)
    except ValidationError:  # of another Midspan, or damaged
        return _older(kind, text, _names_in(text) ^ {field.name for field in fields(form)})
    differs = {name for name in BY_CAUSE if len(getattr(whole, name)) != len(CAUSES[kind])}
    return _older(kind, text, differs) if differs else whole


def _older(kind: ResultKind, text: str, differs: Set[str]) -> OlderResult:
    """Return what can be told of a result that is not of today's form; Damaged when a value cannot be."""
    if not differs:
        raise Damaged(text)
    try:
        known = _shape(OlderResult).model_validate_json(text)
    except ValidationError as error:
        raise Damaged(text) from error
    return OlderResult(kind, tuple(sorted(differs)), text, **known.__dict__)


def is_same(one: AnyResult, other: AnyResult) -> bool:
    """Return whether two results are the same to the last bit, numbers that are none included."""
    return plain(one) == plain(other)


def dof_spine(result: MeasuredResult) -> float | None:
    """Return the degrees of freedom of u(spine), None where they are infinite or, as by the hand bench, not told."""
    return None if isinstance(result, HandResult) else result.dof_spine


def finite(value: float | None) -> float | None:
    """Return a number, None when there is none or it is not finite."""
    return value if value is not None and math.isfinite(value) else None


def _in_json(value: object) -> object:
    if isinstance(value, tuple):
        return [_in_json(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else ("Infinity" if value > 0 else "-Infinity")
    return value


def _names_in(text: str) -> Set[str]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Damaged(text) from error
    if not isinstance(found, dict):
        raise Damaged(text)
    return found.keys()


@cache
def _shape(form: type) -> type[BaseModel]:
    """Return a form as it stands in JSON; only of an older one may any field be missing, and there be others."""
    hints = get_type_hints(form)
    older = form is OlderResult
    told = [one.name for one in fields(form) if one.name not in ("kind", "differs", "text")]
    types: Any = {name: (_from_json(hints[name]), None if older else ...) for name in told}
    config = ConfigDict(extra="ignore" if older else "forbid", allow_inf_nan=False, strict=True)
    return create_model(form.__name__, __config__=config, **types)


def _from_json(hint: Any) -> Any:
    """Return what JSON may have for the type of a field."""
    parts = get_args(hint)
    if get_origin(hint) is tuple:
        return tuple.__class_getitem__((_from_json(parts[0]), ...))
    if type(None) in parts:
        (value,) = (part for part in parts if part is not type(None))
        return (value | NotFinite | None) if value is float else (_from_json(value) | None)
    return float | NotFinite | NullOfOld if hint is float else hint
