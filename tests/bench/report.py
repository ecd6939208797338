"""The morning report of a long night, from the open database to the file."""

import subprocess
import sys
import time

from midspan.report.night_html import write_report
from night_on_paper import rough_night
from stores import store_in

from bench.figure import at_most, plainly

SHAFTS = 2000
ROUNDS = 3


def figures(folder):
    """Return time and size of a large report, and the time of the whole command with its start."""
    store, out = rough_night(store_in(folder), SHAFTS), folder / "night.html"
    best_s = min(_time_s(lambda: write_report(store, None, out)) for _ in range(ROUNDS))
    program = "from midspan.cli.main import main; main()"
    command = [sys.executable, "-c", program, "report", "--store", str(store), "--out", str(out)]
    whole_s = min(_time_s(lambda: subprocess.run(command, check=True, capture_output=True)) for _ in range(ROUNDS))
    return [
        at_most(f"report of a night of {SHAFTS} shafts", best_s, "s", 5),
        at_most("the same as a command, with its start", whole_s, "s", 5),
        plainly("size of that report", out.stat().st_size / 1e6, "MB"),
    ]


def _time_s(what):
    begun = time.perf_counter()
    what()
    return time.perf_counter() - begun
