"""Runs the device code on the rehearsal board, speaking raw bytes on standard input and output.

    micropython -X heapsize=384K device/rehearsal/run.py SCENARIO.json

The same file runs under CPython. It ends when standard input is closed.
"""

import sys

HERE = __file__.rsplit("/", 1)[0] if "/" in __file__ else "."
for _folder in (HERE + "/..", HERE):  # the rehearsal's board comes before any other
    sys.path.insert(0, _folder)

from main import main  # noqa: E402

if __name__ == "__main__":
    main()
