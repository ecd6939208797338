"""Translate a result into the columns of its row and back; no other module knows the form.

A row has the kind of its result and, unless the run gave none, all its fields as JSON. JSON has only finite numbers:
others are stored as the words NaN, Infinity or -Infinity. Up to revision 7 of the tables they were null, which is
read as not a number in fields that always have a number.

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
    """Known quantities of a result that another version stored in another form.

    Names, units and conventions are those of ShaftResult; None means that the stored result does not say.

    Parameters
    ----------
    kind : ResultKind
        Kind of the result.
    differs : tuple[str, ...]
        Fields that only the stored or only the present form has, or whose causes of uncertainty differ.
    text : str
        Everything that was stored, as JSON.
    started_ms : int | None
        Start of the measurement, UTC in ms since 1970.
    gauge : str | None
        Name of the gauge.
    calibration : str | None
        Id of the calibration.
    evaluation : str | None
        Version of the evaluation.
    spine_thou : float | None
        Static spine, thou.
    u_spine_thou : float | None
        Its standard uncertainty, thou.
    dof_spine : float | None
        Degrees of freedom of `u_spine_thou`.
    spread_thou : float | None
        Spread of spine around the shaft, thou.
    u_spread_thou : float | None
        Its standard uncertainty, thou.
    dof_spread : float | None
        Degrees of freedom of `u_spread_thou`.
    spread_floor_thou : float | None
        Smallest spread that the measurement could detect, thou.
    four_reading_thou : float | None
        Largest less smallest of four readings, thou.
    u_four_reading_thou : float | None
        Its standard uncertainty, thou.
    stiff_side_deg : float | None
        Angle of the stiff side, degrees.
    u_stiff_side_deg : float | None
        Its standard uncertainty, degrees.
    runout_mm : float | None
        Runout, mm.
    u_runout_mm : float | None
        Its standard uncertainty, mm.
    dof_runout : float | None
        Degrees of freedom of `u_runout_mm`.
    hysteresis_pct : float | None
        Hysteresis of the force, percent.
    u_hysteresis_pct : float | None
        Its standard uncertainty, percent.
    older_lb : float | None
        Spine in the older unit, lb.
    u_older_lb : float | None
        Its standard uncertainty, lb.
    definition : str | None
        Definition of the spine.
    temperature_c : float | None
        Temperature of measuring, degrees Celsius.
    vertical_share : tuple[float, ...] | None
        Lowest and highest share of vertical support reactions.
    span_mm : float | None
        Distance between the supports, mm.
    give_mm_per_n : float | None
        Compliance of frame and cell, mm per N.
    deflection_mm : float | None
        Movement of a hand bench's dial under the weight, mm.
    slip_pct : float | None
        Slip of the rotation, percent.
    u_slip_pct : float | None
        Its standard uncertainty, percent.
    light_load_n : float | None
        Light load, N.
    load_n : float | None
        Full load, N.
    travel_mm : float | None
        Travel between the loads, mm.
    readings : int | None
        Number of readings.
    surface_mm : tuple[float, ...] | None
        Coefficients of the surface, mm.
    u_causes : tuple[float, ...] | None
        Standard uncertainty of each cause.
    sensitivities : tuple[float, ...] | None
        Sensitivity of spine to each cause.
    doubts : tuple[str, ...] | None
        Doubts about the measurement.
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
    dof_spread: float | None = None
    spread_floor_thou: float | None = None
    four_reading_thou: float | None = None
    u_four_reading_thou: float | None = None
    stiff_side_deg: float | None = None
    u_stiff_side_deg: float | None = None
    runout_mm: float | None = None
    u_runout_mm: float | None = None
    dof_runout: float | None = None
    hysteresis_pct: float | None = None
    u_hysteresis_pct: float | None = None
    older_lb: float | None = None
    u_older_lb: float | None = None
    definition: str | None = None
    temperature_c: float | None = None
    vertical_share: tuple[float, ...] | None = None
    span_mm: float | None = None
    give_mm_per_n: float | None = None
    deflection_mm: float | None = None
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


@dataclass(frozen=True, slots=True)
class ListedResult(OlderResult):
    """A shaft's spine from a list that was made elsewhere, with the uncertainty that the list is said to have.

    It has no readings: nothing can be evaluated again. A measured result always counts before it.
    """


MeasuredResult = ShaftResult | HandResult | OlderResult
AnyResult = MeasuredResult | Unmeasured


def as_text(result: AnyResult) -> str | None:
    """Return the fields of a result as JSON text.

    Parameters
    ----------
    result : AnyResult
        Result to store.

    Returns
    -------
    str | None
        JSON, None for a run without a result.
    """
    return None if isinstance(result, Unmeasured) else json.dumps(plain(result))


