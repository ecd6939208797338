"""Recomputes an archive in a process of its own and prints how long it took and how much memory it needed."""

import json
import resource
import sys
import time
from pathlib import Path

from midspan.measurement.calibration import load_calibration
from midspan.sorting.recompute import Rules, entries, recomputed, stored_nowhere


def results(archive, calibration):
    """Return every result of an archive without damage, in order."""
    damage = []
    for remade in recomputed(entries([archive], damage), stored_nowhere(calibration, Rules())):
        yield remade.result
    assert not damage, damage


def peak_mb():
    """Peak memory of this process.

    On Linux getrusage begins with the peak of the process that started this one, which may be far larger.
    """
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(line.split()[1]) / 1024
    per_mb = 1024**2 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / per_mb


if __name__ == "__main__":
    archive, calibration = map(Path, sys.argv[1:])
    begun = time.perf_counter()
    number = sum(1 for _ in results(archive, load_calibration(calibration)))
    print(json.dumps({"shafts": number, "seconds": time.perf_counter() - begun, "peak_mb": peak_mb()}))
