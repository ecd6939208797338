"""The settings of a night that verdicts rest on besides bands and places: calibration, crack limit, check standards.

A night that goes on may find other settings than it had. Each change is an event: `code` is the name of the setting,
`words` its new value, and `shaft` the last shaft judged before the change.

>>> told = [RunEvent(RunEventKind.SETTING, "bench-2", 0, code="calibration", shaft=7)]
>>> [(spell.after, spell.settings) for spell in spells({"calibration": "bench-1", "crack limit": "1.5 %"}, told)]
[(0, {'calibration': 'bench-1', 'crack limit': '1.5 %'}), (7, {'calibration': 'bench-2', 'crack limit': '1.5 %'})]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from midspan.measurement.definition import DEFINITION, OLDER_DEFINITION
from midspan.store.transit import RunEvent, RunEventKind

Settings = Mapping[str, str]
CALIBRATION = "calibration"
NONE = "none"


@dataclass(frozen=True, slots=True)
class Spell:
    """Settings that held for the shafts after a number, until the next spell.

    Parameters
    ----------
    after : int
        Number of the last shaft before; 0 for the start of the night.
    settings : Settings
        Settings by name.
    """

    after: int
    settings: Settings


@dataclass(frozen=True, slots=True)
class SettingChange:
    """A setting that changed.

    Parameters
    ----------
    name : str
        Its name.
    was : str
        Its value before, for people.
    now : str
        Its value now, for people.
    """

    name: str
    was: str
    now: str

    def __str__(self) -> str:
        return f"{self.name}: {self.now}, before {self.was}"


def settings(plan: Mapping[str, Any], calibration: str | None) -> Settings:
    """Return the settings of a plan.

    Parameters
    ----------
    plan : Mapping[str, Any]
        Plan as the journal keeps it.
    calibration : str | None
        Id of the calibration, None to leave it out.

    Returns
    -------
    Settings
        Values for people, by name of the setting.

    Examples
    --------
    >>> settings({"sort": {"crack_hysteresis_pct": 1.5}}, "bench-1")
    {'calibration': 'bench-1', 'crack limit': '1.5 %'}
    """
    known = {} if calibration is None else {CALIBRATION: calibration}
    standards = {
        f"check standard {bar['name']}": f"{bar['assigned_thou']:g} thou, u {bar['u_assigned_thou']:g}{_stated(bar)}"
        for bar in plan.get("standard", ())
    }
    return {**known, "crack limit": f"{plan['sort']['crack_hysteresis_pct']:g} %", **standards}


def _stated(bar: Mapping[str, Any]) -> str:
    """Return the definition of an assigned value after a comma, empty if it is stated for the reference condition."""
    definition = bar.get("definition", OLDER_DEFINITION)
    return "" if definition == DEFINITION else f", {definition}"


def spells(begun: Settings, events: Iterable[RunEvent]) -> list[Spell]:
    """Return the settings that held for each stretch of shafts.

    Parameters
    ----------
    begun : Settings
        Settings that the night began with.
    events : Iterable[RunEvent]
        Events of the night, oldest first.

    Returns
    -------
    list[Spell]
        The spells, oldest first; at least the first.
    """
    found = [Spell(0, begun)]
    for event in events:
        if event.kind is not RunEventKind.SETTING or event.code is None:
            continue
        changed = Spell(event.shaft or 0, {**found[-1].settings, event.code: event.words})
        if changed.after == found[-1].after:  # nothing was judged between the two
            found.pop()
        found.append(changed)
    return found


def changes(was: Settings, now: Settings) -> list[SettingChange]:
    """Return the settings that changed. A calibration that nothing was judged by yet cannot have changed.

    Parameters
    ----------
    was : Settings
        Settings before.
    now : Settings
        Settings now.

    Returns
    -------
    list[SettingChange]
        The changes, empty if there are none.

    Examples
    --------
    >>> [change.name for change in changes({"crack limit": "1.5 %"}, {"crack limit": "2 %"})]
    ['crack limit']
    """
    names = [name for name in dict.fromkeys((*was, *now)) if name != CALIBRATION or name in was]
    found = (SettingChange(name, was.get(name, NONE), now.get(name, NONE)) for name in names)
    return [change for change in found if change.was != change.now]
