"""The real board's modules under the real MicroPython, against shadows of the chip: drivers and their error paths.

The shadows and models are in tests/device/pio; the programs of the state machines have a test of their own.
"""

from __future__ import annotations

import ast
import json
import os
import subprocess
import tty
from pathlib import Path

import pytest
from board_rig import PATH, command, run
from device_rig import DEVICE, needs_micropython

pytestmark = pytest.mark.process

HERE = Path(__file__).parent
SCRIPTS = ("board_motor", "board_cell", "board_line", "board", "board_inputs", "board_feeder")


def checks(script: str) -> list[str]:
    """Return the names of the checks in a script."""
    tree = ast.parse((HERE / f"{script}_on_device.py").read_text(encoding="utf-8"))
    functions = [node.name for node in tree.body if isinstance(node, ast.FunctionDef)]
    return [name.removeprefix("check_") for name in functions if name.startswith("check_")]


@needs_micropython
@pytest.mark.parametrize(("script", "check"), [(script, check) for script in SCRIPTS for check in checks(script)])
def test_on_micropython(script: str, check: str, tmp_path: Path) -> None:
    assert run(script, check, str(DEVICE), str(tmp_path)) == "good\n"


@needs_micropython
def test_a_cycle_of_the_longest_plan_allocates_nothing_while_it_samples_and_leaves_heap() -> None:
    found = json.loads(run("board_cycle", str(DEVICE), "bytes"))
    assert found["cause"] is None
    assert found["readings"] > 2000
    assert found["waiting"][0] > 10 * found["readings"]
    assert found["waiting"][1] == 0
    assert found["sampling"][0] > 0.95 * found["readings"]
    assert found["sampling"][1] < found["sampling"][0]  # less than a byte a sample: nothing but what is done once
    assert found["free_least"] > 64 * 1024


@needs_micropython
def test_every_byte_value_passes_the_boards_line() -> None:
    near, far = os.openpty()
    tty.setraw(far)
    process = subprocess.Popen(command("board_echo"), env=PATH, stdin=far, stdout=far)
    try:
        sent = bytes(range(1, 256)) * 3 + b"\x03\x04\x00" * 5 + bytes(8)
        os.write(near, sent)
        received = b""
        while len(received) < len(sent):
            received += os.read(near, 1024)
        assert received == sent
        assert process.wait(timeout=600) == 0
    finally:
        process.kill()
        process.wait()
        os.close(near)
        os.close(far)
