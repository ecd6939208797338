"""What the device code costs on MicroPython: time a reading to pack and frame, heap in a whole cycle."""

import json
import subprocess
from pathlib import Path

from midspan.rehearsal.process import interpreter_command
from midspan.wire.schema import data_folder

from bench.figure import at_least, at_most, plainly

HERE = Path(__file__).resolve().parent
HEAP_KB = 384  # stands for 192 KB on the chip, where objects are half as large
# A realistic plan for the rehearsal's default gauge, in the order of protocol/cycle_plan.avsc.
PLAN = (94_000, 941_000, 2600, 20_000, 100, 200, 1632, 1632, 40, 5, 6400, 2400, 400)
MEASURE = [8, [1, 1]]  # Command, branch 8: order 1, shaft 1


def figures(_):
    """Return packing time, and heap of a second cycle with the collector off; nothing without MicroPython."""
    command = interpreter_command()
    if len(command) == 1:
        return [plainly("device figures need MicroPython, which this platform has no wheel of", float("nan"), "")]
    packing = _answer(command, HERE / "on_device.py", "")
    heap = _answer(command, HERE.parent / "device" / "memory_on_device.py", json.dumps([[7, PLAN], MEASURE, MEASURE]))
    kb = 1024
    return [
        plainly("time a reading to pack and frame on MicroPython here", packing["us_per_reading"], "us"),
        plainly("bytes a reading of turning, packed and framed", packing["bytes_per_reading"], "bytes"),
        plainly(f"readings of the cycle that the heap was watched in ({HEAP_KB} KB)", heap["readings"], ""),
        at_least("heap left after a whole cycle without a collection", heap["heap_left"] / kb, "KB", 64),
        at_most("heap taken by a turn of the loop that samples", heap["quiet_bytes"] / heap["quiet"], "bytes", 1),
        at_most("heap taken by the whole cycle (frames, events, requests)", heap["total_bytes"] / kb, "KB", 16),
    ]


def _answer(command, script, given):
    arguments = [*command, str(script), str(data_folder("device"))]
    return json.loads(subprocess.run(arguments, input=given, check=True, capture_output=True, text=True).stdout)
