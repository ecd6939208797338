"""Results for people: tables, everything about one shaft, and JSON.

Each ± is the 95 % range. Verdicts are words, not colours alone.
"""

import json
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
from midspan.base.shown_units import WoodSpine, shown_units
from midspan.decision.bands import Bands
from midspan.decision.decision import Decision, Outcome
from midspan.decision.tolerance import tolerance_as_plain
from midspan.hand_bench.result import HandResult
from midspan.measurement.definition import REFERENCE_WORDS
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.measurement.shown_quantities import (
    UNKNOWN,
    across_text,
    across_unit,
    expanded_thou,
    meaning,
    runout_text,
    sentence_text,
    spine_convention,
    spine_text,
    spine_unit,
    spread_text,
)
from midspan.measurement.spine_budget import CAUSES
from midspan.uncertainty.budget import Coverage

LOOK = {
    Outcome.ACCEPTED: "",
    Outcome.REJECTED: "dim",
    Outcome.DOUBTFUL: "italic",
    Outcome.INSTRUMENT_FAULT: "bold reverse",
}
WIDE = 120  # columns that the whole table needs
Row = tuple[ShaftResult | Unmeasured, Decision | None]


def results_table(rows: Iterable[Row], k: float | None, *, wide: bool = True) -> Table:
    """Return one row per shaft: each quantity with its ±, and the verdict.

    Parameters
    ----------
    rows : Iterable[tuple[ShaftResult or Unmeasured, Decision or None]]
        Results with their verdicts.
    k : float or None
        Coverage factor, None for 95 %.
    wide : bool
        False for a narrow table of spine, spread and verdict.

    Returns
    -------
    Table
        The rows, in the order given.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption=_legend(k, wide), caption_justify="left")
    table.add_column("shaft", no_wrap=True)
    across = across_unit()
    headings = [f"spine, {spine_unit()}", f"spread, {across}"]
    for heading in [*headings, "stiff side", f"runout, {across}", "hysteresis"] if wide else headings:
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict")
    for result, decision in rows:
        name = printable(f"{result.shaft} {result.label}")
        cells = _cells(result, k) if isinstance(result, ShaftResult) else (UNKNOWN,) * (len(headings) + 3)
        style = LOOK[decision.outcome] if decision else ""
        table.add_row(name, *(cells if wide else cells[: len(headings)]), brief(decision), style=style)
    return table


def _legend(k: float | None, wide: bool) -> str:
    """Return what a spine and a ± are, and from where the stiff side is counted."""
    stiff_side = "; stiff side in degrees from the first reading" if wide else ""
    return f"spine: {spine_convention()}; {meaning(k)}{stiff_side}"


def _cells(result: ShaftResult, k: float | None) -> tuple[str, ...]:
    """Return the cells of a measured shaft."""
    return (
        spine_text(result, k).cell,
        spread_text(result, k).cell,
        angle(result.stiff_side_deg),
        runout_text(result, k).cell,
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
    return f"{decision.outcome.value}: {sentence_text(decision.reasons[0]).split('. ')[0]}"


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
    reasons = "; ".join(map(sentence_text, decision.reasons))
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


def shaft_story(
    result: ShaftResult, decision: Decision | None, k: float | None, *, details: bool = False
) -> Table:  # fmt: skip
    """Return what one shaft is, a row for each quantity.

    Parameters
    ----------
    result : ShaftResult
        Its result.
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
    return story_table(whole_story(result, k, details=details), decision)


def story_table(rows: Iterable[tuple[str, str]], decision: Decision | None) -> Table:
    """Return names and texts as a table, with the verdict at its end.

    Parameters
    ----------
    rows : Iterable[tuple[str, str]]
        Name and text of each row.
    decision : Decision or None
        Verdict, None where the shaft was not judged.

    Returns
    -------
    Table
        The rows.
    """
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    for name, text in rows:
        table.add_row(name, text)
    if decision is not None:
        table.add_row("verdict", verdict_words(decision))
    return table


def spine_rows(result: ShaftResult | HandResult, k: float | None) -> Iterable[tuple[str, str]]:
    """Yield the spine of a shaft in the chosen units, and its span and load; beside pounds alone the deflection too.

    Parameters
    ----------
    result : ShaftResult or HandResult
        The result.
    k : float or None
        Coverage factor, None for 95 %.

    Yields
    ------
    tuple[str, str]
        Name and text.
    """
    yield "static spine", str(spine_text(result, k))
    yield "", f"{spine_convention()}; {meaning(k)}"
    if shown_units().wood is WoodSpine.POUNDS:
        yield "28 in, 880 g", str(across_text(result.spine_thou, expanded_thou(result, k)))


