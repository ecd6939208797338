"""Results for people: tables, everything about one shaft, and JSON.

Values carry their expanded uncertainty. Verdicts are words, not colours alone.
"""

import json
import math
import os
import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from midspan.base.formatting import angle, printable, with_uncertainty
from midspan.base.plain_text import shown
from midspan.base.units import MM_PER_THOU
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Outcome
from midspan.decision.tolerance import tolerance_as_plain
from midspan.hand_bench.result import HandResult
from midspan.measurement.definition import REFERENCE_WORDS
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.spine_budget import CAUSES
from midspan.uncertainty.budget import Coverage

LOOK = {
    Outcome.ACCEPTED: "",
    Outcome.REJECTED: "dim",
    Outcome.DOUBTFUL: "italic",
    Outcome.INSTRUMENT_FAULT: "bold reverse",
}
MANY = 5000
NOTHING_THOU = 1e-9  # a smaller share is rounding
WIDE = 120  # columns that the whole table needs
Row = tuple[ShaftResult | Unmeasured, Decision | None]


def results_table(rows: Iterable[Row], k: float | None, *, wide: bool = True) -> Table:
    """Return one row per shaft: each quantity with its U, and the verdict.

    Parameters
    ----------
    rows : Iterable[tuple[ShaftResult or Unmeasured, Decision or None]]
        Results with their verdicts.
    k : float or None
        Coverage factor; None covers 95 %, and k stands beside each spine.
    wide : bool
        False for a narrow table of spine, spread and verdict.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption=_legend(k, wide), caption_justify="left")
    table.add_column("shaft", no_wrap=True)
    headings = ["spine", *(["k"] if k is None else []), "spread"]
    for heading in [*headings, "stiff side", "runout", "hysteresis"] if wide else headings:
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for result, decision in rows:
        name = printable(f"{result.shaft} {result.label}")
        cells = _cells(result, k) if isinstance(result, ShaftResult) else ("-",) * (len(headings) + 3)
        style = LOOK[decision.outcome] if decision else ""
        table.add_row(name, *(cells if wide else cells[: len(headings)]), brief(decision), style=style)
    return table


def _legend(k: float | None, wide: bool) -> str:
    """Return the units of the columns and what U covers."""
    quantities = "spine, spread and runout" if wide else "spine and spread"
    stiff_side = "; stiff side in degrees from the first reading" if wide else ""
    return f"{quantities} in thou (28 in, 880 g) ± {Coverage(factor=k).words}{stiff_side}"


def _cells(result: ShaftResult, k: float | None) -> tuple[str, ...]:
    """Return the cells of a measured shaft."""
    cover = Coverage(factor=k)
    k_spine, k_spread, k_runout = (cover.k(dof) for dof in (result.dof_spine, result.dof_spread, result.dof_runout))
    return (
        with_uncertainty(result.spine_thou, k_spine * result.u_spine_thou, 2),
        *([f"{k_spine:.2f}"] if k is None else []),
        with_uncertainty(result.spread_thou, k_spread * result.u_spread_thou, 2),
        angle(result.stiff_side_deg),
        with_uncertainty(result.runout_mm / MM_PER_THOU, k_runout * result.u_runout_mm / MM_PER_THOU, 2),
        f"{result.hysteresis_pct:z.2f} %",
    )


def brief(decision: Decision | None) -> str:
    """Return the verdict for a table: the bin, or the outcome with the first sentence of its first reason.

    Parameters
    ----------
    decision : Decision or None
        The verdict.

    Returns
    -------
    str
        A short text, empty without a verdict.
    """
    if decision is None:
        return ""
    if decision.bin is not None:
        return f"{decision.bin}, near its border" if decision.reasons else decision.bin
    return f"{decision.outcome.value}: {decision.reasons[0].split('. ')[0]}"


def verdict_words(decision: Decision) -> str:
    """Return the whole verdict: the bin or the outcome, and every reason.

    Parameters
    ----------
    decision : Decision
        The verdict.

    Returns
    -------
    str
        As in "doubtful: it scatters".
    """
    reasons = "; ".join(decision.reasons)
    name = decision.bin or decision.outcome.value
    return f"{name}: {reasons}" if reasons else name


def counts_table(decisions: Iterable[Decision]) -> Table:
    """Return how many shafts went to each bin or have each outcome.

    Parameters
    ----------
    decisions : Iterable[Decision]
        Verdicts.

    Returns
    -------
    Table
        Most first.
    """
    counts = Counter(decision.bin or decision.outcome.value for decision in decisions)
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("went to")
    table.add_column("shafts", justify="right")
    for name, number in counts.most_common():
        table.add_row(name, str(number))
    return table


def shaft_story(result: ShaftResult, decision: Decision | None, k: float | None) -> Table:
    """Return everything about one shaft, a row for each quantity, in thou and mm.

    Parameters
    ----------
    result : ShaftResult
        Its result.
    decision : Decision or None
        Its verdict, None where it was not judged.
    k : float or None
        Coverage factor, None to cover 95 %.

    Returns
    -------
    Table
        Names and texts.
    """
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    for name, text in story(result, k):
        table.add_row(name, text)
    if decision is not None:
        table.add_row("verdict", verdict_words(decision))
    return table


def story(result: ShaftResult, k: float | None) -> Iterable[tuple[str, str]]:
    """Yield everything about one shaft, a name and a text at a time.

    Parameters
    ----------
    result : ShaftResult
        Its result.
    k : float or None
        Coverage factor, None to cover 95 %.

    Yields
    ------
    tuple[str, str]
        Name and text; the name is empty where the line before goes on.
    """
    mm = MM_PER_THOU
    cover = Coverage(factor=k)
    k_spine, k_spread = cover.k(result.dof_spine), cover.k(result.dof_spread)
    yield "shaft", printable(f"{result.shaft} {result.label}").strip()
    spine, u_spine = result.spine_thou, k_spine * result.u_spine_thou
    yield "static spine", f"{with_uncertainty(spine, u_spine)} thou ({with_uncertainty(spine * mm, u_spine * mm)} mm)"
    yield "", f"± {cover.words}: k = {k_spine:.2f}, {_freedom(result.dof_spine)} degrees of freedom"
    alike = cover.k(result.dof_spine) * result.u_spine_thou * math.sqrt(2)
    yield "another gauge", f"built and calibrated alike shows the same shaft within {alike:.2f} thou"
    yield "stated for", f"{REFERENCE_WORDS} ({_temperature(result.temperature_c)})"
    yield "26 in, 2 lb", f"{with_uncertainty(result.older_lb, k_spine * result.u_older_lb)} lb"
    yield (
        "spread around",
        f"{with_uncertainty(result.spread_thou, k_spread * result.u_spread_thou)} thou over a full turn",
    )
    yield "noise floor", f"{result.spread_floor_thou:.3f} thou: a smaller spread is not told from an even shaft"
    four = with_uncertainty(result.four_reading_thou, k_spread * result.u_four_reading_thou)
    yield "four readings", f"{four} thou between readings at 0, 90, 180, 270° (ASTM F2031)"
    yield "stiff side", _stiff_side(result, cover.k(None))
    runout = with_uncertainty(result.runout_mm, cover.k(result.dof_runout) * result.u_runout_mm)
    yield "runout", f"{runout} mm at midspan ({result.runout_mm / mm:.1f} thou)"
    hysteresis = with_uncertainty(result.hysteresis_pct, cover.k(None) * result.u_hysteresis_pct)
    yield "hysteresis", f"{hysteresis} % of the light force"
    yield "slip", f"{result.slip_pct:+.2f} % off the roller's nominal ratio"
    yield "readings", f"{result.readings} used, {result.left_out} left out, cycle {result.duration_ms / 1000:.1f} s"
    yield "made by", f"gauge {result.gauge}, calibration {result.calibration}, evaluation {result.evaluation}"
    for kind, sentences in (("doubt", result.doubts), ("fault", result.faults)):
        for sentence in sentences:
            yield kind, sentence


def _temperature(temperature_c: float | None) -> str:
    """Return the temperature of measuring as text."""
    return "not measured" if temperature_c is None else f"{temperature_c:.1f} °C"


def _freedom(dof: float | None) -> str:
    """Return degrees of freedom in words; above some thousands they make no difference to infinitely many."""
    return "very many" if dof is None or dof > MANY else f"{dof:.0f}"


def _stiff_side(result: ShaftResult, k: float) -> str:
    """Return the stiff side with its uncertainty, or why there is none."""
    if result.stiff_side_deg is None or result.u_stiff_side_deg is None:
        return "none that may be named: too even, or the angle is not known"
    return f"{angle(result.stiff_side_deg)}° (± {k * result.u_stiff_side_deg:.2g}°) from the first reading"


def budget_table(result: ShaftResult | HandResult) -> Table:
    """Return what the uncertainty of the mean spine comes from, largest cause first.

    Parameters
    ----------
    result : ShaftResult or HandResult
        The result.

    Returns
    -------
    Table
        A row for each cause, and their root sum of squares.
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("cause of u(spine)")
    for heading in ("known to", "thou per unit", "thou"):
        table.add_column(heading, justify="right")
    for part in sorted(result.budget.contributions, key=lambda part: -part.u):
        known = part.u_input if part.u > NOTHING_THOU else 0.0
        table.add_row(part.name, f"{known:.2g} {part.unit}", f"{part.sensitivity:.4g}", f"{part.u:.3f}")
    table.add_row("together", "", "", f"{result.budget.u:.3f}", style="bold")
    return table


