"""Texts of the files that `midspan init` begins: the workspace file with a comment on each line, bands, masses.

>>> text = standard_text(StandardKnown("bar-1", 501.2, 0.15, "steel", 20.0))
>>> "assigned_thou = 501.2" in text.splitlines()
True
"""

import json

from midspan.measurement.definition import DEFINITION
from midspan.workspace.first_questions import BandsBegun, MassesAtHand, StandardKnown, WorkspaceAnswers

WIDTH = 34  # column of the comments


def workspace_text(answers: WorkspaceAnswers) -> str:
    """Return the text of a workspace file: answers and, as comments, everything else that can be set.

    Parameters
    ----------
    answers : WorkspaceAnswers
        What a person answered.

    Returns
    -------
    str
        TOML.
    """
    units = answers.units
    lines = [
        "# Workspace of Midspan: every command called in this folder or below it reads this file.",
        "# Paths count from this folder. What you type after a command wins. A line with # before it is not in force.",
        "", "[shop]", _line("name", answers.shop, "as cards and labels show it"),
        "", "[gauge]",
    ]  # fmt: skip
    if answers.port is None:
        lines += ["by_hand = true".ljust(WIDTH) + "  # no gauge: a dead weight and a dial indicator",
                  _line("port", "PORT", "once there is one (see: midspan ports)", in_force=False)]  # fmt: skip
    else:
        lines += [_line("port", answers.port, "a port (midspan ports lists them), or rehearsal: the simulated gauge")]
    lines += [
        _line("name", "bench", "its own name, if there are records of several gauges", in_force=False),
        _line("calibration", "gauge.toml", "written by: midspan calibrate"),
        "", "[files]",
        _line("store", "results.db", "database of results"),
        _line("archive", "readings.avro", "raw readings, kept for ever"),
        _line("records", "calibration", "folder of calibration records"),
        _line("bands", "bands.toml", "which spines go together"),
        _line("backups", "backups", "folder of backups; best a folder on another disk"),
        _line("masses", "masses.toml", "masses of the calibration", in_force=False),
        _line("bench", "hand-bench.toml", "the hand bench", in_force=False),
        _line("hand_readings", "hand-readings.jsonl", "readings typed at the hand bench", in_force=False),
        _line("plan", "night.toml", "plan of an overnight run: midspan sort", in_force=False),
        _line("sizes", "sizes.toml", "nominal sizes: midspan shafts size", in_force=False),
        _line("scale", "scale.toml", "scale on a serial line: midspan shafts weigh", in_force=False),
        "", "[shown]",
        _line("across", units.across.value, "thou or mm: spine, spread, straightness"),
        _line("weight", units.weight.value, "grains or grams"),
        _line("wood", units.wood.value, "thou, both or pounds: how the spine of wood is shown"),
        "", "[session]",
        _line("operator", answers.operator, "who measures"),
        "sound = true".ljust(WIDTH) + "  # a sound with each verdict",
        "check_every_shafts = 50".ljust(WIDTH) + "  # the check standard is asked for after so many shafts",
        "check_every_minutes = 60".ljust(WIDTH) + "  # or after so many minutes",
        "", "[labels]",
        _line("print", "never", "never, asked or each: when a session prints a label"),
        _line("printer", "NAME", "as the system names it", in_force=False),
        "", "# A bar of known spine, measured now and then, shows when the gauge has changed: midspan init --standard",
        "# asks for one and adds it here.",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


# Those of the demonstration; a crack shows in the force, so its limit is there from the first day.
LIMITS = ("spread_max_thou = 5.0", "runout_max_thou = 12.0", "hysteresis_max_pct = 1.0")


def bands_text(begun: BandsBegun) -> str:
    """Return the text of a bands file.

    Parameters
    ----------
    begun : BandsBegun
        Bands of equal width.

    Returns
    -------
    str
        TOML.
    """
    half = begun.width_thou / 2
    lines = [
        "# Bands of spine, in thou: shafts of one bin go together. Change, add or remove bins as you like.",
        "# A shaft also has to keep these limits: from stiffest to softest side, runout, and the force missing on",
        "# the way back. More than 1 % of that can mean a crack; such a shaft must not be shot.",
    ]
    for spine in begun.spines_thou:
        low, high = round(spine - half, 4), round(spine + half, 4)
        lines += ["", "[[bin]]", f'name = "{spine:g}"', f"spine_thou = [{low}, {high}]", *LIMITS]
    return "\n".join(lines) + "\n"


def masses_text(masses: MassesAtHand) -> str:
    """Return the text of a masses file.

    Parameters
    ----------
    masses : MassesAtHand
        Masses and how well they are known.

    Returns
    -------
    str
        TOML.
    """
    lines = ["# Masses of the calibration. Where you have a certificate, write its mass and standard uncertainty."]
    for mass_g in masses.masses_g:
        u_g = float(f"{mass_g * masses.u_pct / 100:.3g}")
        lines += ["", "[[mass]]", f'name = "{mass_g:g} g"', f"mass_g = {mass_g}", f"u_mass_g = {u_g}"]
    return "\n".join(lines) + "\n"


def standard_text(known: StandardKnown) -> str:
    """Return the table of a check standard, to be added to a workspace file.

    Parameters
    ----------
    known : StandardKnown
        A bar of known spine.

    Returns
    -------
    str
        TOML.
    """
    material = [] if known.material is None else [f'material = "{known.material}"']
    lines = [
        "", "[[standard]]", f"name = {_quoted(known.name)}", f"assigned_thou = {known.spine_thou}",
        f"u_assigned_thou = {known.u_spine_thou}", f'definition = "{DEFINITION}"', *material,
        f"temperature_c = {known.temperature_c}", 'from = "hand"',
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _line(key: str, value: str, comment: str, *, in_force: bool = True) -> str:
    """Return a line of a key with its comment."""
    return f"{'' if in_force else '# '}{key} = {_quoted(value)}".ljust(WIDTH) + f"  # {comment}"


def _quoted(text: str) -> str:
    """Return a text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