def whole_story(
    result: ShaftResult, k: float | None = None, *, details: bool = True
) -> Iterable[tuple[str, str]]:  # fmt: skip
    """Yield what one shaft is, how it was measured, and what speaks against the result.

    Parameters
    ----------
    result : ShaftResult
        Its result.
    k : float or None
        Coverage factor, None for 95 %.
    details : bool
        False to leave out how it was measured.

    Yields
    ------
    tuple[str, str]
        Name and text; the name is empty where the line before goes on.
    """
    yield from story(result, k)
    if details:
        yield from story_details(result, k)
    yield from speaking_against(result)


def story(result: ShaftResult, k: float | None) -> Iterable[tuple[str, str]]:
    """Yield what one shaft is, a name and a text at a time.

    Parameters
    ----------
    result : ShaftResult
        Its result.
    k : float or None
        Coverage factor, None for 95 %.

    Yields
    ------
    tuple[str, str]
        Name and text; the name is empty where the line before goes on.
    """
    cover = Coverage(factor=k)
    yield "shaft", printable(f"{result.shaft} {result.label}").strip()
    yield from spine_rows(result, k)
    yield "spread around", f"{spread_text(result, k)} over a full turn"
    yield "", detectable(result.spread_floor_thou)
    yield "stiff side", _stiff_side(result, cover.k(None))
    yield "runout", f"{runout_text(result, k)} at midspan"
    hysteresis = with_uncertainty(result.hysteresis_pct, cover.k(None) * result.u_hysteresis_pct, 2)
    yield "hysteresis", f"{hysteresis} %"


def story_details(result: ShaftResult, k: float | None) -> Iterable[tuple[str, str]]:
    """Yield how one shaft was measured and what else was found, a name and a text at a time.

    Parameters
    ----------
    result : ShaftResult
        Its result.
    k : float or None
        Coverage factor, None for 95 %.

    Yields
    ------
    tuple[str, str]
        Name and text.
    """
    yield "stated for", f"{REFERENCE_WORDS} ({_temperature(result.temperature_c)})"
    four = across_text(result.four_reading_thou, Coverage(factor=k).k(result.dof_spread) * result.u_four_reading_thou)
    yield "four readings", f"{four} between readings at 0, 90, 180, 270° (ASTM F2031)"
    yield "slip", f"{result.slip_pct:+.2f} % off the roller's nominal ratio"
    yield "readings", f"{result.readings} used, {result.left_out} left out, cycle {result.duration_ms / 1000:.1f} s"
    yield "made by", f"gauge {result.gauge}, calibration {result.calibration}, evaluation {result.evaluation}"


def speaking_against(result: ShaftResult | HandResult) -> Iterable[tuple[str, str]]:
    """Yield doubts and faults of a result, a name and a text at a time.

    Parameters
    ----------
    result : ShaftResult or HandResult
        The result.

    Yields
    ------
    tuple[str, str]
        "doubt" or "fault", and the sentence.
    """
    for kind, sentences in (("doubt", result.doubts), ("fault", result.faults)):
        for sentence in sentences:
            yield kind, sentence_text(sentence)


def detectable(floor_thou: float) -> str:
    """Return the smallest spread that a measurement could detect, in words.

    Parameters
    ----------
    floor_thou : float
        That spread, thou.

    Returns
    -------
    str
        A clause.
    """
    return f"smallest spread this run could detect: {across_text(floor_thou)}"


def _temperature(temperature_c: float | None) -> str:
    """Return the temperature of measuring as text."""
    return "not measured" if temperature_c is None else f"{temperature_c:.1f} °C"


def _stiff_side(result: ShaftResult, k: float) -> str:
    """Return the stiff side with its uncertainty, or why there is none."""
    if result.stiff_side_deg is None or result.u_stiff_side_deg is None:
        return "none: the shaft is too even, or the angle is not known"
    return f"{angle(result.stiff_side_deg)}° (± {k * result.u_stiff_side_deg:.2g}°) from the first reading"


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
