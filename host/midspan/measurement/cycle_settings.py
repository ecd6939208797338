"""Settings of a measuring cycle, as a table `[cycle]` of a calibration file or of a night's plan states them.

More readings cost time and lower the scatter. The scatter is a small part of the uncertainty of a spine, so STANDARD
is fast; DEEP is for what other results rest on: calibrations and assigned values.

>>> CycleSettings(full_turns=6.0).readings_per_turn == STANDARD.readings_per_turn
True
"""

from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from midspan.base.config import Section, read_toml, validated
from midspan.base.errors import ConfigurationError

FILTER_READINGS = 4  # conversions that the filter of a usual converter spans: so long it remembers a motion
MmPerS = Annotated[float, Field(gt=0, le=100)]


class CycleSettings(Section):
    """How a shaft is measured: readings, turns, zeros and speeds.

    Parameters
    ----------
    readings_per_turn : int
        Readings in a turn of the shaft. The harmonics reach three times a turn, so fewer than 24 would leave no room
        for readings that are left out.
    light_turns : float
        Turns at each of both visits to the light depth; whole ones, or a bow's high side weighs more than its low one.
    full_turns : float
        Turns at the full depth. Only there is the pattern of the stiffness much above the noise, so that the period of
        a straight shaft, and with it the angle of its stiff side, comes from these turns: more of them help more.
    zero_readings : int
        Readings of each zero.
    settle_readings : int
        Readings after each motion that are not used; at least as many as the converter's filter spans.
    press_mm_s : float or None
        Speed of the head down to the clearance and to the full depth, mm/s; None for 16, or less if the gauge allows
        less.
    approach_mm_s : float or None
        Speed of the head towards the light depth, mm/s; None for 10, or less if the gauge allows less.
    lift_mm_s : float or None
        Speed of the head on its way home, mm/s; None for 30, or less if the gauge allows less.
    light_share : float
        Light load as a share of the standard load. It holds the shaft on its rollers and is far below the full load.
    takeup_mm : float
        Way above the light depth from which the head comes back to it, mm: several times the backlash of screw and nut.
    seat_turns : float
        Turns before the first zero, so that the shaft settles on its rollers.
    zero_in_middle : bool
        True to lift the head after the full depth and take a zero there too.
    back_and_forth : bool
        True to turn back after each turn: what the converter's filter delays then has the other sign.

    Examples
    --------
    >>> CycleSettings(readings_per_turn=44, back_and_forth=True).full_turns
    4.0
    """

    readings_per_turn: Annotated[int, Field(ge=24, le=2000)] = 42
    light_turns: Annotated[float, Field(ge=1, le=20)] = 2.0
    full_turns: Annotated[float, Field(ge=1, le=20)] = 4.0
    zero_readings: Annotated[int, Field(ge=5, le=1000)] = 15
    settle_readings: Annotated[int, Field(ge=FILTER_READINGS, le=100)] = FILTER_READINGS + 1
    press_mm_s: MmPerS | None = None
    approach_mm_s: MmPerS | None = None
    lift_mm_s: MmPerS | None = None
    light_share: Annotated[float, Field(ge=0.05, le=0.5)] = 0.10
    takeup_mm: Annotated[float, Field(ge=0.05, le=2)] = 0.25
    seat_turns: Annotated[float, Field(ge=0, le=5)] = 0.25
    zero_in_middle: bool = False
    back_and_forth: bool = False


STANDARD = CycleSettings()
DEEP = CycleSettings(readings_per_turn=160, zero_readings=40)
PRESETS = {"standard": STANDARD, "deep": DEEP}


def _preset(given: Any) -> Any:
    """Return the settings of a preset by its name, anything else as it is; ValueError for an unknown name."""
    if not isinstance(given, str):
        return given
    if given not in PRESETS:
        raise ValueError(f"cycle = {given[:40]!r} is not known; write {' or '.join(PRESETS)}, or a table [cycle]")
    return PRESETS[given]


Cycle = Annotated[CycleSettings, BeforeValidator(_preset)]  # a table of settings, or the name of a preset


class _CycleFile(Section):
    """The part of a file that states a cycle."""

    cycle: Cycle


def chosen_cycle(given: str) -> CycleSettings:
    """Return the settings of a cycle by the name of a preset or of a file.

    Parameters
    ----------
    given : str
        Name of a preset, or of a TOML file with a table or name `cycle`: a calibration, the plan of a night, or a file
        of its own.

    Returns
    -------
    CycleSettings
        The settings.

    Raises
    ------
    ConfigurationError
        There is no such preset or file, the file has no cycle, or a key is wrong.

    Examples
    --------
    >>> chosen_cycle("deep").readings_per_turn
    160
    """
    if given in PRESETS:
        return PRESETS[given]
    path, names = Path(given), ", ".join(PRESETS)
    if not path.exists():
        raise ConfigurationError(f"{given}: is no file and none of {names}; write one of these", code="cycle")
    data = read_toml(path)
    if "cycle" not in data:
        raise ConfigurationError(f"{given}: has no table [cycle]; add one, or write one of {names}", code="cycle")
    return validated(_CycleFile, {"cycle": data["cycle"]}, path).cycle
