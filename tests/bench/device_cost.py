"""What the device code costs on MicroPython: time a reading to pack and frame, heap in a whole cycle."""

import json
import subprocess
from pathlib import Path

from midspan.rehearsal import interpreter_command

from bench.figure import at_most, plainly

SCRIPT = Path(__file__).with_name("on_device.py")
HEAP_KB = 384  # stands for 192 KB on the chip, where objects are half as large


def figures(folder):
    """Figures of one run of on_device.py under the rehearsal's interpreter."""
    command = [*interpreter_command(), str(SCRIPT)]
    answer = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return [
        plainly(f"microseconds a reading to pack and frame ({answer['runtime']})", answer["us_per_reading"], "us"),
        plainly("bytes a reading, packed and framed", answer["bytes_per_reading"], "bytes"),
        at_most(f"heap in use at the end of a cycle, of {HEAP_KB} KB", answer["heap_bytes"] / 1024, "KB", HEAP_KB / 2),
        plainly("heap taken while sampling", answer["heap_grown_bytes"], "bytes"),
    ]
