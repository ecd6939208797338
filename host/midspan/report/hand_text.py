"""Results of the hand bench for people: all about one shaft, the budget before a bench is built, and JSON."""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from rich.table import Table

from midspan.base.formatting import angle, printable, with_uncertainty
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision
from midspan.hand_bench.bench import HandBench
from midspan.hand_bench.conversion import budget_of, sag_for, shares
from midspan.hand_bench.record import ShaftAndRoom
from midspan.hand_bench.result import HandResult
from midspan.measurement.definition import REFERENCE_WORDS
from midspan.measurement.shown_quantities import UNKNOWN, across_text, runout_text, spread_text
from midspan.report.result_text import detectable, json_line, speaking_against, spine_rows, stated_and_used, story_table
from midspan.uncertainty.budget import Budget, Coverage


def hand_story(
    result: HandResult, decision: Decision | None, k: float | None, *, details: bool = False
) -> Table:  # fmt: skip
    """Return what one shaft is, a row for each quantity.

    Parameters
    ----------
    result : HandResult
        The shaft's result.
    decision : Decision or None
        Its verdict, None where it was not judged.
    k : float or None
        Coverage factor, None for 95 %.
    details : bool
        True for the rows that say how it was measured too.

    Returns
    -------
    Table
        Names and texts.
    """
    rows = (*_quantities(result, k), *(_circumstances(result) if details else ()), *speaking_against(result))
    return story_table(rows, decision)


def _quantities(result: HandResult, k: float | None) -> Iterable[tuple[str, str]]:
    """Yield name and text of each measured quantity."""
    k_repeats = Coverage(factor=k).k(result.repeat_dof)
    yield "shaft", printable(f"{result.shaft} {result.label}").strip()
    yield from spine_rows(result, k)
    seen = "over a full turn" if result.sees_all else f"between {result.positions} positions; a full turn may hide more"
    yield "spread around", f"{spread_text(result, k)} {seen}"
    yield "", detectable(result.spread_floor_thou)
    yield "stiff side", _stiff_side(result, k_repeats)
    runout = runout_text(result, k)
    measured = f"{runout} at midspan"
    yield "runout", "not measured: set the dial to zero only once" if runout.number == UNKNOWN else measured
    yield "return", _return(result, k_repeats)


def _stiff_side(result: HandResult, k: float) -> str:
    """Return the stiff side as text, with the reason where it is not known."""
    if result.stiff_side_deg is None or result.u_stiff_side_deg is None:
        return "none: the shaft is too even" if result.sees_all else "unknown: read five clock positions or more"
    return f"{angle(result.stiff_side_deg)}° (± {k * result.u_stiff_side_deg:.2g}°) from the first mark"


def _return(result: HandResult, k: float) -> str:
    """Return the missing return of the dial, or how to measure it."""
    if result.hysteresis_pct is None or result.u_hysteresis_pct is None:
        return "not measured: read the dial again unloaded"
    text = with_uncertainty(result.hysteresis_pct, k * result.u_hysteresis_pct, 2)
    return f"{text} % of the deflection at a tenth of the load"


def _circumstances(result: HandResult) -> Iterable[tuple[str, str]]:
    """Yield name and text of what the result was made from."""
    sunk = result.deflection_mm
    yield "as measured", f"{sunk:.3f} mm under {result.load_n:.4f} N on {result.span_mm:g} mm"
    warmth = "temperature not measured" if result.temperature_c is None else f"{result.temperature_c:.1f} °C"
    yield "stated for", f"{REFERENCE_WORDS} ({warmth})"
    yield "diameter", "not measured" if result.diameter_mm is None else f"{result.diameter_mm:g} mm"
    scatter = f"scatter {across_text(result.repeat_scatter_thou)}"
    yield "readings", f"{result.readings} at {result.positions} clock positions, {scatter}"
    by = f" by {printable(result.operator)}" if result.operator else ""
    yield "made", f"on hand bench {printable(result.calibration)}{by}, evaluation {result.evaluation}"


def expected_budget(bench: HandBench, spine_thou: float, repeat_thou: float, readings: int) -> Budget:
    """Return the budget that a shaft of this spine will have on a bench, before anything is measured.

    `repeat_thou` is the scatter of single readings, `readings` their number at eight clock positions. Where the file
    has the temperature of its span, that of the room is expected to be read as well.

    Parameters
    ----------
    bench : HandBench
        The bench.
    spine_thou : float
        Expected spine, thou.
    repeat_thou : float
        Scatter of single readings, thou.
    readings : int
        Readings at eight clock positions.

    Returns
    -------
    Budget
        Budget of the mean spine, thou.

    Examples
    --------
    >>> from midspan.hand_bench.bench import EXAMPLE
    >>> round(expected_budget(HandBench.model_validate(EXAMPLE), 500.0, 0.3, 16).u, 2)
    0.77
    """
    at = ShaftAndRoom(temperature_c=bench.span.temperature_c)
    u_inputs, sensitivities = shares(bench, sag_for(bench, spine_thou, at), repeat_thou / readings**0.5, at)
    return budget_of(u_inputs, sensitivities, readings - 3)


def expected_table(bench: HandBench, spines_thou: Sequence[float], repeat_thou: float, readings: int) -> Table:
    """Return the expected budgets of several spines side by side, thou.

    Parameters
    ----------
    bench : HandBench
        The bench.
    spines_thou : Sequence[float]
        Spines to expect, thou.
    repeat_thou : float
        Scatter of single readings, thou.
    readings : int
        Readings of each shaft at eight clock positions.

    Returns
    -------
    Table
        A row for each cause, then u and U for 95 %.
    """
    budgets = [expected_budget(bench, spine, repeat_thou, readings) for spine in spines_thou]
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("cause of u(spine), thou")
    table.add_column("known to", justify="right")
    for spine in spines_thou:
        table.add_column(f"at {spine:g}", justify="right")
    for i, part in enumerate(budgets[0].contributions):
        known = f"{part.u_input:.2g} {part.unit}"
        table.add_row(part.name, known, *(f"{budget.contributions[i].u:.3f}" for budget in budgets))
    table.add_row("together", "", *(f"{budget.u:.3f}" for budget in budgets), style="bold")
    table.add_row("U (95 %)", "", *(f"{budget.expanded():.2f}" for budget in budgets), style="bold")
    return table


def hand_json(
    result: HandResult,
    decision: Decision | None,
    bands: Bands | None = None,
    also: Mapping[str, object] = MappingProxyType({}),
) -> str:
    """Return a result as one JSON object on one line, with its budget and verdict.

    Parameters
    ----------
    result : HandResult
        The shaft's result.
    decision : Decision or None
        Its verdict, None where it was not judged.
    bands : Bands or None
        Bands of which the share that is used is said too; None to leave that out.
    also : Mapping[str, object]
        Further values that JSON can hold.

    Returns
    -------
    str
        The line, without a line break.
    """
    budget = result.budget
    values = {**result.as_dict(), **stated_and_used(result, bands), **also}
    values["budget"] = {part.name: part.u for part in budget.contributions}
    values["k"], values["U_spine_thou"] = budget.k(), budget.expanded()
    if decision is not None:
        values |= {"outcome": decision.outcome.value, "bin": decision.bin, "reasons": list(decision.reasons)}
    return json_line(values)