def ports_table(rows: Iterable[tuple[str, ...]]) -> Table:
    """Return one row per serial port.

    Parameters
    ----------
    rows : Iterable[tuple[str, ...]]
        Name, USB id, serial number and description.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("port", "usb id", "serial number", "description"):
        table.add_column(heading)
    for row in rows:
        table.add_row(*row)
    return table


def as_json(
    result: ShaftResult | Unmeasured,
    decision: Decision | None,
    bands: Bands | None = None,
    also: Mapping[str, object] = MappingProxyType({}),
) -> str:
    """Return a result as one JSON object on one line, with its verdict.

    A number that is not finite becomes null; the verdict says what was wrong with it.

    Parameters
    ----------
    result : ShaftResult or Unmeasured
        The result.
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
    if isinstance(result, Unmeasured):
        values: dict[str, object] = {"shaft": result.shaft, "label": result.label, "unmeasured": list(result.reasons)}
    else:
        values = result.as_dict()
        values["budget"] = {name: part.u for (name, _), part in zip(CAUSES, result.budget.contributions, strict=True)}
        values["intercept_mm"], values["u_intercept_mm"] = result.surface_mm[0], result.u_surface_mm[0]
        values |= {**stated_and_used(result, bands), **also}
    if decision is not None:
        values["outcome"] = decision.outcome.value
        values["bin"] = decision.bin
        values["reasons"] = list(decision.reasons)
    return json_line(values)


