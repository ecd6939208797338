"""Import what all tests need once, then run pytest in a fork for each order read from standard input.

Most of a short run of pytest is the import of libraries; a fork has them at once. An order and its answer are one line
of JSON each.
"""

import importlib
import json
import os
import resource
import signal
import sys
import time
import traceback
from contextlib import suppress

# Of other people only: what a mutant may change is imported in the fork.
LIBRARIES = (
    "pytest", "_pytest.doctest", "hypothesis", "hypothesis.strategies", "numpy", "numpy.testing", "scipy.integrate",
    "scipy.interpolate", "scipy.optimize", "scipy.stats", "fastavro", "cobs", "serial", "sqlalchemy.orm",
    "alembic.command", "pydantic", "typer", "rich.table", "jinja2",
)  # fmt: skip
# A loop that a fault makes endless may fill the memory before its time is over.
LARGEST_BYTES = 6 << 30


def run_tests(order):
    """Become a run of pytest in the directory that an order names; never returns."""
    os.setsid()
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    nothing, output = os.open(os.devnull, os.O_RDONLY), os.open(order["output"], os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for standard, file in enumerate((nothing, output, output)):
        os.dup2(file, standard)
    resource.setrlimit(resource.RLIMIT_AS, (LARGEST_BYTES, LARGEST_BYTES))
    if order["processor_s"]:
        resource.setrlimit(resource.RLIMIT_CPU, (order["processor_s"], order["processor_s"]))
    os.chdir(order["directory"])
    os.environ.update(order["environment"])
    sys.dont_write_bytecode = bool(order["processor_s"])  # never of a fault
    sys.path.insert(0, order["path"])
    import pytest

    code = 70  # pytest itself broke
    try:
        code = int(pytest.main(order["arguments"]))
    except Exception as error:  # noqa: BLE001
        traceback.print_exception(error)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def obey(order):
    """Run pytest in a fork; return its exit code, not 0 when its time was over, and the seconds that it took."""
    began_s, child = time.monotonic(), os.fork()
    if child == 0:
        run_tests(order)
    signal.signal(signal.SIGALRM, lambda *_: os.killpg(child, signal.SIGKILL))
    signal.setitimer(signal.ITIMER_REAL, order["wall_s"] or 0.0)
    _, status, usage = os.wait4(child, 0)
    signal.setitimer(signal.ITIMER_REAL, 0.0)
    with suppress(ProcessLookupError):  # what its tests started and left behind
        os.killpg(child, signal.SIGKILL)
    return {
        "code": os.waitstatus_to_exitcode(status), "processor_s": usage.ru_utime + usage.ru_stime,
        "wall_s": time.monotonic() - began_s,
    }  # fmt: skip


def main():
    """Answer orders until there are no more."""
    for name in LIBRARIES:
        with suppress(ImportError):
            importlib.import_module(name)
    for line in sys.stdin:
        print(json.dumps(obey(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
