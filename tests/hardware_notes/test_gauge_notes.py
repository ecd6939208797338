"""The error budget in hardware_notes/README.md is what `midspan show SHAFT --budget` prints.

Run as a script, it redraws the table.
"""

import json
import re
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from commands_rig import midspan, settings
from places import ROOT

pytestmark = pytest.mark.process

NOTES = ROOT / "hardware_notes" / "README.md"
SHAFT = 19  # of the demonstration: spine 500.3 thou
WORTH_A_ROW = 0.005  # of u^2
ALSO = "scatter of the readings"  # to show how little it is


def budget(folder):
    """Return the shaft's budget under the demonstration's calibration."""
    calibration, bands = settings(folder)
    given = ("--calibration", calibration, "--bands", bands)
    done = midspan("measure", "--port", "rehearsal", "--shaft", SHAFT, *given, folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(midspan("show", SHAFT, "--budget", "--json", "--trials", 1000, folder=folder).stdout)


def table(folder):
    found = budget(folder)
    rows = [("cause", "known to", "u, thou", "of u²"), ("---", "---", "---:", "---:")]
    for part in sorted(found["causes"], key=lambda cause: -cause["u_thou"]):
        if part["portion"] > WORTH_A_ROW or part["cause"] == ALSO:
            known = f"{part['u']:.2g} {part['unit']}" if part["unit"] != "1" else f"{100 * part['u']:.2g} %"
            rows.append((part["cause"], known, f"{part['u_thou']:.3f}", f"{part['portion']:.0%}"))
    rows.append(("together", "", f"{found['u_spine_thou']:.3f}", "100%"))
    rows.append(("U for 95 %", "", f"{found['expanded_thou']:.2f}", ""))
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def redrawn(text, folder):
    return re.sub(r"\| cause \| known to .*\n(?:\|[^\n]*\n)+", lambda _: table(folder), text, count=1)


def test_the_table_is_what_is_printed(tmp_path):
    text = NOTES.read_text(encoding="utf-8")
    assert "| U for 95 % |" in text
    assert redrawn(text, tmp_path) == text


if __name__ == "__main__":
    with TemporaryDirectory() as folder:
        NOTES.write_text(redrawn(NOTES.read_text(encoding="utf-8"), Path(folder)), encoding="utf-8")
