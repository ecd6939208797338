"""The host where modules, functions and signals are missing that Windows lacks; tried on other systems, see the rig."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from places import ROOT

pytestmark = [pytest.mark.process, pytest.mark.slow]
RIG = ROOT / "tests" / "rigs" / "like_windows.py"


@pytest.mark.skipif(sys.platform == "win32", reason="this is Windows")
def test_every_module_loads_and_the_gauge_is_simulated_measured_and_shown(tmp_path: Path) -> None:
    """A shaft of the demonstration, and one of a gauge that the command starts itself, on a console of few letters."""
    settings = "--calibration demo/calibration.toml --bands demo/bands.toml"
    commands = (
        "demo --shafts 2 --folder demo",
        f"measure --port rehearsal --shaft 2 {settings} --store own.db --archive own.avro",
        "calibrate force --port rehearsal --yes",
        f"measure --port rehearsal {settings} --store session.db --archive session.avro",
        "shafts labels 2 --out 2.pdf --print --printer shop --store session.db",
        "show 2 --json --store demo/results.db",
    )
    done = subprocess.run(
        [sys.executable, str(RIG), *commands],
        cwd=tmp_path,
        input="\n\nq\n",  # a session with two shafts
        env=os.environ | {"PYTHONIOENCODING": "cp1252", "PYTHONPATH": str(ROOT / "host")},
        capture_output=True,
        encoding="cp1252",
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "behind loopback:" in done.stdout
    assert json.loads(done.stdout[done.stdout.rindex("\n{") :])["shaft"] == 2
    assert re.search(r"^started: 2.pdf printto .shop.$", done.stdout, re.MULTILINE)
    assert (tmp_path / "own.avro").stat().st_size > 0
    assert list((tmp_path / "calibration").iterdir())