def plain(result: AnyResult) -> dict[str, object] | None:
    """Return the fields of a result as values that JSON can hold.

    Parameters
    ----------
    result : AnyResult
        Result.

    Returns
    -------
    dict[str, object] | None
        Values by field, None for a run without a result.
    """
    if isinstance(result, Unmeasured):
        return None
    if isinstance(result, OlderResult):
        kept: dict[str, object] = json.loads(result.text)
        return kept
    return {name: _in_json(value) for name, value in result.as_dict().items()}


def read_result(kind: ResultKind, text: str | None, unmeasured: Unmeasured) -> AnyResult:
    """Return the result in a row.

    Parameters
    ----------
    kind : ResultKind
        Kind in the row.
    text : str | None
        Fields as JSON, None if the row has none.
    unmeasured : Unmeasured
        What to return for a run without a result.

    Returns
    -------
    AnyResult
        Result.

    Raises
    ------
    Damaged
        The fields are not a result.
    """
    return unmeasured if kind is ResultKind.UNMEASURED and text is None else read_measured(kind, text)


def read_measured(kind: ResultKind, text: str | None) -> MeasuredResult:
    """Return the result in a row that has a result.

    Parameters
    ----------
    kind : ResultKind
        Kind in the row.
    text : str | None
        Fields as JSON.

    Returns
    -------
    MeasuredResult
        Result, an OlderResult if its form is not today's.

    Raises
    ------
    Damaged
        There are no fields, or they are not a result.
    """
    if text is None:
        raise Damaged(text)
    if kind is ResultKind.UNMEASURED:  # written by a program still running from before rows had kinds
        kind = ResultKind.HAND_BENCH if "operator" in _names_in(text) else ResultKind.GAUGE
    if kind is ResultKind.LISTED:
        return _known(ListedResult, kind, text, frozenset())
    form: type = FORMS[kind]
    try:
        whole: ShaftResult | HandResult = form(**_shape(form).model_validate_json(text).__dict__)
    except ValidationError:  # of another version, or damaged
        return _older(kind, text, _names_in(text) ^ {field.name for field in fields(form)})
    differs = {name for name in BY_CAUSE if len(getattr(whole, name)) != len(CAUSES[kind])}
    return _older(kind, text, differs) if differs else whole


def _older(kind: ResultKind, text: str, differs: Set[str]) -> OlderResult:
    """Return the known quantities of a result in another form; raises Damaged if a value has the wrong type."""
    if not differs:
        raise Damaged(text)
    return _known(OlderResult, kind, text, differs)


def _known(form: type[OlderResult], kind: ResultKind, text: str, differs: Set[str]) -> OlderResult:
    """Return a form with whatever quantities the text has; raises Damaged if a value has the wrong type."""
    try:
        known = _shape(OlderResult).model_validate_json(text)
    except ValidationError as error:
        raise Damaged(text) from error
    return form(kind, tuple(sorted(differs)), text, **known.__dict__)


def is_same(first: AnyResult, second: AnyResult) -> bool:
    """Return True if two results are equal to the last bit; not a number equals itself here.

    Parameters
    ----------
    first : AnyResult
        A result.
    second : AnyResult
        The result to compare.

    Returns
    -------
    bool
        False if any field differs.
    """
    return plain(first) == plain(second)


def finite(value: float | None) -> float | None:
    """Return a number if it is finite.

    Parameters
    ----------
    value : float | None
        Number.

    Returns
    -------
    float | None
        The number, None if it is not finite or missing.

    Examples
    --------
    >>> finite(500.0), finite(math.nan), finite(None)
    (500.0, None, None)
    """
    return value if value is not None and math.isfinite(value) else None


def _in_json(value: object) -> object:
    """Return a value of a field as JSON has it."""
    if isinstance(value, tuple):
        return [_in_json(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else ("Infinity" if value > 0 else "-Infinity")
    return value


def _names_in(text: str) -> Set[str]:
    """Return the names of the fields in a JSON object; raises Damaged if the text is not a JSON object."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Damaged(text) from error
    if not isinstance(found, dict):
        raise Damaged(text)
    return found.keys()


@cache
def _shape(form: type) -> type[BaseModel]:
    """Return a model that checks a form's JSON; in an older form fields may be missing or unknown."""
    hints = get_type_hints(form)
    older = form is OlderResult
    names = [field.name for field in fields(form) if field.name not in ("kind", "differs", "text")]
    types: Any = {name: (_from_json(hints[name]), None if older else ...) for name in names}
    config = ConfigDict(extra="ignore" if older else "forbid", allow_inf_nan=False, strict=True)
    return create_model(form.__name__, __config__=config, **types)


def _from_json(hint: Any) -> Any:
    """Return the type that a field has in JSON."""
    parts = get_args(hint)
    if get_origin(hint) is tuple:
        return tuple.__class_getitem__((_from_json(parts[0]), ...))
    if type(None) in parts:
        (value,) = (part for part in parts if part is not type(None))
        return (value | NotFinite | None) if value is float else (_from_json(value) | None)
    return float | NotFinite | NullOfOld if hint is float else hint
