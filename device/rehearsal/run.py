"""Run the device code on the rehearsal board, with raw bytes on standard input and output.

    micropython -X heapsize=384K device/rehearsal/run.py SCENARIO.json

The same file runs under CPython. It ends when standard input is closed. With the number of a port after the scenario it
calls a host on this computer there instead, and ends when that line is closed (loopback.py).
"""

import gc
import sys

_path = __file__.replace("\\", "/")  # Windows parts folders by the other stroke, and takes both
HERE = _path.rsplit("/", 1)[0] if "/" in _path else "."
for _folder in (HERE + "/..", HERE):  # the rehearsal's board comes before any other
    sys.path.insert(0, _folder)

MICROPYTHON = sys.implementation.name == "micropython"
if MICROPYTHON:
    gc.threshold(8192)  # what compiling leaves would lie between the modules, and no room for a large buffer be left

import board  # noqa: E402, F401  main would import it later
from main import main  # noqa: E402
from world import Reset  # noqa: E402

if MICROPYTHON:
    gc.threshold(-1)


def run_on() -> None:
    """Run the gauge, again after each reset of the scenario."""
    while True:
        try:
            return main()
        except Reset:
            pass


if __name__ == "__main__":
    try:
        run_on()
    except Exception as error:  # noqa: BLE001 - it ends the process, with its reason where the host looks for it
        # MicroPython would print it on the line to the host, where it is noise; the host reads what stands on stderr.
        sys.stderr.write("{}: {}\n".format(type(error).__name__, error))
        sys.exit(1)
