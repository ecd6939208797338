"""How long a person waits for the first word."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from bench.figure import at_most

TRIES = 15


def figures(_):
    """Return the median time of `midspan --help`."""
    command = [str(Path(sys.executable).parent / "midspan"), "--help"]
    times = []
    for _ in range(TRIES):
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        times.append(time.perf_counter() - begun)
    return [at_most("midspan --help, median", float(np.median(times)), "s", 0.3)]