def stated_and_used(result: ShaftResult | HandResult, bands: Bands | None) -> dict[str, object]:
    """Return what a spine is stated for, in words, and how much of its tolerances the shaft uses.

    Parameters
    ----------
    result : ShaftResult or HandResult
        The result.
    bands : Bands or None
        Bands, None to leave the tolerances out.

    Returns
    -------
    dict[str, object]
        Values that JSON can hold: "definition_in_words" and, with bands, "tolerance".
    """
    words: dict[str, object] = {"definition_in_words": REFERENCE_WORDS}
    return words if bands is None else words | {"tolerance": tolerance_as_plain(result, bands)}


def json_line(values: Mapping[str, object]) -> str:
    """Return one JSON object on one line; a number that is not finite becomes null, because JSON cannot write it.

    Parameters
    ----------
    values : Mapping[str, object]
        Values that JSON can hold.

    Returns
    -------
    str
        The line, without a line break.

    Examples
    --------
    >>> json_line({"spine_thou": float("nan"), "shaft": 7})
    '{"spine_thou": null, "shaft": 7}'
    """
    try:
        return json.dumps(values, allow_nan=False)
    except ValueError:
        finite = json.loads(json.dumps(values), parse_constant=lambda _: None)
        return json.dumps(finite, allow_nan=False)


class _Screen(Console):
    """A console that prints text as it is, without control characters; brackets are not markup."""

    def __init__(self, stream: Any, width: int | None) -> None:
        beneath = getattr(stream, "styled", stream)
        super().__init__(file=beneath, width=width, markup=False, emoji=False, highlight=False)

    def render_str(self, text: str, **how: Any) -> Text:
        """Return text ready for layout; characters the screen lacks are replaced before columns are measured."""
        return super().render_str(shown(text, self.encoding), **how)


def console(*, stderr: bool = False) -> Console:
    """Return standard output or error as a console.

    It is wide enough for the tables if it is no terminal and COLUMNS is not set.

    Parameters
    ----------
    stderr : bool
        True for standard error.

    Returns
    -------
    Console
        A console that prints text as it is.
    """
    stream = sys.stderr if stderr else sys.stdout
    known = stream.isatty() or "COLUMNS" in os.environ
    return _Screen(stream, None if known else WIDE)
