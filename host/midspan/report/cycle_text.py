"""A cycle for people and programs: its settings, seconds by phase, shafts an hour, and the scatter of its results."""

import json
from dataclasses import asdict

from rich.console import Group
from rich.table import Table

from midspan.base.formatting import places_for
from midspan.base.units import MM_PER_THOU
from midspan.measurement.cycle_cost import CycleCost
from midspan.measurement.cycle_settings import STANDARD, CycleSettings
from midspan.measurement.shown_quantities import in_shown_unit, shown_unit

SETTINGS = {
    "readings_per_turn": "readings in a turn",
    "light_turns": "turns at each light depth",
    "full_turns": "turns at the full depth",
    "zero_readings": "readings of a zero",
    "settle_readings": "readings left to settle",
    "press_mm_s": "head down, mm/s",
    "approach_mm_s": "head towards the light depth, mm/s",
    "lift_mm_s": "head on its way home, mm/s",
    "light_share": "light load, of the standard load",
    "takeup_mm": "way back to the light depth, mm",
    "seat_turns": "turns to seat the shaft",
    "zero_in_middle": "a zero in the middle",
    "back_and_forth": "turns back after each turn",
}
SCATTERS = {
    "spine_thou": ("spine", "thou", 1.0),
    "spread_thou": ("spread", "thou", 1.0),
    "side_deg": ("stiff side", "deg", 1.0),
    "runout_mm": ("runout", "thou", MM_PER_THOU),
}


def cycle_story(cost: CycleCost) -> Group:
    """Return a cycle as tables and a line.

    Parameters
    ----------
    cost : CycleCost
        Time and scatter of the cycle.

    Returns
    -------
    Group
        What to print on a console.
    """
    return Group(
        _settings_table(cost.settings), "", _seconds_table(cost), "", _scatter_table(cost), "", hourly_words(cost)
    )


def hourly_words(cost: CycleCost) -> str:
    """Return a sentence with the duration of a cycle and the shafts an hour.

    Parameters
    ----------
    cost : CycleCost
        Time and scatter of the cycle.

    Returns
    -------
    str
        The sentence.
    """
    return (
        f"{cost.cycle_s:.1f} s a cycle, {cost.sampled_share:.0%} of it readings that make the result; with "
        f"{cost.feeding_s:g} s to feed a shaft {cost.shafts_an_hour:.0f} shafts an hour."
    )


def _table(*headings: str) -> Table:
    """Return an empty table whose first column is words and whose others are values."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column(headings[0], no_wrap=True)
    for heading in headings[1:]:
        table.add_column(heading, justify="right", no_wrap=True)
    return table


def _settings_table(settings: CycleSettings) -> Table:
    """Return each setting with its key, and that of the standard cycle beside it."""
    table = _table("setting", "key of [cycle]", "here", "standard")
    for key, words in SETTINGS.items():
        here, standard = (_value(getattr(of, key)) for of in (settings, STANDARD))
        table.add_row(words, key, here, standard, style="" if here == standard else "bold")
    return table


def _value(value: object) -> str:
    """Return a setting in words."""
    if value is None:
        return "by the gauge"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _seconds_table(cost: CycleCost) -> Table:
    """Return the seconds of each phase and their share."""
    table = _table("phase", "seconds", "of the cycle")
    for name, seconds in cost.seconds.items():
        table.add_row(name.lower().replace("_", " "), f"{seconds:.2f}", f"{seconds / cost.cycle_s:.0%}")
    table.add_row("whole cycle", f"{cost.cycle_s:.2f}", "100%", style="bold")
    return table


def _scatter_table(cost: CycleCost) -> Table:
    """Return the scatter of each quantity between cycles."""
    table = _table("scatter between cycles, 1 sigma", "at least", "")
    for key, (words, unit, size) in SCATTERS.items():
        sigma = getattr(cost.repeatability, key) / size
        known = sigma < float("inf")
        shown = in_shown_unit(sigma, unit) if known else sigma
        table.add_row(words, f"{shown:.{places_for(shown)}f}" if known else "unknown", shown_unit(unit))
    return table


def cycle_json(cost: CycleCost) -> str:
    """Return a cycle as JSON.

    Parameters
    ----------
    cost : CycleCost
        Time and scatter of the cycle.

    Returns
    -------
    str
        JSON text; an angle that nothing tells is null.
    """
    scatter = {key: value if value < float("inf") else None for key, value in asdict(cost.repeatability).items()}
    return json.dumps({
        "settings": cost.settings.model_dump(), "readings_per_turn": cost.readings_per_turn, "seconds": cost.seconds,
        "cycle_s": cost.cycle_s, "sampled_share": cost.sampled_share, "feeding_s": cost.feeding_s,
        "shafts_an_hour": cost.shafts_an_hour, "scatter": scatter,
    })  # fmt: skip
