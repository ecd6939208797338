"""What the verdicts of a night rest on besides bands and places: calibration, crack limit, values of check standards.

A night that goes on may find others than it had. Each is an event of its own: `code` says what it is, `words` its
new value, and `shaft` the last one that was judged before.

>>> told = [RunEvent(RunEventKind.SETTING, "bench-2", 0, code="calibration", shaft=7)]
>>> [(one.after, one.settings) for one in spells({"calibration": "bench-1", "crack limit": "1.5 %"}, told)]
[(0, {'calibration': 'bench-1', 'crack limit': '1.5 %'}), (7, {'calibration': 'bench-2', 'crack limit': '1.5 %'})]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from midspan.store.transit import RunEvent, RunEventKind

Settings = Mapping[str, str]
CALIBRATION = "calibration"
NONE = "none"


@dataclass(frozen=True, slots=True)
class Spell:
    """What held for the shafts after the one with this number, until the next spell."""

    after: int
    settings: Settings


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One setting that is not what it was."""

    name: str
    was: str
    now: str

    def __str__(self) -> str:
        return f"{self.name}: {self.now}, before {self.was}"


def settings(plan: Mapping[str, Any], calibration: str | None) -> Settings:
    """Settings by name: those of a plan as the journal keeps it, and the calibration's id unless that is None."""
    known = {} if calibration is None else {CALIBRATION: calibration}
    standards = {
        f"check standard {one['name']}": f"{one['assigned_thou']:g} thou, u {one['u_assigned_thou']:g}"
        for one in plan.get("standard", ())
    }
    return {**known, "crack limit": f"{plan['sort']['crack_hysteresis_pct']:g} %", **standards}


def spells(begun: Settings, events: Iterable[RunEvent]) -> list[Spell]:
    """What held for which shafts, oldest first; `begun` are the settings that the night began with."""
    found = [Spell(0, begun)]
    for one in events:
        if one.kind is not RunEventKind.SETTING or one.code is None:
            continue
        changed = Spell(one.shaft or 0, {**found[-1].settings, one.code: one.words})
        if changed.after == found[-1].after:  # nothing was judged between the two
            found.pop()
        found.append(changed)
    return found


def changes(was: Settings, now: Settings) -> list[SettingChange]:
    """What is another than it was. A calibration by which nothing was judged yet is none that could change."""
    names = [name for name in dict.fromkeys((*was, *now)) if name != CALIBRATION or name in was]
    found = (SettingChange(name, was.get(name, NONE), now.get(name, NONE)) for name in names)
    return [one for one in found if one.was != one.now]
