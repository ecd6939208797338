"""Archive to results on one core: against the plain loop, and in memory as the archive grows."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from midspan.archive.avro_container import read_header
from midspan.archive.reader import read_archive
from midspan.measurement.result import ShaftResult

from bench import cycle, plain
from bench.figure import at_least, at_most, plainly
from bench.recompute_alone import results

SIZES = (1_000, 10_000, 100_000)
MOST_MB = 150  # what it needed at first; it has no reason to need more for being able to do more
ROUNDS = 5
WORKER = Path(__file__).with_name("recompute_alone.py")


def figures(folder):
    """Return throughput in the same run as the plain loop, agreement of both, and peak memory at three sizes."""
    archive, calibration, *_ = cycle.measured(folder)
    fast, slow = _best_times(archive, calibration)
    memory = [_grown_large(archive, folder, size) for size in SIZES]
    return [
        plainly("recompute, one core", 1e6 / fast, "shafts a second"),
        plainly("plain loop in the same run", 1e6 / slow, "shafts a second"),
        at_least("recompute against the plain loop", slow / fast, "times", 5),
        at_most("largest difference in spine without rollers", _disagreement(archive, calibration), "thou", 0.01),
        *(
            at_most(f"peak memory at {size} shafts", used["peak_mb"], "MB", MOST_MB)
            for size, used in zip(SIZES, memory, strict=True)
        ),
        at_most("memory at 100000 shafts against 1000", memory[-1]["peak_mb"] / memory[0]["peak_mb"], "times", 1.1),
        plainly("recompute of 100000 shafts", memory[-1]["seconds"], "s"),
    ]


def _best_times(archive, calibration):
    """Return microseconds a shaft of both ways, the best of several rounds in turn."""
    ways = (
        lambda: sum(1 for _ in results(archive, calibration)),
        lambda: sum(1 for _ in plain.results(archive, calibration)),
    )
    best = [np.inf, np.inf]
    for way in ways:
        way()
    for _ in range(ROUNDS):
        for i, way in enumerate(ways):
            begun = time.perf_counter()
            number = way()
            best[i] = min(best[i], (time.perf_counter() - begun) / number * 1e6)
    return best


def _disagreement(archive, calibration):
    """Return the largest difference in spine when rollers are taken as round, as the plain loop always takes them."""
    round_rollers = {"steps_per_roller_turn": None, "u_roller_mm": 0.0}
    rotation = calibration.rotation.model_copy(update=round_rollers)
    calibration = calibration.model_copy(update={"rotation": rotation})
    ours = list(results(archive, calibration))
    theirs = list(plain.results(archive, calibration))
    assert all(isinstance(result, ShaftResult) for result in ours)
    return max(abs(result.spine_thou - other[1]) for result, other in zip(ours, theirs, strict=True))


def _grown_large(archive, folder, size):
    """Return the memory that a large archive needs; all large archives together would fill a small disk."""
    grown = _grown(archive, folder, size)
    needed = alone(grown, folder / "cal.toml")
    assert needed["shafts"] == size
    grown.unlink()
    return needed


def _grown(archive, folder, size):
    """Repeat the archive's container blocks until it has a number of shafts."""
    data = archive.read_bytes()
    with archive.open("rb") as file:
        header = read_header(file, str(archive))
    body = data[header.length :]
    number = sum(1 for _ in read_archive(archive))
    grown = folder / f"grown-{size}.avro"
    with grown.open("wb") as file:
        file.write(data[: header.length])
        for _ in range(size // number):
            file.write(body)
    return grown


def alone(archive, calibration):
    """Recompute in a process of its own; return number of shafts, seconds and peak memory."""
    command = [sys.executable, str(WORKER), str(archive), str(calibration)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
