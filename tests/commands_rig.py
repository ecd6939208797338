"""Runs the command line as a user does, and holds every failure to one clear line."""

import os
import subprocess
import sys
from pathlib import Path

COMMAND = [sys.executable, "-c", "from midspan.cli import main; main()"]


def midspan(*arguments, folder=None, **environment):
    """The finished process of `midspan ARGUMENTS` with a wide screen."""
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "COLUMNS": "160", **environment},
        timeout=120,
    )


def complaint(done):
    """The one line in which it failed; anything else is an error of Midspan."""
    assert done.returncode not in (0, 2), done.stdout + done.stderr
    lines = [line for line in done.stderr.splitlines() if line.startswith("midspan: ")]
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    return lines[0]


def settings(folder: Path, seed=7):
    """Calibration and bands of the demonstration in a folder; their paths."""
    from midspan import scenario

    calibration, bands = folder / "gauge.toml", folder / "bands.toml"
    calibration.write_text(scenario.calibration_text(seed))
    bands.write_text(scenario.BANDS)
    return calibration, bands
