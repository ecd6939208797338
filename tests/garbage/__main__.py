"""The campaign at large: so many cases of each kind, and how many of them ended badly.

    python tests/garbage [--cases 400] [--seed 1] [--kind NAME]

Ends with status 1 when any case ended in a traceback, more than a line, a hang or huge memory.
"""

import argparse
import os
import pickle
import resource
import shutil
import signal
import sys
import tempfile
from collections import Counter
from pathlib import Path
from random import Random

HERE = Path(__file__).resolve()
for place in (HERE.parents[2] / "host", HERE.parents[1], HERE.parents[1] / "rigs"):
    sys.path.insert(0, str(place))

from garbage import doors, kinds  # noqa: E402 - the path is set only now

MOST_BYTES, MOST_S = 3 << 30, 30


def case(kind, seed, base, number, told):
    """Return what went wrong in a case, by command; the case has a folder of its own."""
    folder = Path(tempfile.mkdtemp(prefix="garbage-"))
    try:
        shutil.copytree(base, folder, dirs_exist_ok=True)
        random = Random(f"{kind.__name__} {seed}")
        lines = kind(folder, random)
        wrong = {}
        for line in random.sample(lines, min(number, len(lines))):
            told(line)
            found = doors.tried(line, folder)
            if found:
                wrong[line] = found
        return wrong, min(number, len(lines))
    finally:
        shutil.rmtree(folder)


def main():
    """Try the cases and print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind")
    parser.add_argument("--commands", type=int, default=12)
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    bad = 0
    with tempfile.TemporaryDirectory() as base:
        doors.sound(Path(base))
        for kind in [kind for kind in kinds.KINDS if asked.kind in (None, kind.__name__)]:
            bad += _one_kind(kind, asked, Path(base))
    return 1 if bad else 0


def _one_kind(kind, asked, base):
    tried, found, first, cases = 0, Counter(), {}, 0
    for seed in range(asked.seed, asked.seed + asked.cases):
        wrong, number = _apart(kind, seed, base, asked.commands)
        tried += number
        cases += bool(wrong)
        for line, what in wrong.items():
            found[what] += 1
            first.setdefault(what, (seed, line))
    print(
        f"{kind.__name__:16} cases {asked.cases}, bad {cases}; commands {tried}, bad {sum(found.values())}", flush=True
    )
    for what, number in found.most_common(40):
        print(f"    {number:5}  {what}   [seed {first[what][0]}: {first[what][1]}]")
    return cases


def _apart(kind, seed, base, number):
    """Run the case in a process of its own, so that a hang or crash takes nothing else along."""
    with tempfile.TemporaryFile("w+") as told, tempfile.TemporaryFile() as out:
        child = os.fork()
        if not child:
            signal.alarm(MOST_S)  # nobody handles it: it ends the process, whatever that is doing
            _tell(out, case, kind, seed, base, number, lambda line: print(line, file=told, flush=True))
        _, status = os.waitpid(child, 0)
        out.seek(0)
        data = out.read()
        if data:
            return pickle.loads(data)
        told.seek(0)
        lines = told.read().splitlines() or ["spoiling"]
        return {lines[-1]: "hangs" if status == signal.SIGALRM else f"dies of signal {status}"}, len(lines)


def _tell(out, what, *arguments):
    try:
        data = pickle.dumps(what(*arguments))
    except BaseException as error:  # noqa: BLE001 - told to the parent
        data = pickle.dumps(({"?": f"the campaign itself: {error!r}"[:200]}, 0))
    out.write(data)
    out.flush()
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main())
