"""What the device code costs on MicroPython: time a reading to pack and frame, heap and line of a whole cycle."""

import json
import subprocess
from pathlib import Path

from device_rig import Rig, records, standard_steps
from midspan.rehearsal.process import interpreter_command
from midspan.wire.schema import data_folder
from wire import datum, framed

from bench.figure import at_least, at_most, plainly

HERE = Path(__file__).resolve().parent
HEAP_KB = 384  # stands for 192 KB on the chip, where objects are half as large


def figures(_):
    """Return packing time, and heap of a second cycle with the collector off; nothing without MicroPython."""
    command = interpreter_command()
    if len(command) == 1:
        return [plainly("device figures need MicroPython, which this platform has no wheel of", float("nan"), "")]
    packing = _answer(command, HERE / "on_device.py", "")
    program = [1, False, [_numbers(step) for step in standard_steps()]]
    heap = _answer(command, HERE.parent / "device" / "memory_on_device.py", json.dumps([program, program]))
    kb = 1024
    rows = []
    for turn, found in packing.items():
        where = f"of turning, {turn} a turn, packed and framed"
        rows.append(plainly(f"time a reading {where} on MicroPython here", found["us_per_reading"], "us"))
        rows.append(at_most(f"bytes a reading {where}", found["bytes_per_reading"], "bytes", 6))
    return [
        *rows,
        *_line(),
        plainly(f"readings of the cycle that the heap was watched in ({HEAP_KB} KB)", heap["readings"], ""),
        at_least("heap left after a whole cycle without a collection", heap["heap_left"] / kb, "KB", 64),
        at_most("heap taken by a turn of the loop that samples", heap["quiet_bytes"] / heap["quiet"], "bytes", 2),
        at_most("heap taken by the whole cycle (frames, events, requests)", heap["total_bytes"] / kb, "KB", 16),
    ]


def _line():
    """Return the bytes a reading of all that the device says in a cycle, by the readings of a turn."""
    rows = []
    for readings, speed in ((54, 1187), (160, 401)):
        rig = Rig({"shafts": [{"number": 1, "spread_thou": 5.0, "bow_mm": 0.1}]})
        rig.ready()
        rig.records.clear()
        end = rig.measure(rotate_speed=speed)
        size = sum(len(framed(0, datum(name, fields))) for name, fields in rig.records)
        rows.append(at_most(f"bytes a reading of a cycle, {readings} a turn, all records", size / end["readings"],
                            "bytes", 6))  # fmt: skip
    return rows


def _numbers(step):
    return [records.FAULT_CODES.index(value) if isinstance(value, str) else value for value in step.values()]


def _answer(command, script, given):
    arguments = [*command, str(script), str(data_folder("device"))]
    return json.loads(subprocess.run(arguments, input=given, check=True, capture_output=True, text=True).stdout)
