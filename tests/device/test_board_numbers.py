"""Numbers and calls in the device code that work on a computer but not on the chip.

Its small integers have 31 bits, its floats 24; some calls that the stubs know are missing in its MicroPython.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest
from device_rig import DEVICE, MICROPYTHON, needs_micropython

pytestmark = pytest.mark.process

MODULES = sorted(DEVICE.rglob("*.py"))
# Each leaves the small integers on purpose, and seldom: once a frame, or on a request that is then refused.
MEANT = {
    "frames": ["crc >> 8 * i"],  # the CRC-32 of a frame
    "codec": ["(byte & 127) << shift", "value | (byte & 127) << shift", "~value"],  # a long of the host's
}
HOT = {"held", "home", "latch", "load_cell", "motor", "program", "progress", "stepper", "hx711", "settings",
       "parts.feeder", "parts.nau7802"}  # fmt: skip
# Known to the type checker, missing on the chip (found there; each is tried below).
MISSING = {
    "removesuffix": "'ab'.removesuffix('b')",
    "zfill": "'1'.zfill(3)",
    "bit_length": "(5).bit_length()",
    "tobytes": "__import__('array').array('i', [1]).tobytes()",
    "cast": "memoryview(b'1234').cast('I')",
    "iter_unpack": "__import__('struct').iter_unpack('B', b'12')",
}


@pytest.fixture(scope="module")
def watched() -> dict[str, object]:
    """Return the outcome of a run in which every arithmetic operation is watched."""
    script = Path(__file__).parent / "bounds_of_device.py"
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_no_result_leaves_the_small_integers_unless_it_is_meant_to(watched: dict[str, dict[str, int]]) -> None:
    for place, value in watched["left"].items():
        module, _, operation = place.split(":", 2)
        assert operation.strip() in MEANT.get(module, []), f"{place} came to {value}"
    assert {place.split(":")[0] for place in watched["left"]} == set(MEANT)  # the watch sees what leaves


def test_the_watch_reached_what_moves_and_measures(watched: dict[str, list[str]]) -> None:
    missed = [place for place in watched["missed"] if place.split(":")[0] in HOT]
    assert missed == []
    assert len(watched["missed"]) <= 0.05 * watched["reached"]


@needs_micropython
@pytest.mark.parametrize("name", MISSING)
def test_these_calls_are_missing_on_micropython(name: str) -> None:
    assert MICROPYTHON is not None
    done = subprocess.run([MICROPYTHON, "-c", MISSING[name]], capture_output=True, text=True, timeout=600, check=False)
    assert "AttributeError" in done.stdout + done.stderr
    compile(MISSING[name], name, "eval")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(DEVICE)))
def test_no_call_that_is_missing_on_the_chip(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            assert node.attr not in MISSING, f"line {node.lineno}"
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("from_bytes"):
            # int.from_bytes(b, "little", True) is taken there, and read as unsigned
            assert len(node.args) == 2, f"line {node.lineno}"
            assert not node.keywords, f"line {node.lineno}"
