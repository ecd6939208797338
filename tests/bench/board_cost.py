"""The code for a real board: its size, its heap, its loop, and its pulses against the data sheets."""

import json
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

from board_rig import run
from device_rig import DEVICE, MICROPYTHON
from pulse_rig import HIGH_US, LOW_US, STEP_US, Converter, played, read

from bench.figure import at_least, at_most, plainly

MODULES = sorted(DEVICE.glob("*.py"))
MPY_CROSS = Path(sys.executable).parent / "mpy-cross"
KB = 1024


def figures(folder):
    """Return compiled size, pulses, and MicroPython's figures of the longest cycle where it is installed."""
    rows = _pulses() + (_size(folder) if MPY_CROSS.exists() else [])
    if MICROPYTHON is None:
        return [*rows, plainly("the board's heap and loop need MicroPython, which has no wheel here", float("nan"), "")]
    heap, loop = (json.loads(run("board_cycle", str(DEVICE), kind)) for kind in ("bytes", "time"))
    turn_us, sample_us = (loop[name][1] / loop[name][0] for name in ("waiting", "sampling"))
    return [
        *rows,
        plainly("heap free after start, 384 KB heap, board drivers and all", heap["free_after_start"] / KB, "KB"),
        at_least("least heap free in a cycle of the longest plan", heap["free_least"] / KB, "KB", 64),
        at_most("heap taken by a turn of the board's loop with a sample", heap["sampling"][1] / heap["sampling"][0],
                "bytes", 1),
        at_most("heap taken by one without", heap["waiting"][1] / heap["waiting"][0], "bytes", 0),
        plainly("time a sample adds to a turn of the board's loop here", sample_us - turn_us, "us"),
        plainly("time of a turn without a sample, shadows of the chip included", turn_us, "us"),
    ]  # fmt: skip


def _size(folder):
    total = 0
    for module in MODULES:
        out = folder / f"{module.stem}.mpy"
        subprocess.run([MPY_CROSS, "-march=armv6m", "-o", out, module], check=True)
        total += out.stat().st_size
    lines = sum(len(module.read_text(encoding="utf-8").splitlines()) for module in MODULES)
    return [
        plainly("bytes of compiled device code for the RP2040", total, "bytes"),
        plainly("lines of device code", lines, ""),
    ]


def _pulses():
    converter = Converter([0x5A5A5A, 0, 0xFFFFFF])
    read(converter, 27, 6000)
    _, found, _ = played([(8, 31), (8, 90), (8, 31)])
    widths = [ended - begun for (begun, level), (ended, _) in pairwise(found) if level]
    return [
        at_most("longest high of the converter's clock", max(converter.highs), "us", HIGH_US[1]),
        at_least("shortest high of the converter's clock", min(converter.highs), "us", HIGH_US[0]),
        at_least("shortest low of the converter's clock", min(converter.lows), "us", LOW_US),
        at_least("shortest step pulse", min(widths), "us", STEP_US),
    ]  # fmt: skip
