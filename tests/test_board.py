"""The real board's modules under the real MicroPython, against shadows of the chip: drivers and their error paths.

What the shadows and models stand for is in tests/pio; the programs of the state machines have a test of their own.
"""

from __future__ import annotations

import ast
import os
import subprocess
from pathlib import Path

import pytest
from device_rig import DEVICE, MICROPYTHON, needs_micropython

HERE = Path(__file__).parent
SCRIPTS = ("board_motor", "board_cell", "board_line", "board")


def checks(script: str) -> list[str]:
    """Names of the checks in a script."""
    tree = ast.parse((HERE / f"{script}_on_device.py").read_text(encoding="utf-8"))
    functions = [node.name for node in tree.body if isinstance(node, ast.FunctionDef)]
    return [name.removeprefix("check_") for name in functions if name.startswith("check_")]


def run(script: str, *arguments: str) -> str:
    """What a script prints on MicroPython, whose `machine` and `rp2` are the shadows."""
    assert MICROPYTHON is not None
    path = {"MICROPYPATH": f"{HERE / 'pio'}:{DEVICE}"}
    command = [MICROPYTHON, "-X", "heapsize=384K", str(HERE / f"{script}_on_device.py"), *arguments]
    done = subprocess.run(command, env=os.environ | path, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@needs_micropython
@pytest.mark.parametrize(("script", "check"), [(script, check) for script in SCRIPTS for check in checks(script)])
def test_on_micropython(script: str, check: str, tmp_path: Path) -> None:
    assert run(script, check, str(DEVICE), str(tmp_path)) == "good\n"
